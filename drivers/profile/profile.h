/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a type of instrument can do and how it is told to, as data. A profile
 * is a libconfig file in config/profiles; adding an instrument type is
 * writing one. `gradusd --keys` explains every key.
 *
 * Command texts hold placeholders in braces, filled in when they are sent:
 *     {range}  {input}  {full_scale}  {volts_per_division}  {offset}
 *     {position} (divisions)  {position_volts}  {duration}  {interval}
 *     {time_per_division}  {points}
 * and of a trigger (volts at the input; what of the record lies before it):
 *     {trigger_level}  {trigger_divisions}  {before}  {before_divisions}  {before_share}
 * Numbers are written in the C locale with the digits that give them back.
 */
#ifndef GRADUS_DRIVERS_PROFILE_H
#define GRADUS_DRIVERS_PROFILE_H

#include "core/basics/quantity.h"
#include "core/input/chain.h"
#include "core/input/suitability.h"
#include "drivers/basics/digest.h"
#include "drivers/cfg/strict.h"
#include "drivers/dialogue/dialogue.h"

#include <regex.h>
#include <stdbool.h>
#include <stddef.h>

enum {
    PROFILE_TEXT = 160,
    PROFILE_FORM = 24,
    PROFILE_MAX_FUNCTIONS = 16,
    PROFILE_MAX_DURATIONS = 48,
    PROFILE_MAX_BESIDES = 8,
    PROFILE_MAX_TRIGGER_CHECKS = 4
};

/* Most inputs of one instrument. */
enum { PROFILE_INPUTS = 64 };

enum profile_kind { PROFILE_METER, PROFILE_SCOPE };

/* A list of command texts. */
struct commands {
    size_t count;
    char **texts;
};

/* A query and the pattern its answer must match; `query` empty: not there. */
struct check {
    char query[PROFILE_TEXT];
    bool has_pattern;
    regex_t pattern;
};

/*
 * What tells that somebody was at the instrument's panel: the bits of an event
 * register that is cleared by reading (IEEE 488.2, 11.5.1: bit 6, user request,
 * and bit 7, power on), or a count of changes.
 */
struct touch {
    char query[PROFILE_TEXT]; /* empty: nothing does */
    int mask;                 /* of the register's bits; 0: the answer is a count */
};

/* All bits of a 16-bit register. */
enum { TOUCH_MASK_MAX = 65535 };

/* How the text of a meter's answer is read. */
struct answer {
    bool has_pattern; /* false: one IEEE 488.2 number with the marks of SCPI-1999 */
    regex_t pattern;  /* first bracketed group: the number; the rest must match too */
    bool has_overload;
    regex_t overload; /* an answer that means overload */
};

/* How what is set is proved with each reading or record. */
enum proof_kind {
    PROOF_BEFORE_AND_AFTER, /* each question in a message of its own, before and behind it */
    PROOF_SAME_MESSAGE,     /* all questions before and behind it in its message; of a scope those
                               before the record in one of their own */
    PROOF_ANSWER_ITSELF,    /* by the words and the form of its answer; what can be asked is */
    PROOF_NONE              /* nothing can be asked */
};

/* One function of a meter. */
struct function {
    enum quantity quantity;
    struct commands select;    /* sent when the function is entered */
    struct check select_check; /* proves that the function is still the one entered */
    char range_command[PROFILE_TEXT];
    struct check auto_check;       /* proves that the range is not the instrument's to choose */
    struct check range_check;      /* reads the range back: its number must equal the range sent */
    struct commands range_selects; /* one text a range, instead of range_command; count 0: none */
    char read[PROFILE_TEXT];
    struct answer answer;
    char shows[CHAIN_MAX_RANGES][PROFILE_FORM]; /* form of the number in each range, or empty */
    double conversion_ms; /* longest time from the read command to its answer */
    double settle_ms;     /* after a change of function or range */
    enum response response;
    double crest_factor;  /* largest at full scale, true RMS; NAN: not stated */
    double low_frequency; /* hertz in which the accuracy holds; NAN: not stated */
    double high_frequency;
    size_t crest_error_count; /* true RMS: what crest factors cost besides */
    struct crest_error crest_errors[SUITABILITY_CREST_ERRORS];
    struct front_end front_end; /* ranges of this function; `ranges` owned by the profile */
};

