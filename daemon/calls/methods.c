/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "methods.h"

#include "calls.h"
#include "daemon/burnin/point_study.h"
#include "daemon/store/store_query.h"

/* Longest time a client may give, and what it has when it gives none, milliseconds. */
#define DEADLINE_MOST    3600000.0
#define DEADLINE_DEFAULT 10000.0

#define DEADLINE                                                                                   \
    {                                                                                              \
        "deadline_ms", RPC_NUMBER, false, DEADLINE_DEFAULT, 1, DEADLINE_MOST,                      \
            "when to be answered at the latest, waiting included"                                  \
    }

#define JOB                                                                                        \
    {                                                                                              \
        "job", RPC_OBJECT, false, 0, 0, 0,                                                         \
            "the customer's job that the reading belongs to: name, and as far as they are known "  \
            "unit, serial, customer, measured_by, stage (before, after), remarks, fields{}"        \
    }

static const struct rpc_parameter none[] = { { .name = NULL } };

static const struct rpc_parameter authenticate_parameters[] = {
    [AUTHENTICATE_TOKEN] = { "token", RPC_TEXT, true, 0, 0, 0, "what gradus token wrote out" },
    { .name = NULL },
};

static const struct rpc_parameter measure_parameters[] = {
    [MEASURE_POINT] = { "point", RPC_TEXT, true, 0, 0, 0, "name of the test point" },
    [MEASURE_REPEAT] = { "repeat", RPC_INTEGER, false, 1, 1, 10000, "readings to average" },
    [MEASURE_DEADLINE] = DEADLINE,
    [MEASURE_JOB] = JOB,
    { .name = NULL },
};

static const struct rpc_parameter read_parameters[] = {
    [READ_INSTRUMENT] = { "instrument", RPC_TEXT, true, 0, 0, 0, "name of the instrument" },
    [READ_INPUT] = { "input", RPC_INTEGER, true, 1, 1, PROFILE_INPUTS, "input of it" },
    [READ_QUANTITY] = { "quantity", RPC_TEXT, true, 0, 0, 0, "what is measured, at the tip" },
    [READ_PROBE] = { "probe", RPC_TEXT, false, 0, 0, 0,
                     "what is between; \"direct\" when not given" },
    [READ_MORE] = { "more", RPC_OBJECT, false, 0, 0, 0,
                    "other keys of a point, as in the settings: expected, limits{low high ...}, "
                    "frequency ..." },
    [READ_REPEAT] = { "repeat", RPC_INTEGER, false, 1, 1, 10000, "readings to average" },
    [READ_DEADLINE] = DEADLINE,
    [READ_JOB] = JOB,
    { .name = NULL },
};

static const struct rpc_parameter explain_parameters[] = {
    [EXPLAIN_POINT] = { "point", RPC_TEXT, true, 0, 0, 0, "name of the test point" },
    { .name = NULL },
};

static const struct rpc_parameter capture_parameters[] = {
    [CAPTURE_POINT] = { "point", RPC_TEXT, true, 0, 0, 0, "name of the test point" },
    [CAPTURE_SAMPLES] = { "samples", RPC_INTEGER, false, 1000, 1, 2000000,
                          "most samples to hand out" },
    [CAPTURE_DURATION] = { "duration", RPC_NUMBER, false, 0, 1e-9, 1000,
                           "seconds to look; the point's own when not given" },
    [CAPTURE_DEADLINE] = DEADLINE,
    [CAPTURE_JOB] = JOB,
    [CAPTURE_WHEN] = { "when", RPC_TEXT, false, 0, 0, 0,
                       "waits for the signal at the tip, as in \"rises through 2.5 V\", \"falls "
                       "through 300 mV\"; begins at once when not given" },
    [CAPTURE_BEFORE] = { "before", RPC_NUMBER, false, 0, 0, 1000,
                         "with when: seconds of the record before it; a fifth of it when not "
                         "given" },
    [CAPTURE_AFTER] = { "after", RPC_NUMBER, false, 0, 1e-9, 1000,
                        "with when: seconds behind it at least" },
    [CAPTURE_WAIT] = { "wait_s", RPC_NUMBER, false, 60, 1e-3, 3600,
                       "with when: how long to wait for it; comes to deadline_ms" },
    { .name = NULL },
};

