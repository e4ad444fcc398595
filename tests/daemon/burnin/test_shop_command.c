/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The shop's command: all are told, none gets more rights, and nothing outlives it. */
#include "daemon/burnin/shop_command.h"

#include <event2/event.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

enum { ALL = 100, PATIENCE_S = 120 };

struct shop {
    struct event_base *base;
    struct shop_commands *commands;
    char path[40]; /* what the commands write to */
};

static int setup(void **state)
{
    struct shop *shop = calloc(1, sizeof *shop);
    assert_non_null(shop);
    snprintf(shop->path, sizeof shop->path, "/tmp/test_shop_command.XXXXXX");
    int file = mkstemp(shop->path);
    assert_true(file >= 0);
    fchmod(file, 0666);
    close(file);
    shop->base = event_base_new();
    shop->commands = shop_commands_new(shop->base);
    alarm(PATIENCE_S);
    *state = shop;
    return 0;
}

static int teardown(void **state)
{
    struct shop *shop = *state;
    alarm(0);
    shop_commands_free(shop->commands);
    event_base_free(shop->base);
    unlink(shop->path);
    free(shop);
    return 0;
}

static void tell(struct shop *shop, const char *script, const char *what)
{
    char shell[] = "/bin/sh", option[] = "-c", text[300];
    struct failure failure = { 0 };
    snprintf(text, sizeof text, "exec >>%s; %s", shop->path, script);
    char *words[] = { shell, option, text, NULL };
    const struct shop_order order = { .kind = "trip command",
                                      .words = words,
                                      .user = "nobody",
                                      .limit_s = 60,
                                      .input = what,
                                      .length = strlen(what) };
    assert_true(shop_command_start(shop->commands, &order, &failure));
}

/* All that the commands have written, once none is left; to be freed. */
static char *written(const struct shop *shop)
{
    size_t length = 0;
    char *text = NULL;
    event_base_dispatch(shop->base);
    FILE *file = fopen(shop->path, "r");
    assert_true(getdelim(&text, &length, '\0', file) >= 0);
    fclose(file);
    return text;
}

static void all_are_told(void **state)
{
    struct shop *shop = *state;
    char line[32];
    for (int i = 0; i < ALL; i++) {
        snprintf(line, sizeof line, "trip %d.\n", i);
        tell(shop, "cat", line);
    }
    char *text = written(shop);
    for (int i = 0; i < ALL; i++) {
        snprintf(line, sizeof line, "trip %d.\n", i);
        assert_non_null(strstr(text, line));
    }
    free(text);
}

/* proc(5): NoNewPrivs. */
static void it_can_become_nobody_else(void **state)
{
    tell(*state, "grep NoNewPrivs /proc/self/status", "");
    char *text = written(*state);
    assert_string_equal(text, "NoNewPrivs:\t1\n");
    free(text);
}

/* Whether a process is there still, but for its remains (proc(5), state Z). */
static bool lives(long pid)
{
    char path[32], line[200] = "";
    snprintf(path, sizeof path, "/proc/%ld/stat", pid);
    FILE *file = fopen(path, "r");
    if (file == NULL)
        return false;
    bool there = fgets(line, sizeof line, file) != NULL && strstr(line, ") Z") == NULL;
    fclose(file);
    return there;
}

static void nothing_outlives_it(void **state)
{
    tell(*state,
         "setsid sh -c 'echo $$; exec >/dev/null 2>&1; exec tail -f /dev/null' & read x <&0; "
         "until [ -s /proc/self/fd/1 ]; do :; done",
         "trip\n");
    char *text = written(*state);
    long pid = strtol(text, NULL, 10);
    assert_true(pid > 1);
    assert_false(lives(pid));
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(all_are_told, setup, teardown),
        cmocka_unit_test_setup_teardown(it_can_become_nobody_else, setup, teardown),
        cmocka_unit_test_setup_teardown(nothing_outlives_it, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
