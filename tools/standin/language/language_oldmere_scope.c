/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * OLDMERE: an older two-input scope, told in plain English what to do; every
 * command is answered, OK or BAD.
 *
 *     HEIGHT 1 0.5     volts a division of inlet 1; HEIGHT? 1 tells
 *     LIFT 1 -2        its zero trace so many divisions up from the middle
 *     INLET 1 DC       (AC, GROUND) what of the signal is let in
 *     TURNED? 1        YES while its knob is off the stop: the height means nothing
 *     PACE 1e-3        seconds a division
 *     AWAIT 1          ONCE then waits until inlet 1 goes through the mark; AWAIT? tells
 *     AWAIT NOTHING    ONCE draws at once again
 *     GOING UP         (DOWN) which way it must go through it; GOING? tells
 *     MARK 2.5         the mark, in volts; MARK? tells
 *     PAST 2           so many divisions of the trace are from before the mark; PAST? tells
 *     ENOUGH           ends a wait
 *     ONCE             draws one trace; OVER? is answered YES once it is drawn, LURKING while it waits
 *     CODES? 1         the trace of inlet 1, as the converter gave it
 *     TOUCHES?         how often hands have been at its knobs
 *     WHO, HANDS       who it is; its keys belong to hands again
 */
#include "languages.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { WORDS = 3, LINE = 128, SCREEN_POINTS = 500 };

#define TIME_DIVISIONS 10.0
#define POSITION_LIMIT 4.0

static const char *const couplings[] = { "DC", "AC", "GROUND" }; /* by enum scope_coupling */

/* One command taken apart into words; `count` is larger than WORDS when there are too many. */
struct order {
    size_t count;
    char *words[WORDS];
    char line[LINE];
};

typedef bool order_action(struct instrument *instrument, const struct order *order,
                          struct answer *answer);

struct verb {
    const char *word;
    size_t words; /* the verb's own included */
    order_action *act;
};

static void split(const char *command, struct order *order)
{
    char *rest = NULL;
    size_t length = strlen(command);

    *order = (struct order) { 0 };
    if (length >= sizeof order->line)
        return;
    memcpy(order->line, command, length + 1);
    for (char *word = strtok_r(order->line, " ", &rest); word != NULL;
         word = strtok_r(NULL, " ", &rest)) {
        if (order->count < WORDS)
            order->words[order->count] = word;
        order->count++;
    }
}

static bool input_word(const char *word, size_t *input)
{
    if ((word[0] != '1' && word[0] != '2') || word[1] != '\0')
        return false;
    *input = (size_t)(word[0] - '1');
    return true;
}

static bool number_word(const char *word, double *number)
{
    char *end;

    if (strspn(word, "+-.0123456789eE") != strlen(word))
        return false;
    *number = strtod(word, &end);
    return end != word && *end == '\0' && isfinite(*number);
}

static bool who(struct instrument *instrument, const struct order *order, struct answer *answer)
{
    (void)order;
    text_print(&answer->text, "%s",
               wrong_identity(instrument) ? "OLDMERE FIELD SCOPE REV A"
                                          : "OLDMERE BENCH SCOPE REV C");
    return true;
}

static bool set_height(struct instrument *instrument, const struct order *order,
                       struct answer *answer)
{
    size_t input;
    double volts;
    size_t step;

    (void)answer;
    if (!input_word(order->words[1], &input) || !number_word(order->words[2], &volts) ||
        !scope_step_equal(instrument->scope.type, volts, &step))
        return false;
    scope_set_step(&instrument->scope, input, step);
    return true;
}

static bool ask_height(struct instrument *instrument, const struct order *order,
                       struct answer *answer)
{
    size_t input;

    if (!input_word(order->words[1], &input))
        return false;
    text_print(&answer->text, "%g", scope_volts_per_division(&instrument->scope, input));
    return true;
}

static bool lift(struct instrument *instrument, const struct order *order, struct answer *answer)
{
    size_t input;
    double divisions;

    (void)answer;
    if (!input_word(order->words[1], &input) || !number_word(order->words[2], &divisions) ||
        fabs(divisions) > POSITION_LIMIT)
        return false;
    scope_set_position(&instrument->scope, input, divisions);
    return true;
}

static bool set_inlet(struct instrument *instrument, const struct order *order,
                      struct answer *answer)
{
    size_t input;

