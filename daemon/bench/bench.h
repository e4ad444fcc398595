/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The bench as the settings describe it: instruments, probes, points, and how
 * the daemon serves them. Immutable once loaded and counted by reference, so
 * that any thread may read it and a reload replaces it whole.
 */
#ifndef GRADUS_DAEMON_BENCH_H
#define GRADUS_DAEMON_BENCH_H

#include "core/basics/moment.h"
#include "core/basics/quantity.h"
#include "core/diagnosis/diagnosis.h"
#include "core/input/loading.h"
#include "core/input/mistakes.h"
#include "core/input/probe.h"
#include "core/input/waveshape.h"
#include "core/uncertainty/limits.h"
#include "daemon/access/access_rules.h"
#include "daemon/access/account.h"
#include "drivers/link/link.h"
#include "drivers/profile/profile.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { BENCH_NAME = PROBE_NAME, BENCH_TEXT = 256, BENCH_WAYS = 8, BENCH_DATE = 16 };

#define BENCH_NO_POINT ((size_t)-1)

struct bench_instrument {
    char name[BENCH_NAME];
    char calibration_due[BENCH_DATE]; /* ISO date; empty: not stated */
    char certificate[BENCH_NAME];     /* number of its calibration certificate; empty: not stated */
    double ambient;                   /* degrees Celsius where it stands */
    struct link_spec link;
    const struct profile *profile; /* owned by the bench */
    uint64_t
        switched; /* bit i: a scanner in front of input i + 1 brings each point to it by itself */
    char digest[DIGEST_SIZE]; /* of everything above and of the profile's text, hexadecimal */
    int inputs_per_card; /* neighbours that share an input card; 0: not known. No value rests on it */
};

/* One way to measure a point: an instrument that is connected to it. */
struct bench_way {
    size_t instrument;      /* index into bench.instruments */
    int input;              /* from 1 */
    size_t probe;           /* index into bench.probes */
    enum quantity at_input; /* what the instrument has to measure */
    char unit[PROBE_UNIT];  /* of the reading */
    bool correct_loading;
    double standard;          /* predicted for what is expected, tip units; NAN: nothing is */
    char refusal[BENCH_TEXT]; /* why it cannot see the signal; empty: it can */
};

/* A reading of the store that the limits of a point refer to. */
struct bench_stored {
    char point[BENCH_NAME]; /* that it is of; empty: none */
    int64_t id;    /* its number; 0: the newest that passed when the settings take effect */
    int64_t found; /* the number of the one that was found; 0: none */
    struct wall_time found_at; /* when that was taken */
    char verdict[24];          /* that it got */
};

struct bench_point {
    char name[BENCH_NAME];
    size_t index;                   /* in bench.points; of a variant, that of the point it varies */
    char template_name[BENCH_NAME]; /* of the stanza with units it is from; empty: of none */
    int unit_number;                /* of the unit under test; 0: not said */
    size_t instrument;              /* index into bench.instruments */
    int input;                      /* from 1 */
    size_t probe;                   /* index into bench.probes */
    enum quantity quantity;         /* at the tip */
    enum quantity at_input;         /* what the instrument has to measure */
    char unit[PROBE_UNIT];          /* of the reading */
    double expected;                /* at the tip; NAN: not stated */
    double tolerance;               /* relative bound on expected, for telling mistakes */
    double dc_level;                /* at the tip, under an ac quantity; NAN: not stated */
    double frequency;               /* hertz; NAN: not stated */
    struct waveshape shape;
    double crest_factor;      /* stated, or that of the shape; NAN: neither */
    double record;            /* seconds a scope should look; NAN: its default */
    struct source source;     /* the circuit behind the point */
    double tuned_frequency;   /* resonance of a tuned circuit at the point, hertz; NAN: none */
    double tuned_capacitance; /* farad that it resonates with, without a load; NAN: none */
    bool correct_loading;
    bool mains_referenced; /* that circuit is tied to the mains */
    struct limits limits;
    int reference_input;    /* that a delay or phase is to; 0: none */
    size_t reference_probe; /* what is between it and its point */
    double skew;            /* bound on the time between what both leads bring, seconds */
    size_t reference;       /* point that the limits refer to; BENCH_NO_POINT: none */
    struct bench_stored stored;
    size_t way_count; /* of which the best has been made the point's own; 0: none */
    size_t way_used;  /* index of that one */
    struct bench_way ways[BENCH_WAYS];
    char
        place[BENCH_NAME]; /* where it is, for telling points on one input apart; empty: not said */
    char caution[BENCH_TEXT]; /* shown before and with the reading; empty: none */
};

