/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "serial_tty.h"

#include "link_fd.h"

#include <errno.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <termios.h>

static bool in_use(struct failure *failure)
{
    return failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL,
                       "serial line is in use by another program");
}

bool serial_tty_take(int fd, struct failure *failure)
{
    if (!fd_prepare(fd, failure))
        return false;
    if (flock(fd, LOCK_EX | LOCK_NB) != 0)
        return errno == EWOULDBLOCK
                   ? in_use(failure)
                   : failure_set(failure, FAILURE_SYSTEM, NULL, NULL, "lock on the line: %m");
    if (ioctl(fd, TIOCEXCL) != 0)
        return failure_set(failure, FAILURE_SYSTEM, NULL, "a terminal", "exclusive use: %m");
    return true;
}

static tcflag_t input_flags(enum flow_control flow)
{
    return flow == FLOW_XON_XOFF ? INPCK | IXON | IXOFF : INPCK;
}

bool serial_tty_raw(int fd, enum flow_control flow, struct failure *failure)
{
    struct termios line;

    if (tcgetattr(fd, &line) != 0)
        return failure_set(failure, FAILURE_SYSTEM, NULL, "a terminal", "line settings: %m");
    line.c_iflag = input_flags(flow);
    line.c_oflag &= ~(tcflag_t)OPOST;
    line.c_lflag = 0;
    line.c_cflag |= CLOCAL | CREAD;
    line.c_cflag &= ~(tcflag_t)HUPCL;
    line.c_cc[VMIN] = 1;
    line.c_cc[VTIME] = 0;
    if (tcsetattr(fd, TCSANOW, &line) != 0)
        return failure_set(failure, FAILURE_SYSTEM, NULL, NULL, "line settings: %m");
    return true;
}

void serial_tty_low_latency(int fd)
{
    struct serial_struct serial;

    if (ioctl(fd, TIOCGSERIAL, &serial) != 0)
        return;
    serial.flags |= (int)ASYNC_LOW_LATENCY;
    ioctl(fd, TIOCSSERIAL, &serial);
}

bool serial_tty_counters(int fd, struct serial_icounter_struct *counters)
{
    return ioctl(fd, TIOCGICOUNT, counters) == 0;
}

bool serial_tty_damage(const struct serial_icounter_struct *before,
                       const struct serial_icounter_struct *after)
{
    return before->frame != after->frame || before->parity != after->parity ||
           before->overrun != after->overrun || before->brk != after->brk ||
           before->buf_overrun != after->buf_overrun;
}

void serial_tty_abandon(int fd)
{
    struct termios line;

    if (tcgetattr(fd, &line) == 0) {
        line.c_iflag &= ~(tcflag_t)(IXON | IXOFF);
        line.c_cflag &= ~(tcflag_t)CRTSCTS;
        tcsetattr(fd, TCSANOW, &line);
    }
    tcflow(fd, TCOON);
    tcflush(fd, TCIOFLUSH);
}
