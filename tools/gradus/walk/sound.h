/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a walk lets hear: a tone for each outcome, made here and played by
 * whatever player of the machine is there, and words through its speech program.
 * Both run beside the command, which never waits for them.
 */
#ifndef GRADUS_TOOLS_SOUND_H
#define GRADUS_TOOLS_SOUND_H

#include <stdbool.h>
#include <sys/types.h>

/* Two rising tones, one long deep one, three short ones alike. */
enum tone { TONE_PASS, TONE_FAIL, TONE_UNSURE };

struct sound {
    bool tones;
    bool aloud;
    const char *player[8]; /* words of its command, NULL at the end; none: the terminal's bell */
    const char *speaker;   /* program; NULL: none */
    pid_t playing;         /* 0: nothing was played yet */
    pid_t speaking;
    char player_path[256];
    char speaker_path[256];
};

/* Looks for a player and a speech program in the path, as far as they are wanted. */
void sound_begin(struct sound *sound, bool tones, bool aloud);

/* Plays a tone; without a player rings the terminal's bell once, twice for a failure, three times. */
void sound_play(struct sound *sound, enum tone tone);

/* Says a text; what is being said ends. Nothing without a speech program. */
void sound_say(struct sound *sound, const char *text);

/* Waits for what is played or said to end, for a second at most. */
void sound_end(struct sound *sound);

#endif
