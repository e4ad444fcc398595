/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "hand.h"

#include <math.h>

/* A look averages over this long, in slices; a bouncing contact changes from slot to slot. */
#define LOOK_S        0.02
#define BOUNCE_SLOT_S 0.005
/* Insulation and skin between the mains and a lifted tip. */
#define AIR_RESISTANCE 10e6

enum { SLICES = 20 };

struct hand hand_begin(uint64_t seed)
{
    return (struct hand) {
        .holds = true, .seed = seed, .hum = 0.3, .mains_hz = 50.0, .leftover = 0.005
    };
}

void hand_move(struct hand *hand, const struct hand_move *move, double now)
{
    while (hand->count > 0 && hand->moves[hand->count - 1].at > fmax(now, move->at))
        hand->count--;
    if (hand->count == HAND_MOVES) {
        for (size_t i = 1; i < HAND_MOVES; i++)
            hand->moves[i - 1] = hand->moves[i];
        hand->count--;
    }
    hand->moves[hand->count++] = *move;
}

/* The move in force at a time; NULL before the first. */
static const struct hand_move *move_at(const struct hand *hand, double now)
{
    const struct hand_move *found = NULL;

    for (size_t i = 0; i < hand->count; i++)
        if (hand->moves[i].at <= now)
            found = &hand->moves[i];
    return found;
}

const struct source *hand_node(const struct hand *hand, double now)
{
    const struct hand_move *move = move_at(hand, now);

    return move != NULL ? move->node : NULL;
}

/* A number in 0 ... 1 that follows from the seed and n: Steele, Lea and Flood's SplitMix64. */
static double drawn(uint64_t seed, uint64_t n)
{
    uint64_t z = seed + (n + 1) * UINT64_C(0x9e3779b97f4a7c15);

    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return (double)((z ^ (z >> 31)) >> 11) / 9007199254740992.0;
}

/* Where the tip is at one moment, contact that comes and goes included. */
static const struct source *contact_at(const struct hand *hand, double now)
{
    const struct hand_move *move = move_at(hand, now);

    if (move == NULL)
        return NULL;
    bool bounces = now < move->at + move->bounce_s;
    return bounces && drawn(hand->seed, (uint64_t)(now / BOUNCE_SLOT_S)) < 0.5 ? NULL : move->node;
}

static struct source air(const struct hand *hand, double now)
{
    struct source source = source_default(SOURCE_SINE);
    double first = drawn(hand->seed, 1), second = drawn(hand->seed, 2);
    double slow = sin(2.0 * M_PI * (0.13 * now + first));
    double swell = sin(2.0 * M_PI * (0.21 * now + second));

    source.level = hand->leftover * slow;
    source.frequency = hand->mains_hz;
    source.amplitude = hand->hum * (1.0 + 0.3 * swell);
    source.wave = wave_sine(source.amplitude, source.frequency);
    source.source_resistance = AIR_RESISTANCE;
    source.wander = 0.01 * hand->hum;
    return source;
}

/* The mean level of what the tip touched in turn, what alternates by that, and the air's hum. */
static struct source between(const struct hand *hand, double now)
{
    struct source source = source_default(SOURCE_SINE);
    const struct source *last = contact_at(hand, now);
    double squares = 0.0;

    for (int i = 0; i < SLICES; i++) {
        double then = now - LOOK_S * i / SLICES;
        const struct source *touched = contact_at(hand, then);
        struct source lifted = air(hand, then);
        struct truth truth = source_truth(touched != NULL ? touched : &lifted, then);

        source.level += truth.dc / SLICES;
        squares += truth.rms * truth.rms / SLICES;
    }
    source.frequency = hand->mains_hz;
    source.amplitude = sqrt(2.0 * fmax(squares - source.level * source.level, 0.0));
    source.wave = wave_sine(source.amplitude, source.frequency);
    source.source_resistance = last != NULL ? last->source_resistance : AIR_RESISTANCE;
    return source;
}

struct source hand_feel(const struct hand *hand, double now)
{
    const struct source *last = contact_at(hand, now);

    for (int i = 1; i < SLICES; i++)
        if (contact_at(hand, now - LOOK_S * i / SLICES) != last)
            return between(hand, now);
    return last != NULL ? *last : air(hand, now);
}