enum encoding { ENCODING_BLOCK, ENCODING_LIST };

enum sample_format {
    SAMPLE_INT8,
    SAMPLE_UINT8,
    SAMPLE_INT16,
    SAMPLE_UINT16,
    SAMPLE_REAL32,
    SAMPLE_REAL64
};

enum byte_order { ORDER_MSB_FIRST, ORDER_LSB_FIRST };

/* What a scope's samples mean. */
struct waveform_coding {
    char query[PROFILE_TEXT];
    enum encoding encoding;
    enum sample_format format; /* ENCODING_LIST: how the decimal codes are bounded only */
    enum byte_order order;
    bool codes;      /* false: samples are volts at the input, with offset */
    double code_low; /* codes at or beyond these are clipped */
    double code_high;
    double code_centre; /* the code at the middle of the screen */
    double codes_per_division;
    double codes_per_step; /* from one step of the converter to the next, 1 or more */
};

/* What is set at a scope before each record, by the groups of its profile. */
#define SCOPE_SETTING_TABLE(X)                                                                     \
    X(VERTICAL, "vertical")                                                                        \
    X(OFFSET, "offset")                                                                            \
    X(POSITION, "position")                                                                        \
    X(COUPLING, "coupling")                                                                        \
    X(TIMEBASE, "timebase")

enum scope_setting {
#define X(name, text) SCOPE_##name,
    SCOPE_SETTING_TABLE(X)
#undef X
        SCOPE_SETTINGS
};

/* How a scope is made to wait until an input passes a level. */
struct trigger_words {
    struct commands set; /* one record, when {input} passes {trigger_level}; count 0: it cannot */
    char rising[PROFILE_TEXT];
    char falling[PROFILE_TEXT];
    struct commands off;   /* a start begins the record at once again */
    struct commands abort; /* ends a wait */
    char source_query[PROFILE_TEXT];
    char source_answer[PROFILE_TEXT]; /* the whole answer to it, {input} filled in */
    struct check slopes[2];           /* one query, and what it answers: falling, rising */
    struct check level;               /* reads back the number that is sent */
    struct check position;            /* likewise, of what lies before the trigger */
    size_t check_count;
    struct check checks[PROFILE_MAX_TRIGGER_CHECKS]; /* what else it rests on; must match */
    struct check waiting;    /* the state, and what it answers before the trigger came, */
    struct check done;       /* and once the record is whole */
    double level_divisions;  /* furthest that a level can be from the middle of the screen */
    double error_divisions;  /* bound on the level's own error */
    double most_before;      /* share of a record that can lie before the trigger */
    double position_samples; /* bound on where in the record it is, samples */
};

/* How a scope's input is driven. Commands may be empty where the scope has no such thing. */
struct scope {
    int inputs;
    double divisions;            /* height of the screen */
    double time_divisions;       /* width of the screen */
    char vertical[PROFILE_TEXT]; /* sets volts per division, or full scale */
    struct check vertical_check; /* reads it back: number must equal what {…} was sent */
    char offset[PROFILE_TEXT];
    struct check offset_check; /* reads {offset} back */
    char position[PROFILE_TEXT];
    struct check position_check; /* reads back the number that the command sends */
    char coupling_dc[PROFILE_TEXT];
    char coupling_ac[PROFILE_TEXT];
    char coupling_ground[PROFILE_TEXT];
    struct check coupling_checks[3]; /* by enum coupling: one query, and what it answers in each */
    struct check calibrated;     /* answer must match, else the vertical scale is not calibrated */
    struct commands timebase;    /* sets duration and number of points */
    struct check timebase_check; /* reads back the number that is sent */
    struct check interval;       /* answers seconds from sample to sample; empty: computed */
    size_t besides_count;
    struct check besides[PROFILE_MAX_BESIDES]; /* what else a record rests on; must match */
    bool cannot_tell[SCOPE_SETTINGS];          /* what it cannot be asked for */
    double
        skew; /* bound on the time between samples of two inputs, seconds; NAN: not recorded together */
    double timebase_error; /* relative bound on its rate; NAN: not stated */
    size_t points;
    size_t duration_count;
    double durations[PROFILE_MAX_DURATIONS]; /* seconds a record can last, ascending */
    struct commands acquire;                 /* starts one acquisition */
    struct check done; /* answer matches when it is finished; asked until it does */
    struct trigger_words trigger;
    double acquire_ms; /* longest time of an acquisition besides the record itself */
    double settle_ms;  /* after a change of range, offset or coupling */
    struct waveform_coding waveform;
    double max_input;           /* rating of the bare input, volts peak; NAN: not stated */
    double bandwidth;           /* -3 dB of the inputs, hertz; NAN: not stated */
    struct front_end front_end; /* `ranges` owned by the profile */
};