    (void)answer;
    if (!input_word(order->words[1], &input))
        return false;
    for (size_t c = 0; c < sizeof couplings / sizeof couplings[0]; c++) {
        if (strcmp(order->words[2], couplings[c]) == 0) {
            scope_set_coupling(&instrument->scope, input, (enum scope_coupling)c);
            return true;
        }
    }
    return false;
}

static bool ask_lift(struct instrument *instrument, const struct order *order,
                     struct answer *answer)
{
    size_t input;

    if (!input_word(order->words[1], &input))
        return false;
    text_print(&answer->text, "%.9g", instrument->scope.inputs[input].position);
    return true;
}

static bool ask_inlet(struct instrument *instrument, const struct order *order,
                      struct answer *answer)
{
    size_t input;

    if (!input_word(order->words[1], &input))
        return false;
    text_print(&answer->text, "%s", couplings[instrument->scope.inputs[input].coupling]);
    return true;
}

static bool ask_pace(struct instrument *instrument, const struct order *order,
                     struct answer *answer)
{
    (void)order;
    text_print(&answer->text, "%.9g",
               instrument->scope.time / (SCREEN_POINTS - 1) * SCREEN_POINTS / TIME_DIVISIONS);
    return true;
}

static bool ask_turned(struct instrument *instrument, const struct order *order,
                       struct answer *answer)
{
    size_t input;

    if (!input_word(order->words[1], &input))
        return false;
    text_print(&answer->text, "%s", instrument->scope.inputs[input].variable ? "YES" : "NO");
    return true;
}

static bool ask_touches(struct instrument *instrument, const struct order *order,
                        struct answer *answer)
{
    (void)order;
    text_print(&answer->text, "%llu", (unsigned long long)instrument->counters.knobs);
    return true;
}

static bool set_pace(struct instrument *instrument, const struct order *order,
                     struct answer *answer)
{
    static const double steps[] = { 1e-6, 2e-6, 5e-6, 10e-6, 20e-6, 50e-6, 100e-6, 200e-6, 500e-6,
                                    1e-3, 2e-3, 5e-3, 10e-3, 20e-3, 50e-3, 0.1,    0.2,    0.5 };
    double seconds;

    (void)answer;
    if (!number_word(order->words[1], &seconds))
        return false;
    for (size_t s = 0; s < sizeof steps / sizeof steps[0]; s++) {
        if (fabs(seconds - steps[s]) <= 1e-6 * steps[s]) {
            /* 500 samples, 50 a division: the last one stands one interval before the edge. */
            double interval = steps[s] * TIME_DIVISIONS / SCREEN_POINTS;

            scope_set_time(&instrument->scope, interval * (SCREEN_POINTS - 1));
            return true;
        }
    }
    return false;
}

static bool await(struct instrument *instrument, const struct order *order, struct answer *answer)
{
    bool nothing = strcmp(order->words[1], "NOTHING") == 0;
    size_t input;

    (void)answer;
    if (!nothing && !input_word(order->words[1], &input))
        return false;
    instrument_abort(instrument);
    instrument->scope.trigger.source = nothing ? 0 : input + 1;
    return true;
}

static bool ask_await(struct instrument *instrument, const struct order *order,
                      struct answer *answer)
{
    size_t source = instrument->scope.trigger.source;

    (void)order;
    if (source == 0)
        text_print(&answer->text, "NOTHING");
    else
        text_print(&answer->text, "%zu", source);
    return true;
}

static bool set_going(struct instrument *instrument, const struct order *order,
                      struct answer *answer)
{
    bool up = strcmp(order->words[1], "UP") == 0;

    (void)answer;
    if (!up && strcmp(order->words[1], "DOWN") != 0)
        return false;
    instrument->scope.trigger.rising = up;
    return true;
}

static bool ask_going(struct instrument *instrument, const struct order *order,
                      struct answer *answer)
{
    (void)order;
    text_print(&answer->text, "%s", instrument->scope.trigger.rising ? "UP" : "DOWN");
    return true;
}

static bool set_mark(struct instrument *instrument, const struct order *order,
                     struct answer *answer)
{
    (void)answer;
    return number_word(order->words[1], &instrument->scope.trigger.level);
}

static bool ask_mark(struct instrument *instrument, const struct order *order,
                     struct answer *answer)
{
    (void)order;
    text_print(&answer->text, "%.9g", instrument->scope.trigger.level);
    return true;
}

