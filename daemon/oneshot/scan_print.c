/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scan_print.h"

#include "daemon/encode/encode.h"
#include "line_words.h"

#include <inttypes.h>
#include <string.h>

/* Text from outside: control characters would rule the terminal. */
static void put_printable(FILE *out, const char *text)
{
    for (; *text != '\0'; text++)
        fputc((unsigned char)*text < ' ' || *text == 0x7f ? '?' : *text, out);
}

/* A string of the settings. */
static void put_string(FILE *out, const char *text)
{
    fputc('"', out);
    for (; *text != '\0'; text++) {
        if (*text == '"' || *text == '\\')
            fputc('\\', out);
        fputc((unsigned char)*text < ' ' ? '?' : *text, out);
    }
    fputc('"', out);
}

void scan_print_stanza(FILE *out, const struct finding *findings, size_t index, bool more)
{
    const struct finding *finding = &findings[index];
    const struct serial_line *line = &finding->line;
    char name[64];
    if (finding->link[0] == '\0')
        return;
    finding_name(findings, index, name, sizeof name);
    fprintf(out, "    { name = \"%s\"; profile = \"%s\";\n      link = ", name,
            finding->profile != NULL ? finding->profile->name : "...");
    put_string(out, finding->link);
    fputs(";", out);
    if (finding->has_line)
        fprintf(out, "\n      serial = { baud = %d; framing = \"%d%c%d\"; flow = \"%s\"; };",
                line->baud, line->data_bits, line->parity, line->stop_bits,
                line_flow_word(line->flow));
    fputs(more ? " },\n" : " }\n", out);
}

static const char *kind_name(const struct finding *finding)
{
    if (finding->device == NULL)
        return "link";
    return finding->device->kind == SCAN_SERIAL ? "serial port" : "USBTMC device";
}

static void print_fact(FILE *out, const char *name, const char *text)
{
    if (text[0] == '\0')
        return;
    fprintf(out, "    %-14s ", name);
    put_printable(out, text);
    fputc('\n', out);
}

/* A name that changes when something else is plugged in first. */
static bool name_may_move(const struct finding *finding)
{
    return strcmp(finding->device->transport, "usb") == 0 &&
           strncmp(finding->link, "serial:/dev/tty", strlen("serial:/dev/tty")) == 0;
}

static void print_device(FILE *out, const struct finding *finding)
{
    const struct scan_device *device = finding->device;
    char ids[32] = "";
    if (device->vendor != 0)
        snprintf(ids, sizeof ids, "%04x:%04x", (unsigned)device->vendor, (unsigned)device->product);
    print_fact(out, "transport", device->transport);
    print_fact(out, "usb", ids);
    print_fact(out, "serial number", device->usb_serial);
    print_fact(out, "description", device->description);
    print_fact(out, "by id", device->by_id);
    if (device->in_use)
        print_fact(out, "in use", "by gradusd or another program");
    if (device->denied)
        print_fact(out, "no access", "this user may not open it; see its group and mode");
    if (name_may_move(finding))
        print_fact(out, "caution", "the name of the link depends on what is plugged in first");
}

static void print_identity(FILE *out, const struct finding *finding)
{
    char text[600];
    struct failure failure = finding->failure;
    failure.where[0] = '\0';
    print_fact(out, "identity", finding->identity);
    if (failure.code != FAILURE_NONE)
        print_fact(out, "no identity", failure_text(&failure, text, sizeof text));
    else if (finding->identity[0] != '\0' && finding->profile == NULL)
        print_fact(out, "profile", "none has this identity in its pattern");
}

static void print_finding(FILE *out, const struct finding *findings, size_t index)
{
    const struct finding *finding = &findings[index];
    const bool has_node = finding->device != NULL && finding->device->node[0] != '\0';
    fprintf(out, "%s%s ", index == 0 ? "" : "\n", kind_name(finding));
    put_printable(out, has_node ? finding->device->node : finding->link);
    fputc('\n', out);
    if (finding->device != NULL)
        print_device(out, finding);
    print_identity(out, finding);
    scan_print_stanza(out, findings, index, true);
}

void scan_print(FILE *out, const struct finding *findings, size_t count)
{
    if (count == 0)
        fputs("no serial port and no USBTMC device was found\n", out);
    for (size_t i = 0; i < count; i++)
        print_finding(out, findings, i);
}

static void encode_device(struct text *text, const struct scan_device *device)
{
    char id[8];
    text_member_string(text, "kind", device->kind == SCAN_SERIAL ? "serial" : "usbtmc");
    text_member_string(text, "node", device->node);
    text_member_string(text, "transport", device->transport);
    if (device->vendor != 0) {
        snprintf(id, sizeof id, "%04x", (unsigned)device->vendor & 0xffffU);
        text_member_string(text, "vendor", id);
        snprintf(id, sizeof id, "%04x", (unsigned)device->product & 0xffffU);
        text_member_string(text, "product", id);
    }
    text_member_string(text, "serial_number", device->usb_serial);
    text_member_string(text, "description", device->description);
    text_member_string(text, "by_id", device->by_id);
    text_member_string(text, "by_path", device->by_path);
    text_member_bool(text, "in_use", device->in_use);
    text_member_bool(text, "denied", device->denied);
}

static void encode_finding(struct text *text, const struct finding *findings, size_t index)
{
    const struct finding *finding = &findings[index];
    char name[64];
    finding_name(findings, index, name, sizeof name);
    text_open(text, '{');
    text_member_string(text, "name", name);
    text_member_string(text, "link", finding->link);
    if (finding->device != NULL)
        encode_device(text, finding->device);
    text_member_string(text, "identity", finding->identity);
    if (finding->profile != NULL)
        text_member_string(text, "profile", finding->profile->name);
    if (finding->failure.code != FAILURE_NONE) {
        text_key(text, "failure");
        encode_failure_data(text, &finding->failure, NULL, NULL, NULL);
    }
    text_close(text, '}');
}

bool scan_print_json(FILE *out, const struct finding *findings, size_t count)
{
    struct text text = { 0 };
    text_open(&text, '[');
    for (size_t i = 0; i < count; i++)
        encode_finding(&text, findings, i);
    text_close(&text, ']');
    const bool good = !text.failed;
    if (good)
        fprintf(out, "%s\n", text.bytes);
    text_free(&text);
    return good;
}
