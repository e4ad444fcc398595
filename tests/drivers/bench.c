/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "bench.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>

struct bench bench_start(const char *text, const struct player_row *rows)
{
    struct bench bench = { .request = { .input = 1, .duration = 1e-3 } };
    struct problems problems = { 0 };
    struct link_spec spec;

    bench.profile = profile_read(text, strlen(text), "test.cfg", &problems);
    for (size_t i = 0; i < problems.count; i++)
        print_error("%s\n", problems.lines[i]);
    assert_non_null(bench.profile);
    problems_free(&problems);
    bench.player = player_start(rows);
    assert_non_null(bench.player);
    assert_true(link_spec_parse(player_link(bench.player), NULL, &spec, NULL));
    bench.instrument = instrument_new(bench.profile, &spec, "bench");
    assert_non_null(bench.instrument);
    return bench;
}

void bench_end(struct bench *bench)
{
    instrument_free(bench->instrument);
    assert_string_equal(player_finish(bench->player, NULL), "");
    profile_free(bench->profile);
}

bool bench_acquire(struct bench *bench)
{
    failure_clear(&bench->failure);
    return instrument_acquire(bench->instrument, &bench->request, deadline_in(BENCH_PLENTY_MS),
                              &bench->acquisition, NULL, &bench->failure);
}

/* An acquisition that goes well, and the commands it took. */
void bench_acquired(struct bench *bench, const char *commands)
{
    char text[512];

    if (!bench_acquire(bench))
        fail_msg("%s", failure_text(&bench->failure, text, sizeof text));
    assert_string_equal(player_commands(bench->player), commands);
}

void bench_failed(struct bench *bench, enum failure_code code)
{
    assert_false(bench_acquire(bench));
    assert_string_equal(failure_reason(bench->failure.code), failure_reason(code));
    assert_string_not_equal(bench->failure.what, "");
    player_commands(bench->player);
}

struct dialogue *bench_dialogue(struct bench *bench)
{
    return instrument_dialogue(bench->instrument);
}

void bench_check_wrong(struct bench *bench, const struct wrong *wrong, size_t count,
                       const char *again)
{
    bench_acquired(bench, again);
    for (size_t i = 0; i < count; i++) {
        unsigned epoch = dialogue_epoch(bench_dialogue(bench));

        dialogue_suspect(bench_dialogue(bench));
        print_message("  %s answered with %s\n", wrong[i].query, wrong[i].reply);
        player_answer_once(bench->player, wrong[i].query, wrong[i].reply);
        bench_failed(bench, wrong[i].code);
        bench_acquired(bench, again);
        assert_int_equal(dialogue_epoch(bench_dialogue(bench)), epoch + 2);
    }
}
