/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "csv.h"

#include "core/basics/utf8.h"
#include "tools/gradus/basics/field.h"

#include <math.h>
#include <stdint.h>
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

/* Whether all of it is one decimal number. */
static bool is_number(const char *text)
{
    char *end = NULL;
    const size_t length = strlen(text);
    return strspn(text, "+-0123456789.eE") == length && isfinite(strtod(text, &end)) &&
           end == text + length;
}

/* Whether a spreadsheet may take the field for a formula to be worked out. */
static bool is_formula(const char *text)
{
    return text[0] != '\0' && strchr("=+-@\t\r\n", text[0]) != NULL && !is_number(text);
}

/*
 * What stands between the quotes of a field: quotes doubled, what steers a
 * terminal or turns the text, but line ends, as ?, and ' before a formula.
 */
static void put_inside(FILE *stream, const char *text)
{
    if (is_formula(text))
        fputc('\'', stream);
    while (*text != '\0') {
        uint32_t code = (unsigned char)*text;
        const size_t decoded = utf8_decode(text, strnlen(text, 4), &code);
        const size_t length = decoded > 0 ? decoded : 1;
        if (code == '"')
            fputc('"', stream);
        if (utf8_steers(code) && code != '\r' && code != '\n')
            fputc('?', stream);
        else
            fwrite(text, 1, length, stream);
        text += length;
    }
}

void csv_field(FILE *stream, const char *text)
{
    /* Some spreadsheets part fields at semicolons and tabs as well. */
    const bool quoted = strpbrk(text, ",;\"\r\n\t") != NULL;
    if (quoted)
        fputc('"', stream);
    put_inside(stream, text);
    if (quoted)
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