static const struct rpc_parameter unload_parameters[] = {
    [UNLOAD_FIRST] = { "first", RPC_TEXT, true, 0, 0, 0, "name of the point with one load" },
    [UNLOAD_SECOND] = { "second", RPC_TEXT, true, 0, 0, 0,
                        "name of the point that is the same place with another load" },
    [UNLOAD_DEADLINE] = DEADLINE,
    { .name = NULL },
};

static const struct rpc_parameter agree_parameters[] = {
    [AGREE_POINT] = { "point", RPC_TEXT, false, 0, 0, 0, "name of a point with several ways" },
    [AGREE_INSTRUMENTS] = { "instruments", RPC_TEXTS, false, 0, 0, 0,
                            "two instruments among its ways; the two best when not given" },
    [AGREE_FIRST] = { "first", RPC_TEXT, false, 0, 0, 0, "instead: name of a point" },
    [AGREE_SECOND] = { "second", RPC_TEXT, false, 0, 0, 0,
                       "and of one that is the same place with another instrument" },
    [AGREE_DEADLINE] = DEADLINE,
    { .name = NULL },
};

static const struct rpc_parameter compensate_parameters[] = {
    [COMPENSATE_POINT] = { "point", RPC_TEXT, true, 0, 0, 0,
                           "name of a point on a scope, with a square wave at it" },
    [COMPENSATE_FREQUENCY] = { "frequency", RPC_NUMBER, false, 0, 0, 1e12,
                               "hertz at which the amplitude error is wanted" },
    [COMPENSATE_DEADLINE] = DEADLINE,
    { .name = NULL },
};

static const struct rpc_parameter zero_parameters[] = {
    [ZERO_POINT] = { "point", RPC_TEXT, true, 0, 0, 0,
                     "name of a point that is a resistance on two wires, its leads shorted" },
    [ZERO_DEADLINE] = DEADLINE,
    { .name = NULL },
};

static const struct rpc_parameter follow_parameters[] = {
    [FOLLOW_POINTS] = { "points", RPC_TEXTS, false, 0, 0, 0, "names of the test points" },
    [FOLLOW_EVERY] = { "every_ms", RPC_NUMBER, false, 1000, 0, 86400000,
                       "period; 0: as fast as it goes" },
    [FOLLOW_READINGS] = { "readings", RPC_INTEGER, false, 0, 1, 1e9,
                          "outcomes of each point after which it ends; no end when not given" },
    [FOLLOW_DEADLINE] = DEADLINE,
    [FOLLOW_READ] = { "read", RPC_OBJECT, false, 0, 0, 0,
                      "instead of points: the keys of one that is not in the settings, "
                      "instrument, input, quantity, probe and others as for read" },
    { .name = NULL },
};

static const struct rpc_parameter unfollow_parameters[] = {
    [UNFOLLOW_SUBSCRIPTION] = { "subscription", RPC_INTEGER, true, 0, 1, 9e15,
                                "the number that follow answered" },
    { .name = NULL },
};

#define WALK_NUMBER                                                                                \
    {                                                                                              \
        "subscription", RPC_INTEGER, true, 0, 1, 9e15, "the number that walk.start answered"       \
    }

static const struct rpc_parameter learn_parameters[] = {
    [LEARN_SHEET] = { "sheet", RPC_TEXT, true, 0, 0, 0, "name of the sheet in the settings" },
    [LEARN_GOOD] = { "good", RPC_TEXTS, true, 0, 0, 0,
                     "serial numbers of the good units, 1000 at most" },
    [LEARN_COMPARE] = { "compare", RPC_TEXT, false, 0, 0, 0,
                        "serial number of a unit to be shown beside them" },
    [LEARN_COVERAGE] = { "coverage", RPC_NUMBER, false, 0.95, 0.5, 0.9999,
                         "share of all such units that limits are to hold" },
    [LEARN_CONFIDENCE] = { "confidence", RPC_NUMBER, false, 0.95, 0.5, 0.9999,
                           "probability that they do" },
    { .name = NULL },
};

