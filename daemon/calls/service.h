/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a method may reach: the loop, and what stands on it. The loop thread's alone. */
#ifndef GRADUS_DAEMON_SERVICE_H
#define GRADUS_DAEMON_SERVICE_H

#include "daemon/burnin/burnin.h"
#include "daemon/burnin/burnin_follow.h"
#include "daemon/loop/answers.h"
#include "daemon/loop/follow.h"
#include "daemon/loop/loop.h"
#include "daemon/loop/probe_checks.h"
#include "daemon/walk/walk.h"

struct access;
struct server;

struct service {
    struct loop *loop;
    struct server *server;
    struct access *access;
    struct follow *follow;
    struct burnin_follow *burnin_follow;
    struct answers *answers;
    struct probe_checks *probe_checks;
    struct burnin *burnin;
    struct walks *walks;
    struct wall_time started;
    struct moment started_at;
};

#endif
