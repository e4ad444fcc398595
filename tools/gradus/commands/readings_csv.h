/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Readings out of the store as CSV: all that there is to defend a number. */
#ifndef GRADUS_TOOLS_READINGS_CSV_H
#define GRADUS_TOOLS_READINGS_CSV_H

#include "tools/gradus/answers/csv.h"

/* The columns, to be freed with free(). */
struct csv_column *readings_csv_columns(void);

/* One flat object for a record of these columns: of a reading, or of why there is none. New. */
json_t *readings_csv_object(const json_t *item);

#endif
