/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound.h"

#include "tools/gradus/basics/memory.h"

#include <fcntl.h>
#include <glib.h>
#include <math.h>
#include <signal.h>
#include <spawn.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

extern char **environ;

/* Samples a second, 16 bits, one channel; all players are told so. */
enum { RATE = 16000, LONGEST = RATE / 2 };

/* One piece of a tone: hertz (0: silence) and seconds. */
struct piece {
    double frequency;
    double seconds;
};

enum { PIECES = 6 };

static const struct piece tones[][PIECES] = {
    [TONE_PASS] = { { 660, 0.09 }, { 880, 0.14 } },
    [TONE_FAIL] = { { 220, 0.45 } },
    [TONE_UNSURE] = { { 550, 0.06 }, { 0, 0.05 }, { 550, 0.06 }, { 0, 0.05 }, { 550, 0.06 } },
};

/* Programs that play raw samples from standard input, with their words. */
static const char *const players[][8] = {
    { "paplay", "--raw", "--rate=16000", "--format=s16le", "--channels=1", NULL },
    { "pw-cat", "--playback", "--rate=16000", "--format=s16", "--channels=1", "-", NULL },
    { "aplay", "-q", "-t", "raw", "-f", "S16_LE", "-r16000", NULL },
};

static const char *const speakers[] = { "spd-say", "espeak-ng", "espeak" };

/* Writes the path of a program; false when there is none. */
static bool find(const char *name, char *path, size_t size)
{
    char *const found = g_find_program_in_path(name);
    const bool there = found != NULL && strlen(found) < size;
    if (there)
        memcpy(path, found, strlen(found) + 1);
    g_free(found);
    return there;
}

void sound_begin(struct sound *sound, bool tone, bool aloud)
{
    *sound = (struct sound) { .tones = tone, .aloud = aloud };
    for (size_t i = 0; tone && i < sizeof players / sizeof players[0]; i++) {
        if (find(players[i][0], sound->player_path, sizeof sound->player_path)) {
            memcpy(sound->player, players[i], sizeof players[i]);
            break;
        }
    }
    for (size_t i = 0; aloud && i < sizeof speakers / sizeof speakers[0]; i++) {
        if (find(speakers[i], sound->speaker_path, sizeof sound->speaker_path)) {
            sound->speaker = speakers[i];
            break;
        }
    }
}

/* Ends what is still under way. */
static void stop(pid_t *child)
{
    if (*child <= 0)
        return;
    if (waitpid(*child, NULL, WNOHANG) == 0) {
        kill(*child, SIGTERM);
        waitpid(*child, NULL, 0);
    }
    *child = 0;
}

/* Starts a program with `input` as its standard input; its output goes nowhere. */
static pid_t start(const char *path, const char *const *words, int input)
{
    pid_t child = 0;
    posix_spawn_file_actions_t actions;
    posix_spawnattr_t attributes;
    sigset_t none;
    sigemptyset(&none);
    posix_spawn_file_actions_init(&actions);
    posix_spawnattr_init(&attributes);
    posix_spawnattr_setsigmask(&attributes, &none);
    posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSIGMASK);
    posix_spawn_file_actions_adddup2(&actions, input, STDIN_FILENO);
    posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
    posix_spawn_file_actions_addopen(&actions, STDERR_FILENO, "/dev/null", O_WRONLY, 0);
    char *arguments[8] = { NULL };
    for (size_t i = 0; words[i] != NULL && i < 7; i++)
        arguments[i] = memory_text(words[i]);
    if (posix_spawn(&child, path, &actions, &attributes, arguments, environ) != 0)
        child = 0;
    for (size_t i = 0; arguments[i] != NULL; i++)
        free(arguments[i]);
    posix_spawnattr_destroy(&attributes);
    posix_spawn_file_actions_destroy(&actions);
    return child;
}

/* A sine of half the range, its ends faded over 5 ms so that they do not click. */
static size_t make(enum tone tone, int16_t *samples)
{
    size_t made = 0;
    for (size_t i = 0; i < PIECES && tones[tone][i].seconds > 0; i++) {
        const struct piece *const piece = &tones[tone][i];
        const size_t count = (size_t)lround(piece->seconds * RATE);
        for (size_t n = 0; n < count && made < LONGEST; n++) {
            const double edge = fmin((double)n, (double)(count - n)) / (0.005 * RATE);
            const double phase = 2 * M_PI * piece->frequency * (double)n / RATE;
            samples[made++] = (int16_t)lround(16000 * fmin(edge, 1) * sin(phase));
        }
    }
    return made * sizeof *samples;
}

void sound_play(struct sound *sound, enum tone tone)
{
    static int16_t samples[LONGEST];
    int ends[2];
    if (!sound->tones)
        return;
    if (sound->player[0] == NULL) {
        for (int i = 0; i <= (int)tone; i++)
            fputc('\a', stderr);
        return;
    }
    stop(&sound->playing);
    if (pipe2(ends, O_CLOEXEC) != 0)
        return;
    const size_t length = make(tone, samples);
    sound->playing = start(sound->player_path, sound->player, ends[0]);
    close(ends[0]);
    /* A pipe holds more than the longest tone, so this never waits; a player that is gone matters not. */
    if (sound->playing > 0 && write(ends[1], samples, length) < 0)
        stop(&sound->playing);
    close(ends[1]);
}

void sound_say(struct sound *sound, const char *text)
{
    const char *const words[] = { sound->speaker, "--", text, NULL };
    if (sound->speaker == NULL)
        return;
    stop(&sound->speaking);
    const int nothing = open("/dev/null", O_RDONLY | O_CLOEXEC);
    if (nothing < 0)
        return;
    sound->speaking = start(sound->speaker_path, words, nothing);
    close(nothing);
}

/* Waits until a child has ended, or the moment has come. */
static void wait_for(pid_t *child, const struct timespec *until)
{
    struct timespec now;
    sigset_t ended;
    sigemptyset(&ended);
    sigaddset(&ended, SIGCHLD);
    while (*child > 0 && waitpid(*child, NULL, WNOHANG) == 0) {
        clock_gettime(CLOCK_MONOTONIC, &now);
        const double left =
            (double)(until->tv_sec - now.tv_sec) + (double)(until->tv_nsec - now.tv_nsec) / 1e9;
        const struct timespec pause = { 0, left > 0.1 ? 100000000 : (long)(fmax(left, 0) * 1e9) };
        if (left <= 0)
            break;
        sigtimedwait(&ended, NULL, &pause);
    }
    stop(child);
}

void sound_end(struct sound *sound)
{
    struct timespec until;
    sigset_t ended;
    sigemptyset(&ended);
    sigaddset(&ended, SIGCHLD);
    sigprocmask(SIG_BLOCK, &ended, NULL);
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_sec++;
    wait_for(&sound->playing, &until);
    wait_for(&sound->speaking, &until);
}