struct profile {
    char name[64];
    char description[PROFILE_TEXT];
    char path[512];
    char *text;               /* with all it includes */
    char digest[DIGEST_SIZE]; /* SHA-256 of its text, hexadecimal */
    enum profile_kind kind;
    struct protocol protocol;
    bool errors_always;       /* read the error queue after each reading, not only after set-up */
    struct serial_line line;  /* default for serial links */
    struct commands setup;    /* after the identity is known */
    struct commands local;    /* before the link is closed */
    double max_input;         /* meter: rating of the input, volts peak; NAN: not stated */
    int inputs;               /* 1 to PROFILE_INPUTS; meter: channels of its scanner card */
    int inputs_per_card;      /* neighbours that share an input card; 0: not stated */
    char route[PROFILE_TEXT]; /* meter: connects {input}; empty: one input, always there */
    char route_query[PROFILE_TEXT]; /* meter: asks which input is connected; empty: cannot tell */
    enum proof_kind proof;          /* of a scope one of the first two */
    bool locks_panel;   /* nobody can change what is set at it, so one proof a setup is enough */
    struct touch touch; /* asked for with the proof */
    char route_answer[PROFILE_TEXT]; /* meter: the whole answer to it, {input} filled in */
    size_t function_count;           /* meter */
    struct function functions[PROFILE_MAX_FUNCTIONS];
    struct scope scope; /* scope */
};

/*
 * Reads a profile. NULL when there is any mistake; all of them are then in
 * `problems`. Free with profile_free().
 */
struct profile *profile_load(const char *path, struct problems *problems);

/* The folder of the profiles that came with this build, once it is installed. */
const char *profile_folder(void);

/* As profile_load(), from memory; `path` stands for the file. */
struct profile *profile_read(const char *text, size_t length, const char *path,
                             struct problems *problems);

/* Accepts NULL. */
void profile_free(struct profile *profile);

/* The meter function for a quantity at the input, or NULL. */
const struct function *profile_function(const struct profile *profile, enum quantity quantity);

/*
 * What nothing proves of a reading of this function, for example "which input
 * it reads"; "" where all is proved. Returns text.
 */
const char *profile_unproved(const struct profile *profile, const struct function *function,
                             char *text, size_t size);

/*
 * What the input can be set to for a quantity at the input: a meter's
 * function, or a scope's vertical system for any voltage. NULL where the
 * instrument cannot measure it.
 */
const struct front_end *profile_front_end(const struct profile *profile, enum quantity quantity);

/*
 * Which of the scope's durations is set where a record of `wanted` seconds is asked for: the first
 * that lasts as long, to a part in 10^9, else the last (for a NAN too).
 */
size_t scope_record(const struct scope *scope, double wanted);

/*
 * What the instrument sees of a quantity at its input, without a probe; nothing stated where
 * it cannot measure it. `record` is how long a scope is to look at least, seconds.
 */
struct abilities profile_abilities(const struct profile *profile, enum quantity quantity,
                                   double record);

/* The name of a scope's setting, as in its profile: "coupling". Never NULL. */
const char *profile_setting_name(enum scope_setting setting);

/* Whether a record of it can wait for a signal: it is a scope, and its profile says how. */
bool profile_triggers(const struct profile *profile);

/* How many inputs there are: a scope's, or the channels of a meter's scanner card. */
int profile_inputs(const struct profile *profile);

/* The names of all quantities in the order of the enum, NULL at the end: for STRICT_CHOICE. */
extern const char *const profile_quantities[];

/*
 * Reads the group of a serial line's settings, which profiles and bench
 * settings share; what it does not mention stays as it is in `line`.
 */
bool profile_serial(const config_setting_t *group, struct serial_line *line,
                    struct problems *problems);

/* Prints every key a profile can have. */
void profile_print_keys(FILE *out);

#endif
