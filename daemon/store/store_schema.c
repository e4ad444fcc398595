/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_schema.h"

#define JOB_INDEXES                                                                                \
    "CREATE INDEX readings_job ON readings (job) WHERE job IS NOT NULL;"                           \
    "CREATE INDEX readings_serial ON readings (serial) WHERE serial IS NOT NULL;"

const char store_schema[] =
    "CREATE TABLE head (only INTEGER PRIMARY KEY CHECK (only = 1), began TEXT NOT NULL,"
    "    follows TEXT, last INTEGER NOT NULL, digest BLOB NOT NULL) STRICT;"
    "CREATE TABLE settings (id INTEGER PRIMARY KEY, digest TEXT NOT NULL UNIQUE,"
    "    text TEXT NOT NULL) STRICT;"
    "CREATE TABLE instruments (id INTEGER PRIMARY KEY, name TEXT NOT NULL,"
    "    identity TEXT NOT NULL, calibration_due TEXT NOT NULL,"
    "    UNIQUE (name, identity, calibration_due)) STRICT;"
    "CREATE TABLE versions (id INTEGER PRIMARY KEY, version TEXT NOT NULL UNIQUE) STRICT;"
    "CREATE TABLE readings (id INTEGER PRIMARY KEY, point TEXT NOT NULL, time TEXT NOT NULL,"
    "    time_ns INTEGER NOT NULL, sequence INTEGER NOT NULL, value REAL, uncertainty REAL,"
    "    unit TEXT, verdict TEXT, reason TEXT, run TEXT, round INTEGER,"
    "    settings INTEGER NOT NULL REFERENCES settings,"
    "    instrument INTEGER NOT NULL REFERENCES instruments,"
    "    version INTEGER NOT NULL REFERENCES versions,"
    "    digest BLOB NOT NULL, body TEXT NOT NULL, job TEXT, serial TEXT,"
    "    CHECK ((value IS NULL) = (reason IS NOT NULL))) STRICT;"
    "CREATE INDEX readings_time ON readings (time_ns);"
    "CREATE INDEX readings_point ON readings (point);"
    "CREATE INDEX readings_run ON readings (run, point) WHERE run IS NOT NULL;" JOB_INDEXES
    "CREATE TABLE events (id INTEGER PRIMARY KEY, time TEXT NOT NULL, time_ns INTEGER NOT NULL,"
    "    kind TEXT NOT NULL, subject TEXT, first INTEGER, last INTEGER, after BLOB, body TEXT,"
    "    digest BLOB NOT NULL) STRICT;"
    "CREATE INDEX events_kind ON events (kind, first);"
    "CREATE INDEX events_subject ON events (subject) WHERE subject IS NOT NULL;";

const char store_from_1[] =
    "BEGIN IMMEDIATE; ALTER TABLE readings ADD COLUMN job TEXT;"
    "ALTER TABLE readings ADD COLUMN serial TEXT;" JOB_INDEXES "PRAGMA user_version = 2; COMMIT;";
