/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The languages of the bench, one file each, and what the two SCPI ones share. */
#ifndef STANDIN_LANGUAGES_H
#define STANDIN_LANGUAGES_H

#include "tools/standin/instrument/instrument.h"

extern const struct language language_tarnwerk_meter;
extern const struct language language_oldmere_meter;
extern const struct language language_tarnwerk_scope;
extern const struct language language_oldmere_scope;

/* The language of a type, or NULL. */
const struct language *language_of(const char *type);

/* What an action of a SCPI language finds behind scpi_call.owner. */
struct scpi_owner {
    struct instrument *instrument;
    struct answer *answer;
    const char *model;    /* for the identity */
    const char *firmware; /* for the identity */
};

/* Rows of the common commands and of :SYSTem, the same in both. */
#define SCPI_COMMON_ROWS                                                                           \
    { "*IDN", NULL, false, common_identity, false, 0, 0 },                                         \
        { "*CLS", common_clear, false, NULL, false, 0, 0 },                                        \
        { "*RST", common_reset, false, NULL, false, 0, 0 },                                        \
        { "*OPC", NULL, false, common_complete, false, 0, 0 },                                     \
        { "*ESR", NULL, false, common_events, false, 0, 0 },                                       \
        { "*ESE", common_enable, true, common_enabled, false, 0, 0 },                              \
        { "SYSTem:ERRor", NULL, false, common_error, false, 0, 0 },                                \
        { "SYSTem:KLOCk", common_lock, true, common_locked, false, 0, 0 },                         \
    {                                                                                              \
        "SYSTem:VERSion", NULL, false, common_version, false, 0, 0                                 \
    }

scpi_action common_identity;
scpi_action common_clear;
scpi_action common_reset;
scpi_action common_complete;
scpi_action common_events;
scpi_action common_enable;
scpi_action common_enabled;
scpi_action common_error;
scpi_action common_lock;
scpi_action common_locked;
scpi_action common_version;

/* The instrument behind a call. */
struct instrument *call_instrument(const struct scpi_call *call);

/* The answer in the making. */
struct answer *call_answer(const struct scpi_call *call);

/* Runs a message through a table of rows. */
void common_execute(struct instrument *instrument, const struct scpi_row *rows, const char *model,
                    const char *firmware, const char *command, struct answer *answer);

/* Reports an input buffer overrun. */
void common_overrun(struct instrument *instrument, struct answer *answer);

/* Whether another instrument is to answer this identity query. */
bool wrong_identity(struct instrument *instrument);

#endif
