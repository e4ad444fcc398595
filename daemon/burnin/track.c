/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "track.h"

#include <math.h>
#include <stdlib.h>

enum { FIRST = 32 };

struct track track_begin(size_t most)
{
    return (struct track) { .most = most, .stride = 1, .last = NAN };
}

void track_end(struct track *track)
{
    size_t most = track->most;
    free(track->times);
    free(track->values);
    *track = track_begin(most);
}

static bool grow(struct track *track)
{
    size_t capacity = track->capacity == 0 ? FIRST : 2 * track->capacity;
    capacity = capacity < track->most ? capacity : track->most;
    double *times = realloc(track->times, capacity * sizeof *times);
    if (times == NULL)
        return false;
    track->times = times;
    double *values = realloc(track->values, capacity * sizeof *values);
    if (values == NULL)
        return false;
    track->values = values;
    track->capacity = capacity;
    return true;
}

static void join_neighbours(struct track *track)
{
    track->count /= 2;
    for (size_t i = 0; i < track->count; i++) {
        track->times[i] = (track->times[2 * i] + track->times[2 * i + 1]) / 2;
        track->values[i] = (track->values[2 * i] + track->values[2 * i + 1]) / 2;
    }
    track->stride *= 2;
}

static void note_change(struct track *track, double value)
{
    double change = fabs(value - track->last);
    if (change > 0 && (track->quantum == 0 || change < track->quantum))
        track->quantum = change;
    track->last = value;
}

bool track_add(struct track *track, double time, double value)
{
    if (track->count == track->most)
        join_neighbours(track);
    if (track->count == track->capacity && !grow(track))
        return false;
    note_change(track, value);
    track->time_sum += time;
    track->value_sum += value;
    if (++track->gathered < track->stride)
        return true;
    double share = 1.0 / (double)track->gathered;
    track->times[track->count] = track->time_sum * share;
    track->values[track->count++] = track->value_sum * share;
    track->gathered = 0;
    track->time_sum = 0;
    track->value_sum = 0;
    return true;
}
