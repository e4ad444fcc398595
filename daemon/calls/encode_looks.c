/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "encode_looks.h"

static void encode_counters(struct text *text, const struct dialogue_counters *counters)
{
    text_member_open(text, "counters", '{');
    text_member_integer(text, "queries", (int64_t)counters->queries);
    text_member_integer(text, "timeouts", (int64_t)counters->timeouts);
    text_member_integer(text, "unexpected", (int64_t)counters->unexpected);
    text_member_integer(text, "resynchronised", (int64_t)counters->resynchronised);
    text_member_integer(text, "opened", (int64_t)counters->opened);
    text_close(text, '}');
}

static void encode_view(struct text *text, const struct station_view *view)
{
    text_member_string(text, "state", view->state);
    text_member_string(text, "identity", view->identity);
    if (view->failure != NULL) {
        text_key(text, "failure");
        encode_failure_data(text, view->failure, NULL, NULL, NULL);
    }
    text_member_string(text, "note", view->note);
    text_member_number(text, "last_heard_s", view->heard_s);
    text_member_integer(text, "queue", (int64_t)view->waiting);
    text_member_bool(text, "held", view->held);
    text_member_bool(text, "held_alone", view->alone);
    text_member_string(text, "held_by", view->held_by);
    encode_counters(text, &view->counters);
}

void encode_instrument(struct text *text, const struct instrument_look *look)
{
    const struct bench_instrument *instrument = look->instrument;
    text_open(text, '{');
    text_member_string(text, "name", instrument->name);
    text_member_string(text, "kind",
                       instrument->profile->kind == PROFILE_SCOPE ? "scope" : "meter");
    text_member_string(text, "profile", instrument->profile->name);
    text_member_string(text, "link", instrument->link.text);
    text_member_string(text, "calibration_due", instrument->calibration_due);
    if (look->attended)
        encode_view(text, &look->view);
    text_close(text, '}');
}

static void encode_removal(struct text *text, const struct store_removal *removal)
{
    if (removal->wait == STORE_WAITS_NOT)
        return;
    text_member_open(text, "waiting", '{');
    text_member_integer(text, "rows", (int64_t)removal->rows);
    encode_wall_time(text, "before", removal->before);
    text_member_string(text, "for", removal->wait == STORE_WAITS_CLOCK ? "clock" : "administrator");
    text_close(text, '}');
}

static void encode_store(struct text *text, const struct store_view *view)
{
    text_member_open(text, "store", '{');
    text_member_string(text, "state", store_state_name(view->state));
    if (view->failure.code != FAILURE_NONE) {
        text_key(text, "failure");
        encode_failure_data(text, &view->failure, NULL, NULL, NULL);
    }
    text_member_integer(text, "held", (int64_t)view->held);
    text_member_integer(text, "hold", (int64_t)view->hold);
    text_member_integer(text, "written", (int64_t)view->written);
    text_member_integer(text, "refused", (int64_t)view->refused);
    text_member_integer(text, "commits", (int64_t)view->commits);
    text_member_integer(text, "set_aside", (int64_t)view->set_aside);
    text_member_integer(text, "removed", (int64_t)view->removed);
    if (view->missing > 0)
        text_member_integer(text, "missing", (int64_t)view->missing);
    encode_removal(text, &view->removal);
    text_close(text, '}');
}

/* Begins a member that is called as an instrument is, whatever characters that takes. */
static void name_key(struct text *text, const struct instrument_look *look)
{
    text_string(text, look->instrument->name);
    text_raw(text, ":", 1);
}

/* The states of those that are attended, and how many jobs wait for each. */
static void encode_states(struct text *text, const struct instrument_look *looks, size_t count)
{
    text_member_open(text, "states", '{');
    for (size_t i = 0; i < count && looks[i].attended; i++) {
        name_key(text, &looks[i]);
        text_string(text, looks[i].view.state);
    }
    text_close(text, '}');
    text_member_open(text, "queues", '{');
    for (size_t i = 0; i < count && looks[i].attended; i++) {
        name_key(text, &looks[i]);
        text_integer(text, (int64_t)looks[i].view.waiting);
    }
    text_close(text, '}');
}

static void encode_stretches(struct text *text, const struct loop_stretches *stretches,
                             uint64_t waited)
{
    text_member_open(text, "loop", '{');
    text_member_integer(text, "stretches", (int64_t)stretches->count);
    text_member_integer(text, "long", (int64_t)stretches->long_ones);
    text_member_number(text, "longest_ms", duration_seconds(stretches->longest) * 1e3);
    text_member_number(text, "worked_s", duration_seconds(stretches->all));
    text_member_integer(text, "waited_turns", (int64_t)waited);
    text_close(text, '}');
}

void encode_health(struct text *text, const struct health_look *look,
                   const struct instrument_look *instruments)
{
    const struct loop_counters *counters = &look->counters;
    text_open(text, '{');
    text_member_string(text, "version", GRADUS_VERSION);
    text_member_number(text, "uptime_s", duration_seconds(look->up));
    encode_wall_time(text, "started", look->started);
    text_member_string(text, "settings", look->bench->path);
    text_member_string(text, "settings_digest", look->bench->digest);
    text_member_bool(text, "stopping", look->stopping);
    text_member_integer(text, "clients", (int64_t)look->clients);
    text_member_integer(text, "instruments", (int64_t)look->bench->instrument_count);
    text_member_integer(text, "points", (int64_t)look->bench->point_count);
    text_member_integer(text, "requests", (int64_t)counters->requests);
    text_member_integer(text, "readings", (int64_t)counters->readings);
    text_member_integer(text, "failures", (int64_t)counters->failures);
    encode_stretches(text, &look->stretches, look->waited);
    encode_states(text, instruments, look->bench->instrument_count);
    if (look->keeps)
        encode_store(text, &look->store);
    text_member_integer(text, "dropped_notifications", (int64_t)counters->dropped_notifications);
    text_close(text, '}');
}
