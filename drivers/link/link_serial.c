/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "link_serial.h"

#include "link_fd.h"
#include "link_kinds.h"
#include "serial_latency.h"
#include "serial_list.h"
#include "serial_tty.h"

#include <errno.h>
#include <libserialport.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct serial {
    struct sp_port *port; /* NULL: the descriptor was open already */
    int fd;
    bool has_counters;
    struct serial_icounter_struct counters; /* at the last look */
    char note[SERIAL_NOTE];
};

static bool library_failure(struct failure *failure, const struct link_spec *spec,
                            enum sp_return code, const char *doing)
{
    switch (code) {
    case SP_ERR_ARG:
        return failure_set(failure, FAILURE_DISCONNECTED, NULL, "a serial line", "%s: %s: no such",
                           spec->text, doing);
    case SP_ERR_SUPP:
        return failure_set(failure, FAILURE_SETTINGS, NULL, NULL, "%s: %s: not supported",
                           spec->text, doing);
    case SP_ERR_MEM:
        return failure_set(failure, FAILURE_NO_MEMORY, NULL, NULL, "%s: %s", spec->text, doing);
    default:
        return failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL, "%s: %s: %m", spec->text,
                           doing);
    }
}

static bool is_wanted(const struct sp_port *port, const struct link_spec *spec)
{
    int vendor;
    int product;
    const char *serial;

    if (sp_get_port_transport(port) != SP_TRANSPORT_USB ||
        sp_get_port_usb_vid_pid(port, &vendor, &product) != SP_OK)
        return false;
    if (vendor != spec->vendor || product != spec->product)
        return false;
    if (spec->usb_serial[0] == '\0')
        return true;
    serial = sp_get_port_usb_serial(port);
    return serial && strcmp(serial, spec->usb_serial) == 0;
}

/* The one adapter that fits. Two are refused: the wrong one would be the wrong instrument. */
static struct sp_port *find_usb(const struct link_spec *spec, struct failure *failure)
{
    struct sp_port **ports = serial_list(failure);
    const struct sp_port *found = NULL;
    struct sp_port *copy = NULL;
    size_t count = 0;

    if (!ports)
        return NULL;
    for (size_t i = 0; ports[i]; i++) {
        if (is_wanted(ports[i], spec)) {
            found = ports[i];
            count++;
        }
    }
    if (count == 0)
        failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL, "%s: not plugged in", spec->text);
    else if (count > 1)
        failure_set(failure, FAILURE_SETTINGS, NULL, "its serial number, or a path",
                    "%s: %zu adapters fit", spec->text, count);
    else if (sp_copy_port(found, &copy) != SP_OK)
        failure_set(failure, FAILURE_NO_MEMORY, NULL, NULL, "%s: no memory", spec->text);
    sp_free_port_list(ports);
    return copy;
}

/* libserialport 0.1.1 refuses links such as those of /dev/serial/by-id: they are followed here. */
static struct sp_port *find_path(const struct link_spec *spec, struct failure *failure)
{
    char path[PATH_MAX];
    struct sp_port *port = NULL;
    enum sp_return code;

    if (!realpath(spec->address, path)) {
        if (errno == ENOENT)
            failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL, "%s: not plugged in",
                        spec->text);
        else
            failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL, "%s: %m", spec->text);
        return NULL;
    }
    if (strncmp(path, "/dev/", 5) != 0) {
        failure_set(failure, FAILURE_SETTINGS, NULL, "a path below /dev", "%s: leads to %s",
                    spec->text, path);
        return NULL;
    }
    code = sp_get_port_by_name(path, &port);
    if (code == SP_OK)
        return port;
    library_failure(failure, spec, code, path);
    return NULL;
}

static enum sp_parity library_parity(char parity)
{
    switch (parity) {
    case 'E':
        return SP_PARITY_EVEN;
    case 'O':
        return SP_PARITY_ODD;
    default:
        return SP_PARITY_NONE;
    }
}

static enum sp_rts library_rts(const struct serial_line *line)
{
    if (line->flow == FLOW_RTS_CTS)
        return SP_RTS_FLOW_CONTROL;
    return line->rts ? SP_RTS_ON : SP_RTS_OFF;
}

static void fill_config(struct sp_port_config *config, const struct serial_line *line)
{
    sp_set_config_baudrate(config, line->baud);
    sp_set_config_bits(config, line->data_bits);
    sp_set_config_parity(config, library_parity(line->parity));
    sp_set_config_stopbits(config, line->stop_bits);
    sp_set_config_rts(config, library_rts(line));
    sp_set_config_cts(config, line->flow == FLOW_RTS_CTS ? SP_CTS_FLOW_CONTROL : SP_CTS_IGNORE);
    sp_set_config_dtr(config, line->dtr ? SP_DTR_ON : SP_DTR_OFF);
    sp_set_config_dsr(config, SP_DSR_IGNORE);
    sp_set_config_xon_xoff(config,
                           line->flow == FLOW_XON_XOFF ? SP_XONXOFF_INOUT : SP_XONXOFF_DISABLED);
}

