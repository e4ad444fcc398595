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

static const struct rpc_parameter none[] = { { .name = NULL } };

static const struct rpc_parameter measure_parameters[] = {
    [MEASURE_POINT] = { "point", RPC_TEXT, true, 0, 0, 0, "name of the test point" },
    [MEASURE_REPEAT] = { "repeat", RPC_INTEGER, false, 1, 1, 10000, "readings to average" },
    [MEASURE_DEADLINE] = DEADLINE,
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
    [AGREE_POINT] = { "point", RPC_TEXT, false, 0, 0, 0, "name of a point with candidates" },
    [AGREE_INSTRUMENTS] = { "instruments", RPC_TEXTS, false, 0, 0, 0,
                            "two instruments among its candidates; the two best when not given" },
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

static const struct rpc_parameter follow_parameters[] = {
    [FOLLOW_POINTS] = { "points", RPC_TEXTS, true, 0, 0, 0, "names of the test points" },
    [FOLLOW_EVERY] = { "every_ms", RPC_NUMBER, false, 1000, 0, 86400000,
                       "period; 0: as fast as it goes" },
    [FOLLOW_READINGS] = { "readings", RPC_INTEGER, false, 0, 1, 1e9,
                          "outcomes of each point after which it ends; no end when not given" },
    [FOLLOW_DEADLINE] = DEADLINE,
    { .name = NULL },
};

static const struct rpc_parameter unfollow_parameters[] = {
    [UNFOLLOW_SUBSCRIPTION] = { "subscription", RPC_INTEGER, true, 0, 1, 9e15,
                                "the number that follow answered" },
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
    { .name = NULL },
};

static const struct rpc_parameter burnin_start_parameters[] = {
    [BURNIN_PLAN] = { "plan", RPC_TEXT, true, 0, 0, 0, "name of the plan in the settings" },
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

static const struct rpc_parameter hold_parameters[] = {
    [HOLD_INSTRUMENT] = { "instrument", RPC_TEXT, true, 0, 0, 0, "name of the instrument" },
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
    { "points", none, call_points, "the test points of the bench" },
    { "instruments", none, call_instruments, "the instruments and how they are doing" },
    { "measure", measure_parameters, call_measure, "one settled reading of a point" },
    { "explain", explain_parameters, call_explain,
      "what every range would be worth at a point, and which is chosen" },
    { "capture", capture_parameters, call_capture, "a waveform with scale and parameters" },
    { "unload", unload_parameters, call_unload,
      "what a place shows without a load, from two points that load it differently" },
    { "agree", agree_parameters, call_agree, "whether two instruments agree about a place" },
    { "compensate", compensate_parameters, call_compensate,
      "whether a probe is compensated, from a square wave" },
    { "follow", follow_parameters, call_follow, "readings again and again, as notifications" },
    { "unfollow", unfollow_parameters, call_unfollow, "ends what follow or burnin.follow began" },
    { "readings", readings_parameters, call_readings, "readings out of the store, newest last" },
    { "verify", none, call_verify, "whether the store is as it was written" },
    { "burnin.start", burnin_start_parameters, call_burnin_start, "begins a burn-in" },
    { "burnin.stop", burnin_stop_parameters, call_burnin_stop, "ends a burn-in before its time" },
    { "burnin.status", burnin_status_parameters, call_burnin_status,
      "the plans, and how the runs are doing" },
    { "burnin.follow", burnin_follow_parameters, call_burnin_follow,
      "what happens in burn-ins, as notifications" },
    { "burnin.runs", none, call_burnin_runs, "the runs on record" },
    { "burnin.events", burnin_events_parameters, call_burnin_events,
      "what happened in a run, oldest first" },
    { "burnin.study", burnin_study_parameters, call_burnin_study,
      "what a point did over a run, and where it is going" },
    { "hold", hold_parameters, call_hold, "keeps an instrument for this client" },
    { "release", hold_parameters, call_release, "ends hold" },
    { "health", none, call_health, "version, uptime, queues, counters" },
    { "talk", talk_parameters, call_talk, "raw text to an instrument, where that is allowed" },
    { .name = NULL },
};

const struct rpc_method *methods_table(void)
{
    return table;
}