struct bench_server {
    char unix_path[108];  /* empty: no Unix socket */
    char tcp_address[64]; /* empty: no TCP */
    int tcp_port;
    size_t line_limit;    /* longest request line, bytes */
    int clients;          /* most connections at a time */
    struct quotas quotas; /* of each principal */
    double quiet_s;       /* how long one may be quiet when there are too many; see server.h */
    bool talk;            /* whether `talk` is allowed */
};

/* Whose readings they are, for what is handed over; empty: not stated. */
struct bench_shop {
    char name[BENCH_TEXT];
    char address[BENCH_TEXT];
    char logo[BENCH_TEXT]; /* path of a picture */
};

struct bench_store {
    char path[512];        /* of the database; empty: no store */
    size_t hold;           /* readings kept in memory while it cannot be written */
    double keep_all_days;  /* every reading is kept so long; 0: as long as anything */
    double summary_s;      /* then one summary a point and so many seconds; 0: none */
    double retention_days; /* nothing is kept longer; 0: no end */
    double ask_percent;    /* more than this of all is removed at once only when it was allowed */
    double anchor_s;      /* the chain is anchored outside of it at most so often; 0: each commit */
    char anchor_key[512]; /* file with the key of the anchors; empty: none */
    bool trust_clock;     /* ages count although nothing says that the clock is right */
};

enum { BURNIN_PHASES = 16, BURNIN_WORDS = 16 };

/* Part of a burn-in. */
struct bench_phase {
    char name[BENCH_NAME];
    double duration_s;
    char
        *begins[BURNIN_WORDS + 1]; /* command of the shop when it begins; as bench_burnin.command */
    char *ends[BURNIN_WORDS + 1];  /* the same when it ends */
    double command_s;              /* time limit of each */
    const struct bench_point **points; /* one a point of the plan: itself, or a variant */
};

/* What stops when a point trips. */
enum burnin_stops { BURNIN_STOPS_NOTHING, BURNIN_STOPS_POINT, BURNIN_STOPS_UNIT, BURNIN_STOPS_RUN };

/* When a point of a burn-in trips: after so many in a row. */
struct burnin_rules {
    int trip_after; /* failures, >= 1 */
    int lost_after; /* measurements without a reading; 0: they never trip */
};

/* How far a point may move in a burn-in. */
struct bench_drift {
    double bound;     /* tip units, absolute; NAN: none */
    double relative;  /* of what it is compared with; NAN: none */
    double reference; /* stated; NAN: the mean of the first readings after warm-up */
    int window;       /* so many of them; less than 1: one */
    int chart; /* readings that the control chart of a check standard is from; 0: it is none */
};

/* What becomes of a run when the command of a phase fails. */
enum burnin_fails { BURNIN_FAILS_END, BURNIN_FAILS_HOLD };

/* A burn-in as it is planned. */
struct bench_burnin {
    char name[BENCH_NAME];
    double every_s;
    double warm_up_s;      /* from the start: measured, but neither judged nor compared */
    double deadline_ms;    /* for each reading */
    double probe_checks_s; /* how old the check of a probe may be at the start; 0: not asked */
    size_t point_count;
    struct bench_drift *drifts; /* one a point; owned */
    size_t phase_count;
    struct bench_phase phases[BURNIN_PHASES]; /* the points of the first hold those of all */
    struct burnin_rules rules;
    enum burnin_stops stops;
    enum burnin_stops check_standard_stops; /* the same, when the check standard trips */
    char *command[BURNIN_WORDS + 1]; /* of the shop, NULL at its end; owned; [0] NULL: none */
    double command_s;                /* its time limit */
    char command_user[BENCH_NAME];   /* who runs it, and those of phases, when the daemon is root */
    enum burnin_fails command_fails; /* what the failure of a phase's command does to the run */
    bool
        ends_when_stopped; /* a phase's end command is run when the run ends before its time, too */
};

/* Where a probe held by hand goes for a point. */
struct bench_place {
    size_t point;             /* index into bench.points */
    char place[BENCH_TEXT];   /* where that is, for people */
    char picture[512];        /* path of a file that shows it; empty: none */
    char caution[BENCH_TEXT]; /* told before the probe goes there; empty: none */
};