static bool set_past(struct instrument *instrument, const struct order *order,
                     struct answer *answer)
{
    double divisions;

    (void)answer;
    if (!number_word(order->words[1], &divisions) || divisions < 0.0 || divisions > TIME_DIVISIONS)
        return false;
    instrument->scope.trigger.share =
        divisions / TIME_DIVISIONS * SCREEN_POINTS / (SCREEN_POINTS - 1);
    return true;
}

static bool ask_past(struct instrument *instrument, const struct order *order,
                     struct answer *answer)
{
    (void)order;
    text_print(&answer->text, "%.9g",
               instrument->scope.trigger.share * TIME_DIVISIONS * (SCREEN_POINTS - 1) /
                   SCREEN_POINTS);
    return true;
}

static bool enough(struct instrument *instrument, const struct order *order, struct answer *answer)
{
    (void)order;
    (void)answer;
    instrument_abort(instrument);
    return true;
}

static bool draw_once(struct instrument *instrument, const struct order *order,
                      struct answer *answer)
{
    (void)order;
    if (instrument->scope.trigger.source > 0)
        instrument_arm(instrument, answer);
    else
        instrument_acquire(instrument, instrument->scope.time, answer);
    return true;
}

static bool ask_over(struct instrument *instrument, const struct order *order,
                     struct answer *answer)
{
    (void)order;
    bool waits = instrument_waits(instrument, answer);
    text_print(&answer->text, "%s",
               waits                                 ? "LURKING"
               : instrument_busy(instrument, answer) ? "NO"
                                                     : "YES");
    return true;
}

static bool ask_codes(struct instrument *instrument, const struct order *order,
                      struct answer *answer)
{
    const struct scope *scope = &instrument->scope;
    size_t input;

    if (!input_word(order->words[1], &input) || !scope->inputs[input].recorded ||
        instrument_busy(instrument, answer))
        return false;
    size_t count;
    int16_t *codes = instrument_record(instrument, input, &count);
    for (size_t n = 0; n < count; n++)
        text_print(&answer->text, "%s%d", n > 0 ? "," : "", codes[n]);
    free(codes);
    return true;
}

static bool hands(struct instrument *instrument, const struct order *order, struct answer *answer)
{
    (void)instrument;
    (void)order;
    (void)answer;
    return true;
}

static const struct verb verbs[] = {
    { "WHO", 1, who },          { "HEIGHT", 3, set_height }, { "HEIGHT?", 2, ask_height },
    { "LIFT", 3, lift },        { "INLET", 3, set_inlet },   { "TURNED?", 2, ask_turned },
    { "PACE", 2, set_pace },    { "ONCE", 1, draw_once },    { "OVER?", 1, ask_over },
    { "CODES?", 2, ask_codes }, { "HANDS", 1, hands },       { "LIFT?", 2, ask_lift },
    { "INLET?", 2, ask_inlet }, { "PACE?", 1, ask_pace },    { "TOUCHES?", 1, ask_touches },
    { "AWAIT", 2, await },      { "AWAIT?", 1, ask_await },  { "GOING", 2, set_going },
    { "GOING?", 1, ask_going }, { "MARK", 2, set_mark },     { "MARK?", 1, ask_mark },
    { "PAST", 2, set_past },    { "PAST?", 1, ask_past },    { "ENOUGH", 1, enough },
};

static bool obey(struct instrument *instrument, const struct order *order, struct answer *answer)
{
    for (size_t v = 0; v < sizeof verbs / sizeof verbs[0]; v++)
        if (order->count == verbs[v].words && order->words[0] != NULL &&
            strcmp(order->words[0], verbs[v].word) == 0)
            return verbs[v].act(instrument, order, answer);
    return false;
}

static void execute(struct instrument *instrument, const char *command, struct answer *answer)
{
    struct order order;

    if (command[0] == '\0')
        return;
    split(command, &order);
    answer->replies = true;
    if (!obey(instrument, &order, answer))
        text_print(&answer->text, "BAD");
    else if (answer->text.count == 0)
        text_print(&answer->text, "OK");
}

static void overrun(struct instrument *instrument, struct answer *answer)
{
    (void)instrument;
    text_print(&answer->text, "BAD");
    answer->replies = true;
}

const struct language language_oldmere_scope = {
    .type = "oldmere-scope",
    .scope = &scope_oldmere,
    .command_end = '\n',
    .reply_end = "\n",
    .execute = execute,
    .overrun = overrun,
};