static const struct rpc_parameter walk_start_parameters[] = {
    [WALK_SHEET] = { "sheet", RPC_TEXT, true, 0, 0, 0, "name of the sheet in the settings" },
    [WALK_ANEW] = { "anew", RPC_BOOL, false, 0, 0, 0,
                    "from its beginning, where a walk was left; goes on there when not given" },
    [WALK_JOB] = JOB,
    [WALK_LED] = { "led", RPC_BOOL, false, 0, 0, 0,
                   "the client says with walk.go whose turn it is, before the first place and "
                   "after "
                   "each; over once it is left" },
    { .name = NULL },
};

static const struct rpc_parameter walk_key_parameters[] = {
    [WALK_SUBSCRIPTION] = WALK_NUMBER,
    [WALK_KEY] = { "key", RPC_TEXT, true, 0, 0, 0,
                   "on (the probe is on the place, whatever it looks like; in the air while the "
                   "walk wants it lifted), back, again, skip" },
    { .name = NULL },
};

static const struct rpc_parameter walk_go_parameters[] = {
    [WALK_SUBSCRIPTION] = WALK_NUMBER,
    [WALK_POINT] = { "point", RPC_TEXT, true, 0, 0, 0, "a point of the sheet" },
    { .name = NULL },
};

static const struct rpc_parameter walk_note_parameters[] = {
    [WALK_SUBSCRIPTION] = WALK_NUMBER,
    [WALK_NOTE] = { "note", RPC_TEXT, true, 0, 0, 0, "what is to be remembered of the place" },
    { .name = NULL },
};

static const struct rpc_parameter walk_stop_parameters[] = {
    [WALK_SUBSCRIPTION] = WALK_NUMBER,
    [WALK_FOR_GOOD] = { "for_good", RPC_BOOL, false, 0, 0, 0,
                        "ends the walk; when not given it is left, and goes on later" },
    { .name = NULL },
};

static const struct rpc_parameter readings_parameters[] = {
    [READINGS_POINT] = { "point", RPC_TEXT, false, 0, 0, 0, "of this point only" },
    [READINGS_SINCE] = { "since", RPC_TEXT, false, 0, 0, 0, "not before this moment, ISO 8601" },
    [READINGS_UNTIL] = { "until", RPC_TEXT, false, 0, 0, 0, "not after this moment, ISO 8601" },
    [READINGS_LIMIT] = { "limit", RPC_INTEGER, false, 100, 1, QUERY_MOST, "most readings" },
    [READINGS_RUN] = { "run", RPC_TEXT, false, 0, 0, 0, "of this run only" },
    [READINGS_AFTER] = { "after", RPC_INTEGER, false, 0, 0, 9e15,
                         "the oldest above this id; the newest of all when not given" },
    [READINGS_BEFORE] = { "before", RPC_INTEGER, false, 0, 1, 9e15, "ids below this only" },
    [READINGS_JOB] = { "job", RPC_TEXT, false, 0, 0, 0, "of the job of this name only" },
    [READINGS_SERIAL] = { "serial", RPC_TEXT, false, 0, 0, 0,
                          "of the unit with this serial number only, as its job says it" },
    { .name = NULL },
};

static const struct rpc_parameter prune_parameters[] = {
    [PRUNE_BEFORE] = { "before", RPC_TEXT, true, 0, 0, 0,
                       "readings taken before this moment may go, ISO 8601; at most what health "
                       "says waits" },
    { .name = NULL },
};

static const struct rpc_parameter burnin_start_parameters[] = {
    [BURNIN_PLAN] = { "plan", RPC_TEXT, true, 0, 0, 0, "name of the plan in the settings" },
    [BURNIN_JOB] = { "job", RPC_OBJECT, false, 0, 0, 0,
                     "the customer's job that the run is for, as for measure; serials[] of the "
                     "units in it in the order of their numbers" },
    { .name = NULL },
};

static const struct rpc_parameter burnin_stop_parameters[] = {
    [BURNIN_RUN] = { "run", RPC_TEXT, true, 0, 0, 0, "name of the run, or of its plan" },
    { .name = NULL },
};

static const struct rpc_parameter burnin_status_parameters[] = {
    [BURNIN_RUN] = { "run", RPC_TEXT, false, 0, 0, 0,
                     "name of the run, or of its plan; all when not given" },
    { .name = NULL },
};

static const struct rpc_parameter burnin_follow_parameters[] = {
    [BURNIN_RUN] = { "run", RPC_TEXT, false, 0, 0, 0,
                     "name of the run, or of a plan for each of its runs; all when not given" },
    { .name = NULL },
};

