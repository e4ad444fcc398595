/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sheets: the places of a board in the order in which a probe held by hand goes from one to the next. */
#include "settings_priv.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define SHEET(name) offsetof(struct bench_sheet, name)
#define PLACE(name) offsetof(struct place_file, name)

struct place_file {
    char point[BENCH_NAME];
    struct bench_place place;
};

static const struct strict_key sheet_keys[] = {
    { .name = "name",
      .type = STRICT_TEXT,
      .required = true,
      .offset = SHEET(name),
      .size = BENCH_NAME - 24, /* the walk's name has the time behind it */
      .help = "what clients call the sheet" },
    { .name = "title",
      .type = STRICT_TEXT,
      .offset = SHEET(title),
      .size = BENCH_TEXT,
      .help = "what it is a sheet of, for people; default its name" },
    { .name = "points",
      .type = STRICT_LIST,
      .required = true,
      .help = "where the probe goes, in that order" },
    { .name = "blocks",
      .type = STRICT_LIST,
      .help = "what feeds what, for finding a fault; default none" },
    { .name = NULL },
};

static const struct strict_key place_keys[] = {
    { .name = "point",
      .type = STRICT_TEXT,
      .required = true,
      .offset = PLACE(point),
      .size = BENCH_NAME,
      .help = "which point is measured there; what is expected, and the limits, are the point's" },
    { .name = "place",
      .type = STRICT_TEXT,
      .required = true,
      .offset = PLACE(place.place),
      .size = BENCH_TEXT,
      .help = "where it is, as one would say it: \"TP4, left of the transformer\"" },
    { .name = "picture",
      .type = STRICT_TEXT,
      .offset = PLACE(place.picture),
      .size = sizeof((struct bench_place *)NULL)->picture,
      .help = "file that shows it, relative to this file; default none" },
    { .name = "caution",
      .type = STRICT_TEXT,
      .offset = PLACE(place.caution),
      .size = BENCH_TEXT,
      .help = "told before the probe goes there; default the point's" },
    { .name = NULL },
};

/* Puts the folder of the settings file before a relative path, and looks whether the file is there. */
static void find_picture(struct settings *settings, const config_setting_t *group,
                         struct bench_place *place)
{
    const char *path = settings->bench->path;
    const char *slash = strrchr(path, '/');
    char written[sizeof place->picture];
    memcpy(written, place->picture, sizeof written);
    int own = written[0] == '/' || slash == NULL ? 0 : (int)(slash + 1 - path);
    int count = snprintf(place->picture, sizeof place->picture, "%.*s%s", own, path, written);
    if (count < 0 || (size_t)count >= sizeof place->picture)
        problems_at(settings->problems, strict_member(group, "picture"), "too long a path");
    else if (access(place->picture, R_OK) != 0)
        problems_at(settings->problems, strict_member(group, "picture"),
                    "\"picture\" is \"%s\", expected a file that can be read", written);
}

/* A probe in one hand is on one place at a time. */
static void check_reach(struct settings *settings, const config_setting_t *group,
                        const struct bench_point *point)
{
    const struct bench *bench = settings->bench;
    if (point->reference == BENCH_NO_POINT)
        return;
    problems_at(settings->problems, group,
                "limits of \"%s\" refer to \"%s\", which is read at the same time and is not under "
                "the probe then, expected \"reference_stored\"",
                point->name, bench->points[point->reference].name);
}

static void read_place(struct settings *settings, const config_setting_t *group,
                       struct bench_sheet *sheet)
{
    struct place_file file = { 0 };
    if (!strict_group(group, place_keys, &file, settings->problems))
        return;
    const struct bench_point *point = bench_point(settings->bench, file.point);
    if (point == NULL) {
        settings_no_point(settings, strict_member(group, "point"), file.point);
        return;
    }
    file.place.point = point->index;
    for (size_t i = 0; i < sheet->place_count; i++)
        if (sheet->places[i].point == point->index)
            problems_at(settings->problems, group, "\"%s\" is on the sheet twice, expected it once",
                        point->name);
    if (file.place.picture[0] != '\0')
        find_picture(settings, group, &file.place);
    if (file.place.caution[0] == '\0')
        memcpy(file.place.caution, point->caution, sizeof file.place.caution);
    check_reach(settings, group, point);
    sheet->places[sheet->place_count++] = file.place;
}

static void read_sheet(struct settings *settings, const config_setting_t *group,
                       struct bench_sheet *sheet)
{
    const config_setting_t *list = strict_list(group, "points");
    int count = list != NULL ? config_setting_length(list) : 0;
    strict_group(group, sheet_keys, sheet, settings->problems);
    settings_name(group, "name", settings->problems);
    if (sheet->title[0] == '\0')
        memcpy(sheet->title, sheet->name, sizeof sheet->name);
    if (list != NULL && count == 0)
        problems_at(settings->problems, list, "no points, expected one at least");
    sheet->places = calloc((size_t)count + 1, sizeof *sheet->places);
    if (sheet->places == NULL)
        problems_at(settings->problems, group, "no memory");
    for (int i = 0; sheet->places != NULL && i < count; i++)
        read_place(settings, config_setting_get_elem(list, (unsigned)i), sheet);
    settings_read_blocks(settings, group, sheet);
}

static void check_name(const struct settings *settings, const config_setting_t *list, size_t index)
{
    const struct bench_sheet *sheets = settings->bench->sheets;
    for (size_t i = 0; i < index; i++)
        if (sheets[index].name[0] != '\0' && strcmp(sheets[i].name, sheets[index].name) == 0)
            settings_duplicate(config_setting_get_elem(list, (unsigned)index), "sheet",
                               sheets[i].name, config_setting_get_elem(list, (unsigned)i),
                               settings->problems);
}

void settings_read_sheets(struct settings *settings)
{
    const config_setting_t *list = strict_list(settings->root, "sheets");
    size_t count = list != NULL ? (size_t)config_setting_length(list) : 0;
    if (count == 0 || settings->bench->points == NULL)
        return;
    settings->bench->sheets = calloc(count, sizeof *settings->bench->sheets);
    if (settings->bench->sheets == NULL) {
        problems_at(settings->problems, list, "no memory");
        return;
    }
    settings->bench->sheet_count = count;
    for (size_t i = 0; i < count; i++) {
        read_sheet(settings, config_setting_get_elem(list, (unsigned)i),
                   &settings->bench->sheets[i]);
        check_name(settings, list, i);
    }
}

void settings_print_sheet_keys(FILE *out)
{
    fprintf(out, "sheets, each:\n");
    strict_print_keys(out, sheet_keys);
    fprintf(out, "sheets.points, each:\n");
    strict_print_keys(out, place_keys);
    settings_print_block_keys(out);
}
