/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "csv.h"

#include "tools/gradus/basics/field.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

char *csv_number(char text[CSV_NUMBER_SIZE], double number)
{
    text[0] = '\0';
    for (int digits = 1; isfinite(number) && digits <= 17; digits++) {
        snprintf(text, CSV_NUMBER_SIZE, "%.*g", digits, number);
        if (strtod(text, NULL) == number)
            break;
    }
    return text;
}

/* What stands between the quotes of a field: quotes doubled. */
static void put_inside(FILE *stream, const char *text)
{
    for (; *text != '\0'; text++) {
        if (*text == '"')
            fputc('"', stream);
        fputc(*text, stream);
    }
}

void csv_field(FILE *stream, const char *text)
{
    if (strpbrk(text, ",\"\r\n") == NULL) {
        fputs(text, stream);
        return;
    }
    fputc('"', stream);
    put_inside(stream, text);
    fputc('"', stream);
}

static void end_record(FILE *stream)
{
    fputs("\r\n", stream);
}

void csv_header(FILE *stream, const struct csv_column *columns)
{
    for (size_t i = 0; columns[i].heading != NULL; i++) {
        if (i > 0)
            fputc(',', stream);
        csv_field(stream, columns[i].heading);
    }
    end_record(stream);
}

/* Texts of a list as one field. */
static void write_list(FILE *stream, const json_t *list)
{
    const size_t count = json_array_size(list);
    if (count == 0)
        return;
    fputc('"', stream);
    for (size_t i = 0; i < count; i++) {
        const char *const item = json_string_value(json_array_get(list, i));
        fputs(i > 0 ? "; " : "", stream);
        put_inside(stream, item == NULL ? "" : item);
    }
    fputc('"', stream);
}

static void write_value(FILE *stream, const json_t *value)
{
    char number[CSV_NUMBER_SIZE];
    switch (value == NULL ? JSON_NULL : json_typeof(value)) {
    case JSON_STRING:
        csv_field(stream, json_string_value(value));
        break;
    case JSON_INTEGER:
        fprintf(stream, "%" JSON_INTEGER_FORMAT, json_integer_value(value));
        break;
    case JSON_REAL:
        fputs(csv_number(number, json_real_value(value)), stream);
        break;
    case JSON_TRUE:
    case JSON_FALSE:
        fputs(json_is_true(value) ? "true" : "false", stream);
        break;
    case JSON_ARRAY:
        write_list(stream, value);
        break;
    case JSON_OBJECT:
    case JSON_NULL:
        break;
    }
}

void csv_record(FILE *stream, const struct csv_column *columns, const json_t *object)
{
    for (size_t i = 0; columns[i].heading != NULL; i++) {
        if (i > 0)
            fputc(',', stream);
        write_value(stream, field_at(object, columns[i].path));
    }
    end_record(stream);
}