/* A part of a board that can fail: what feeds it, and where its output is measured. */
struct bench_block {
    char name[BENCH_NAME];
    size_t place;      /* index into bench_sheet.places; BENCH_NO_POINT: its output has none */
    double likelihood; /* of failing, relative to the others, > 0 */
    double cost;       /* of measuring its output, relative to the others, > 0 */
    bool hides;        /* its output may be good although what feeds it is bad */
    size_t input_count;
    size_t inputs[DIAGNOSIS_INPUTS]; /* indices of the blocks that feed it */
};

/* The places of a board in the order in which they are walked; each point once. */
struct bench_sheet {
    char name[BENCH_NAME];
    char title[BENCH_TEXT]; /* for people */
    size_t place_count;
    struct bench_place *places; /* owned */
    size_t block_count;
    struct bench_block *blocks; /* owned */
};

struct bench {
    char path[512];           /* the settings file */
    char *text;               /* with all includes, and after it the texts of the profiles */
    char digest[DIGEST_SIZE]; /* SHA-256 of that text, hexadecimal */
    struct bench_server server;
    struct access_rules access;
    double loading_share;                      /* loading above it is warned of, relative */
    double lead_zero_s;                        /* how long a zero of leads holds */
    enum mistake_policy policy[MISTAKE_COUNT]; /* what is done about each mistake */
    struct bench_store store;
    struct bench_shop shop;
    size_t profile_count;
    struct profile **profiles;
    size_t instrument_count;
    struct bench_instrument *instruments;
    size_t probe_count; /* the first is the built-in "direct" */
    struct probe *probes;
    size_t point_count;
    struct bench_point *points;
    size_t name_slots;    /* a power of two; 0: bench_index() has not been called */
    size_t *name_table;   /* index + 1 of the point of a name, by its hash; 0: none; owned */
    size_t variant_count; /* points with other limits, for phases of burn-ins */
    struct bench_point **variants;
    size_t burnin_count;
    struct bench_burnin *burnins;
    size_t sheet_count;
    struct bench_sheet *sheets;
    _Atomic unsigned references;
};

/* One more reference. Returns bench. */
struct bench *bench_ref(struct bench *bench);

/* One reference less; frees the bench with the last. Accepts NULL. */
void bench_unref(struct bench *bench);

/* Makes points quick to find, once all have their names. False when memory is short. */
bool bench_index(struct bench *bench);

/* The point of that name, or NULL. */
const struct bench_point *bench_point(const struct bench *bench, const char *name);

/* The burn-in plan of that name, or NULL. */
const struct bench_burnin *bench_burnin(const struct bench *bench, const char *name);

/* The sheet of that name, or NULL. */
const struct bench_sheet *bench_sheet(const struct bench *bench, const char *name);

/*
 * Whether a lead is brought to the point by hand: it has an input with no scanner in front. See
 * bench_hand_between().
 */
bool bench_by_hand(const struct bench *bench, const struct bench_point *point);

/*
 * Whether somebody has to move a lead or change a probe between the two points: they share an input
 * with no scanner in front, and are not said to be one place through one probe. Read one after the
 * other by themselves, one of them would get the other's value.
 */
bool bench_hand_between(const struct bench *bench, const struct bench_point *a,
                        const struct bench_point *b);

/* Whether the point's reading is a figure of the shape that a scope's record has. */
bool bench_of_shape(const struct bench *bench, const struct bench_point *point);

/* The unit of the signal at the point's tip: that of its reading, but for figures of shape. */
const char *bench_signal_unit(const struct bench *bench, const struct bench_point *point);

/* How long a scope should look at this point, seconds. */
double bench_record(const struct bench_point *point);

/* Makes one of the point's ways, by index, the one it is measured in. */
void bench_use_way(struct bench_point *point, size_t index);

/*
 * Takes away what a point is judged by: its limits, and the reading that they refer to. For a copy
 * that is measured for another purpose.
 */
void bench_drop_limits(struct bench_point *point);

/*
 * The input card that a point is measured through, "meter inputs 9 to 16", in room for
 * BENCH_CARD characters. False, writing nothing, when none is known.
 */
enum { BENCH_CARD = BENCH_NAME + 40 };
bool bench_card(const struct bench *bench, const struct bench_point *point, char text[BENCH_CARD]);

/* The instrument of that name, or NULL. */
const struct bench_instrument *bench_instrument(const struct bench *bench, const char *name);

#endif