static const struct rpc_parameter burnin_events_parameters[] = {
    [EVENTS_RUN] = { "run", RPC_TEXT, true, 0, 0, 0,
                     "name of the run, or of its plan for the newest" },
    [EVENTS_AFTER] = { "after", RPC_INTEGER, false, 0, 0, 9e15, "those above this id" },
    [EVENTS_LIMIT] = { "limit", RPC_INTEGER, false, QUERY_MOST, 1, QUERY_MOST, "most events" },
    { .name = NULL },
};

static const struct rpc_parameter burnin_study_parameters[] = {
    [STUDY_RUN] = { "run", RPC_TEXT, true, 0, 0, 0,
                    "name of the run, or of its plan for the newest" },
    [STUDY_POINT] = { "point", RPC_TEXT, true, 0, 0, 0, "name of the test point" },
    [STUDY_WIDTH] = { "buckets", RPC_INTEGER, false, 200, 1, STUDY_BUCKETS,
                      "most stretches of the history" },
    { .name = NULL },
};

static const struct rpc_parameter diagnose_parameters[] = {
    [DIAGNOSE_SHEET] = { "sheet", RPC_TEXT, true, 0, 0, 0, "name of a sheet with blocks" },
    [DIAGNOSE_OUTCOMES] = { "outcomes", RPC_OBJECT, false, 0, 0, 0,
                            "what was measured so far: names of points, each good, bad or unsure" },
    { .name = NULL },
};

static const struct rpc_parameter release_parameters[] = {
    [HOLD_INSTRUMENT] = { "instrument", RPC_TEXT, true, 0, 0, 0, "name of the instrument" },
    { .name = NULL },
};

static const struct rpc_parameter hold_parameters[] = {
    [HOLD_INSTRUMENT] = { "instrument", RPC_TEXT, true, 0, 0, 0, "name of the instrument" },
    [HOLD_ALONE] = { "alone", RPC_BOOL, false, 0, 0, 0,
                     "true: burn-ins are kept off too, and miss their rounds meanwhile; else "
                     "they go on" },
    { .name = NULL },
};

static const struct rpc_parameter talk_parameters[] = {
    [TALK_INSTRUMENT] = { "instrument", RPC_TEXT, true, 0, 0, 0, "name of the instrument" },
    [TALK_COMMAND] = { "command", RPC_TEXT, true, 0, 0, 0, "what to send, without terminator" },
    [TALK_REPLY] = { "reply", RPC_BOOL, false, 0, 0, 0,
                     "whether a reply is due; when not given, whether there is a ? in it" },
    [TALK_DEADLINE] = DEADLINE,
    { .name = NULL },
};