/* Drivers accept what their chip cannot do and leave it as it was: what counts is what is set. */
static bool is_set(const struct sp_port_config *config, const struct serial_line *line)
{
    int baud;
    int bits;
    int stop_bits;
    enum sp_parity parity;

    return sp_get_config_baudrate(config, &baud) == SP_OK &&
           sp_get_config_bits(config, &bits) == SP_OK &&
           sp_get_config_stopbits(config, &stop_bits) == SP_OK &&
           sp_get_config_parity(config, &parity) == SP_OK && baud == line->baud &&
           bits == line->data_bits && stop_bits == line->stop_bits &&
           parity == library_parity(line->parity);
}

static bool set_line(struct sp_port *port, const struct link_spec *spec, struct failure *failure)
{
    struct sp_port_config *config = NULL;
    enum sp_return code = sp_new_config(&config);
    bool set = false;

    if (code != SP_OK)
        return library_failure(failure, spec, code, "line settings");
    fill_config(config, &spec->line);
    code = sp_set_config(port, config);
    if (code == SP_OK)
        code = sp_get_config(port, config);
    if (code != SP_OK)
        library_failure(failure, spec, code, "line settings");
    else if (!is_set(config, &spec->line))
        failure_set(failure, FAILURE_SETTINGS, NULL, NULL,
                    "%s: the port cannot do %d baud with %d%c%d", spec->text, spec->line.baud,
                    spec->line.data_bits, spec->line.parity, spec->line.stop_bits);
    else
        set = true;
    sp_free_config(config);
    return set;
}

/* Makes a link's insides of a port that is open and set, or of a bare descriptor. */
static struct serial *serial_new(struct sp_port *port, int fd, struct failure *failure)
{
    struct serial *serial = calloc(1, sizeof *serial);

    if (!serial) {
        failure_no_memory(failure, "a link");
        return NULL;
    }
    serial->port = port;
    serial->fd = fd;
    serial->has_counters = serial_tty_counters(fd, &serial->counters);
    return serial;
}

static struct serial *open_port(struct sp_port *port, const struct link_spec *spec,
                                struct failure *failure)
{
    struct serial *serial = NULL;
    enum sp_return code = sp_open(port, SP_MODE_READ_WRITE);
    int fd;

    if (code != SP_OK) {
        library_failure(failure, spec, code, "open");
        return NULL;
    }
    code = sp_get_port_handle(port, &fd);
    if (code != SP_OK) {
        library_failure(failure, spec, code, "descriptor");
    } else if (serial_tty_take(fd, failure) && set_line(port, spec, failure) &&
               serial_tty_raw(fd, spec->line.flow, failure)) {
        serial_tty_low_latency(fd);
        serial = serial_new(port, fd, failure);
    }
    if (serial)
        serial_latency_note("", sp_get_port_name(port), serial->note, sizeof serial->note);
    if (!serial)
        sp_close(port);
    return serial;
}

static void *serial_open(const struct link_spec *spec, struct deadline deadline,
                         struct failure *failure)
{
    struct sp_port *port;
    struct serial *serial;

    if (deadline_passed(deadline)) {
        failure_set(failure, FAILURE_TIMEOUT, NULL, NULL, "%s: no time left to open", spec->text);
        return NULL;
    }
    port = spec->vendor ? find_usb(spec, failure) : find_path(spec, failure);
    if (!port)
        return NULL;
    serial = open_port(port, spec, failure);
    if (!serial)
        sp_free_port(port);
    return serial;
}

static bool serial_write(void *self, const char *bytes, size_t count, struct deadline deadline,
                         struct failure *failure)
{
    const struct serial *serial = self;

    return fd_write(serial->fd, FD_TERMINAL, bytes, count, deadline, failure);
}

static enum link_result serial_read(void *self, char *bytes, size_t capacity, size_t *count,
                                    bool *end, struct deadline deadline, struct failure *failure)
{
    const struct serial *serial = self;

    *end = false;
    return fd_read(serial->fd, bytes, capacity, count, deadline, failure);
}

static bool serial_damaged(void *self)
{
    struct serial *serial = self;
    struct serial_icounter_struct before = serial->counters;

    return serial->has_counters && serial_tty_counters(serial->fd, &serial->counters) &&
           serial_tty_damage(&before, &serial->counters);
}

static bool serial_present(void *self, struct failure *failure)
{
    const struct serial *serial = self;

    return fd_present(serial->fd, FD_TERMINAL, failure);
}

static const char *serial_note(void *self)
{
    const struct serial *serial = self;

    return serial->note;
}

static void serial_close(void *self)
{
    struct serial *serial = self;

    serial_tty_abandon(serial->fd);
    if (serial->port) {
        sp_close(serial->port);
        sp_free_port(serial->port);
    } else {
        close(serial->fd);
    }
    free(serial);
}

struct link *link_serial_adopt(int fd, enum flow_control flow, struct failure *failure)
{
    struct serial *serial = NULL;

    if (serial_tty_take(fd, failure) && serial_tty_raw(fd, flow, failure))
        serial = serial_new(NULL, fd, failure);
    if (serial)
        return link_wrap(&link_serial_ops, serial, failure);
    close(fd);
    return NULL;
}

const struct link_ops link_serial_ops = {
    .name = "serial",
    .open = serial_open,
    .write = serial_write,
    .read = serial_read,
    .damaged = serial_damaged,
    .present = serial_present,
    .note = serial_note,
    .close = serial_close,
};
