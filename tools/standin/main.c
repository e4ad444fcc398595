/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * standin: a bench of simulated meters and scopes behind real sockets,
 * terminals and USB devices, with a physical model behind them and faults on
 * command.
 */
#include "tools/standin/bench/bench.h"
#include "tools/standin/bench/benchfile.h"
#include "tools/standin/control/control.h"

#include <errno.h>
#include <getopt.h>
#include <libconfig.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { EXIT_USAGE = 2 };

struct options {
    const char *file;
    const char *control;
    const char *listen_dir;
    bool seeded;
    uint64_t seed;
    int ready_fd; /* -1: none */
};

static void usage(FILE *to)
{
    fputs("usage: standin FILE [--control PATH] [--seed N] [--listen-dir DIR] [--ready-fd N]\n"
          "  --control PATH    Unix socket of the control interface (JSON-RPC 2.0)\n"
          "  --seed N          instead of the seed in the bench file\n"
          "  --listen-dir DIR  every instrument listens at DIR/NAME.sock instead\n"
          "  --ready-fd N      writes \"ready\" to descriptor N when all sockets listen\n",
          to);
}

/* A whole number that is not negative, nothing behind it. */
static bool whole(const char *text, unsigned long long most, unsigned long long *number)
{
    char *end;

    errno = 0;
    *number = strtoull(text, &end, 10);
    return text[0] >= '0' && text[0] <= '9' && *end == '\0' && errno == 0 && *number <= most;
}

static bool read_options(int count, char **words, struct options *options)
{
    static const struct option known[] = {
        { "control", required_argument, NULL, 'c' },
        { "seed", required_argument, NULL, 's' },
        { "listen-dir", required_argument, NULL, 'l' },
        { "ready-fd", required_argument, NULL, 'r' },
        { "help", no_argument, NULL, 'h' },
        { NULL, 0, NULL, 0 },
    };
    unsigned long long number;
    int letter;

    *options = (struct options) { .ready_fd = -1 };
    while ((letter = getopt_long(count, words, "", known, NULL)) != -1) {
        if (letter == 'c') {
            options->control = optarg;
        } else if (letter == 'l') {
            options->listen_dir = optarg;
        } else if (letter == 's' && whole(optarg, UINT64_MAX, &number)) {
            options->seeded = true;
            options->seed = number;
        } else if (letter == 'r' && whole(optarg, 1 << 20, &number)) {
            options->ready_fd = (int)number;
        } else if (letter == 'h') {
            usage(stdout);
            exit(EXIT_SUCCESS);
        } else {
            return false;
        }
    }
    options->file = words[optind];
    return optind + 1 == count;
}

static void on_signal(evutil_socket_t number, short what, void *base)
{
    (void)number;
    (void)what;
    event_base_loopexit(base, NULL);
}

/* A loop whose timers keep to the microsecond. */
static struct event_base *new_loop(void)
{
    struct event_config *config = event_config_new();
    struct event_base *base = NULL;

    if (config != NULL && event_config_set_flag(config, EVENT_BASE_FLAG_PRECISE_TIMER |
                                                            EVENT_BASE_FLAG_NO_CACHE_TIME) == 0)
        base = event_base_new_with_config(config);
    if (config != NULL)
        event_config_free(config);
    return base;
}

static bool tell_ready(int fd, struct problem *problem)
{
    static const char line[] = "ready\n";

    if (fd < 0)
        return true;
    if (write(fd, line, sizeof line - 1) != (ssize_t)(sizeof line - 1))
        return problem_tell(problem, "ready-fd %d: %s", fd, strerror(errno));
    close(fd);
    return true;
}

/* Runs the loop until told to stop. */
static bool serve(struct bench *bench, const struct options *options, struct problem *problem)
{
    struct control *control = NULL;
    struct event *interrupt = evsignal_new(bench->base, SIGINT, on_signal, bench->base);
    struct event *terminate = evsignal_new(bench->base, SIGTERM, on_signal, bench->base);
    bool good = interrupt != NULL && terminate != NULL && event_add(interrupt, NULL) == 0 &&
                event_add(terminate, NULL) == 0;

    if (good && options->control != NULL) {
        control = control_open(bench, options->control, problem);
        good = control != NULL;
    }
    good = good && tell_ready(options->ready_fd, problem);
    if (good)
        event_base_dispatch(bench->base);
    control_close(control);
    if (interrupt != NULL)
        event_free(interrupt);
    if (terminate != NULL)
        event_free(terminate);
    return good;
}

static bool run_bench(const struct options *options, struct problem *problem)
{
    struct event_base *base = new_loop();
    struct bench bench;
    config_t file;
    uint64_t seed = options->seed;
    bool good = benchfile_read(&file, options->file, problem) &&
                (options->seeded || benchfile_seed(&file, &seed, problem));

    if (base == NULL)
        good = problem_tell(problem, "no event loop");
    if (good) {
        bench_begin(&bench, base, seed, options->listen_dir);
        good = benchfile_apply(&file, &bench, problem) && serve(&bench, options, problem);
        bench_end(&bench);
    }
    config_destroy(&file);
    if (base != NULL)
        event_base_free(base);
    return good;
}

int main(int count, char **words)
{
    struct options options;
    struct problem problem = { "out of resources" };

    if (!read_options(count, words, &options)) {
        usage(stderr);
        return EXIT_USAGE;
    }
    signal(SIGPIPE, SIG_IGN);
    if (!run_bench(&options, &problem)) {
        fprintf(stderr, "standin: %s\n", problem.text);
        return EXIT_FAILURE;
    }
    return EXIT_SUCCESS;
}
