/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is remembered of a point from one measurement to the next. */
#ifndef GRADUS_DAEMON_MEASURE_MEMORY_H
#define GRADUS_DAEMON_MEASURE_MEMORY_H

#include "core/range/plan.h"
#include "movement.h"

/* What a point was settled on last time; one a point, kept by the worker. Start with {0}. */
struct measure_memory {
    bool known;
    struct setup setup;
    struct signal signal; /* input units */
    struct stillness still;
    double beyond;     /* see plan_resume() */
    bool beside_known; /* of a reference input, `beside` is where that settled */
    struct setup beside;
};

#endif
