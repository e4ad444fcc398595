/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "readings_csv.h"

#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"

#include <string.h>

/* What the store knows beside the reading, before and behind the reading's own columns. */
static const struct csv_column first_columns[] = { { "id", "id" },
                                                   { "run", "run" },
                                                   { "round", "round" } };
static const struct csv_column last_columns[] = { { "identity", "instrument.identity" },
                                                  { "calibration_due",
                                                    "instrument.calibration_due" },
                                                  { "certificate", "instrument.certificate" },
                                                  { "job", "job.name" },
                                                  { "serial", "job.serial" },
                                                  { "stage", "job.stage" },
                                                  { "settings_digest", "settings_digest" },
                                                  { "version", "version" },
                                                  { NULL, NULL } };

#define COUNT_OF(array) (sizeof(array) / sizeof *(array))

struct csv_column *readings_csv_columns(void)
{
    size_t own = 0;
    while (reading_csv_columns[own].heading != NULL)
        own++;
    struct csv_column *const columns =
        memory_zeroed(COUNT_OF(first_columns) + own + COUNT_OF(last_columns), sizeof *columns);
    memcpy(columns, first_columns, sizeof first_columns);
    memcpy(columns + COUNT_OF(first_columns), reading_csv_columns, own * sizeof *columns);
    memcpy(columns + COUNT_OF(first_columns) + own, last_columns, sizeof last_columns);
    return columns;
}

json_t *readings_csv_object(const json_t *item)
{
    json_t *const record = json_object();
    const json_t *const reading = field_at(item, "reading");
    json_t *const whole = json_deep_copy(item);
    json_object_del(whole, "reading");
    json_object_del(whole, "error");
    if (reading != NULL) {
        json_object_update_new(record, json_deep_copy(reading));
    } else {
        json_object_set_new(record, "reason",
                            json_string(field_text_or_empty(item, "error.message")));
        json_object_set_new(record, "what",
                            json_string(field_text_or_empty(item, "error.data.what")));
        json_object_set(record, "job", json_object_get(json_object_get(item, "error"), "job"));
    }
    json_object_update_new(record, whole);
    return record;
}
