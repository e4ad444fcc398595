/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fault.h"

#include "tools/standin/circuit/spread.h"

#include <stddef.h>
#include <string.h>

bool fault_named(const char *name, enum fault_kind *kind)
{
    static const char *const names[FAULT_KINDS] = {
#define X(name, text) [FAULT_##name] = (text),
        FAULT_TABLE(X)
#undef X
    };

    for (size_t k = 0; k < FAULT_KINDS; k++) {
        if (k != FAULT_ARMED_KINDS && strcmp(name, names[k]) == 0) {
            *kind = (enum fault_kind)k;
            return true;
        }
    }
    return false;
}

bool faults_any(const struct faults *faults)
{
    for (size_t k = 0; k < FAULT_ARMED_KINDS; k++)
        if (faults->armed[k].armed)
            return true;
    return false;
}

bool faults_take(struct faults *faults, enum fault_kind kind, gsl_rng *rng)
{
    struct fault *fault = &faults->armed[kind];

    if (!fault->armed)
        return false;
    if (fault->probability < 1.0 && spread_unit(rng) >= fault->probability)
        return false;
    if (fault->left > 0) {
        fault->left--;
        fault->armed = fault->left > 0;
    }
    return true;
}