static const struct rpc_method table[] = {
    { "authenticate", ROLE_NONE, authenticate_parameters, call_authenticate,
      "says who one is, by a token; over TCP the first call, unless a certificate has said it",
      "name and role" },
    { "points", ROLE_LOOK, none, call_points, "the test points of the bench",
      "what is configured: name, quantity, unit, instrument, input, probe, expected, "
      "limits, reference{point id value uncertainty verdict time age_s} (a stored one; "
      "no id: none was found), place, by_hand (a lead is brought to it by hand: another "
      "point of this input can be read after it only once somebody has moved that, but where "
      "place and probe are the same), caution" },
    { "instruments", ROLE_LOOK, none, call_instruments, "the instruments and how they are doing",
      "name, kind, profile, link, state (new, idle, busy, down), identity, failure, "
      "note (what could be better about the link), calibration_due, last_heard_s, "
      "queue, held, held_alone, held_by, counters" },
    { "measure", ROLE_MEASURE, measure_parameters, call_measure, "one settled reading of a point",
      "a reading" },
    { "read", ROLE_MEASURE, read_parameters, call_read,
      "one settled reading of what hangs on an input, without a point in the settings",
      "a reading; its point is called INSTRUMENT/INPUT/QUANTITY, which no point of the "
      "settings can be" },
    { "explain", ROLE_LOOK, explain_parameters, call_explain,
      "what every range would be worth at a point, and which is chosen",
      "every candidate setup with predicted uncertainty, the chosen one, and why; "
      "resonance as in a reading; ways: the instruments weighed, where there are "
      "several" },
    { "capture", ROLE_MEASURE, capture_parameters, call_capture,
      "a waveform with scale and parameters",
      "a waveform at the tip with scale and parameters; of one that was waited for also "
      "trigger{way "
      "level at (seconds from the first sample) waited_s watched_s}" },
    { "unload", ROLE_MEASURE, unload_parameters, call_unload,
      "what a place shows without a load, from two points that load it differently",
      "value and source resistance of a place without a load, from two points that are "
      "that place with different loads" },
    { "agree", ROLE_MEASURE, agree_parameters, call_agree,
      "whether two instruments agree about a place",
      "whether two instruments agree about a place: en, agree, correlation, "
      "difference{value unit uncertainty standard_uncertainty coverage_factor}, "
      "readings[2]" },
    { "compensate", ROLE_MEASURE, compensate_parameters, call_compensate,
      "whether a probe is compensated, from a square wave",
      "whether the probe of a point on a square wave is compensated: state, ratio, time "
      "constant, amplitude error" },
    { "zero", ROLE_MEASURE, zero_parameters, call_zero,
      "the resistance of shorted leads, taken off what is read through them later",
      "the resistance of a point's leads, shorted at their tips, which is taken off later "
      "readings through that probe at that input: point, probe, instrument, input, value, "
      "unit, uncertainty, standard_uncertainty, coverage_factor, holds_s" },
    { "follow", ROLE_MEASURE, follow_parameters, call_follow,
      "readings again and again, as notifications",
      "a subscription, and warnings[] for points that are read more slowly than their "
      "signal changes; then notifications reading, at the end finished" },
    { "unfollow", ROLE_LOOK, unfollow_parameters, call_unfollow,
      "ends what follow or burnin.follow began", "true" },
    { "diagnose", ROLE_LOOK, diagnose_parameters, call_diagnose,
      "which point of a board that does not work tells most, and which block is to blame",
      "state (go on, found, narrowed down, nothing found, contradiction), next or contradicted "
      "{point block place picture caution probability_bad}, suspects [{block probability}], the "
      "likeliest first" },
    { "learn", ROLE_LOOK, learn_parameters, call_learn,
      "limits from the readings of units that the caller says are good, and a unit beside them",
      "sheet, coverage, confidence, points [{point quantity unit limits (as they are now) units "
      "(good ones with a reading) unusable (readings altered, or of another quantity) kind "
      "(normal; "
      "values: without a distribution; too few; not normal; not of the value) mean uncertainty "
      "(the "
      "largest of the readings) deviation normality (Anderson-Darling, modified) factor furthest "
      "(serial) needed (units in all, where there are too few) low high (the interval, moved "
      "outwards by the uncertainty), compared{serial value uncertainty away spreads uncertainties "
      "inside}}]; the newest reading of each unit counts, not one before a repair" },
    { "walk.start", ROLE_MEASURE, walk_start_parameters, call_walk_start,
      "walks a sheet with a probe held by hand, as notifications",
      "a subscription, walk (its name, under which the readings are kept as their run), sheet, "
      "title, resumed, job (as far as one was given), place (whose turn it is, from 0) and "
      "places[{point place picture caution "
      "quantity unit expected limits instrument input state value verdict}]; state is open, read, "
      "no reading or skipped. Then notifications walk with what: probe (probe: lift, in the air, "
      "in the air, hum, touching, unsure, settled, still there, slipped; value), place (whose turn "
      "it is), outcome (place, state, and reading or error), elsewhere (a failing reading that is "
      "not kept yet, as it is what the place like should show), away (error: the instrument does "
      "not answer), finished (why)" },
    { "walk.key", ROLE_MEASURE, walk_key_parameters, call_walk_key, "a key pressed in a walk",
      "true" },
    { "walk.go", ROLE_MEASURE, walk_go_parameters, call_walk_go,
      "it is the turn of that place now; whatever the probe is on has to be lifted off first",
      "true" },
    { "walk.note", ROLE_MEASURE, walk_note_parameters, call_walk_note,
      "a note on a place of a walk", "true" },
    { "walk.stop", ROLE_MEASURE, walk_stop_parameters, call_walk_stop, "leaves a walk, or ends it",
      "true" },
    { "readings", ROLE_LOOK, readings_parameters, call_readings,
      "readings out of the store, newest last",
      "readings out of the store, newest last: readings [{id point time run round "
      "settings_digest version, reading or error}], and whether there is more. Newest "
      "of all, or with after (an id) the oldest above it" },
    { "jobs", ROLE_LOOK, none, call_jobs, "the jobs that there are readings of",
      "jobs, the one measured last last: [{job (what was said of it last) first last "
      "readings failed lost}], and shop{name address logo} where the settings say it" },
    { "verify", ROLE_LOOK, none, call_verify, "whether the store is as it was written",
      "intact, readings, events, removed (by policy), missing (lost), anchors (lines of them), "
      "last, digest; first_bad and what" },
    { "prune", ROLE_ADMINISTER, prune_parameters, call_prune,
      "lets readings go that are past their time, where that waits for somebody to say so",
      "true; who allowed what is put on record" },
    { "burnin.start", ROLE_RUN, burnin_start_parameters, call_burnin_start, "begins a burn-in",
      "the run's name and when it begins and ends, once that is durable" },
    { "burnin.stop", ROLE_RUN, burnin_stop_parameters, call_burnin_stop,
      "ends a burn-in before its time", "how it ended, once that is durable" },
    { "burnin.continue", ROLE_RUN, burnin_stop_parameters, call_burnin_continue,
      "lets a burn-in go on that is held",
      "when it went on, once that is durable; the phase's command that failed is run again, and "
      "holds the run anew if it fails" },
    { "burnin.status", ROLE_LOOK, burnin_status_parameters, call_burnin_status,
      "the plans, and how the runs are doing",
      "plans, and runs [{run plan state why phase warm_up round rounds next next_s "
      "left_s measuring late missed gaps clock_jumps, command{phase when state since} while a "
      "phase's command runs, or has failed and holds the run, points [{point unit_number state "
      "dead "
      "last first trend margin worst_margin worst_round readings failures lost cause "
      "trip_round trip_time}]}]. A margin is 1 in the middle, 0 at the limit, negative "
      "beyond" },
    { "burnin.follow", ROLE_LOOK, burnin_follow_parameters, call_burnin_follow,
      "what happens in burn-ins, as notifications",
      "a subscription; then notifications burnin {kind run plan time body}, as each "
      "event is put on record; at the end of that run finished" },
    { "burnin.runs", ROLE_LOOK, none, call_burnin_runs, "the runs on record",
      "the runs on record, newest last: run, plan, began, ended and why" },
    { "burnin.events", ROLE_LOOK, burnin_events_parameters, call_burnin_events,
      "what happened in a run, oldest first",
      "what happened in a run, oldest first: events [{id time kind body}], and whether "
      "there is more" },
    { "burnin.study", ROLE_LOOK, burnin_study_parameters, call_burnin_study,
      "what a point did over a run, and where it is going",
      "what a point did over a run: figures, whether it is dead, verdicts, failures by cause, "
      "reasons for no reading, control chart of a check standard, trip, limits and guard band of "
      "each phase, trend (with where it settles, and when it meets which limit), "
      "finding (steady, drift, settling, step, background, daily swing, excursions), "
      "history in stretches, instruments, probes, settings" },
    { "hold", ROLE_RUN, hold_parameters, call_hold,
      "keeps an instrument for this client, until it goes", "true" },
    { "release", ROLE_RUN, release_parameters, call_release, "ends hold", "true" },
    { "health", ROLE_LOOK, none, call_health, "version, uptime, queues, counters",
      "version, uptime_s, clients, counters, loop{stretches long longest_ms worked_s "
      "waited_turns}: how long its thread works at a stretch, long is over 20 ms, and how many "
      "turns "
      "this very call has waited; states, queues, store{state failure "
      "held hold written refused commits set_aside removed, missing (rows that were lost), "
      "waiting{rows before for} (what is past its time and not removed: for is \"clock\" or "
      "\"administrator\", see prune)}" },
    { "talk", ROLE_ADMINISTER, talk_parameters, call_talk,
      "raw text to an instrument, where that is allowed",
      "raw text; only with server.talk = true" },
    { "methods", ROLE_LOOK, none, call_methods, "what can be asked, with its parameters",
      "a list of {method role help result parameters[{name required default expected help}]}" },
    { .name = NULL },
};

const struct rpc_method *methods_table(void)
{
    return table;
}
