/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Blocks of a sheet: what feeds what on a board, and where each output is measured. */
#include "settings_priv.h"

#include <stdlib.h>
#include <string.h>

#define BLOCK(name) offsetof(struct block_file, name)

struct block_file {
    struct bench_block block;
    char point[BENCH_NAME];
};

static const struct strict_key block_keys[] = {
    { .name = "name",
      .type = STRICT_TEXT,
      .required = true,
      .offset = BLOCK(block.name),
      .size = BENCH_NAME,
      .help = "what clients call the block" },
    { .name = "point",
      .type = STRICT_TEXT,
      .offset = BLOCK(point),
      .size = BENCH_NAME,
      .help = "point of the sheet, with limits, that is its output; default none" },
    { .name = "fed_by",
      .type = STRICT_TEXTS,
      .help = "blocks that its output hangs on, supplies and feedback too; default none" },
    { .name = "likelihood",
      .type = STRICT_NUMBER,
      .offset = BLOCK(block.likelihood),
      .minimum = 1e-6,
      .maximum = 1e6,
      .help = "how often it fails, beside the others; default 1" },
    { .name = "cost",
      .type = STRICT_NUMBER,
      .offset = BLOCK(block.cost),
      .minimum = 1e-6,
      .maximum = 1e6,
      .help = "what it takes to measure there, beside the others; default 1" },
    { .name = "hides",
      .type = STRICT_BOOL,
      .offset = BLOCK(block.hides),
      .help = "its output may be good although what feeds it is bad, as a regulator's; "
              "default false" },
    { .name = NULL },
};

/* Finds the place where the output is measured; it must be judged there. */
static void find_place(struct settings *settings, const config_setting_t *group,
                       const struct bench_sheet *sheet, struct block_file *file)
{
    const config_setting_t *at = strict_member(group, "point");
    const struct bench_point *point = bench_point(settings->bench, file->point);
    size_t i = 0;
    while (point != NULL && i < sheet->place_count && sheet->places[i].point != point->index)
        i++;
    if (point == NULL) {
        settings_no_point(settings, at, file->point);
    } else if (i == sheet->place_count) {
        problems_at(settings->problems, at,
                    "\"%s\" is not on this sheet, expected one of its points", point->name);
    } else if (!limits_present(&point->limits)) {
        problems_at(settings->problems, at,
                    "\"%s\" has no limits, expected a point that is good or bad", point->name);
    }
    file->block.place = i < sheet->place_count ? i : BENCH_NO_POINT;
}

static void read_block(struct settings *settings, const config_setting_t *group,
                       struct bench_sheet *sheet)
{
    struct block_file file = { .block = { .place = BENCH_NO_POINT, .likelihood = 1, .cost = 1 } };
    strict_group(group, block_keys, &file, settings->problems);
    settings_name(group, "name", settings->problems);
    if (file.point[0] != '\0')
        find_place(settings, group, sheet, &file);
    for (size_t i = 0; i < sheet->block_count; i++) {
        if (file.block.name[0] != '\0' && strcmp(sheet->blocks[i].name, file.block.name) == 0)
            problems_at(settings->problems, group, "block \"%s\" is there twice, expected it once",
                        file.block.name);
        if (file.block.place != BENCH_NO_POINT && sheet->blocks[i].place == file.block.place)
            problems_at(settings->problems, group,
                        "\"%s\" is the output of \"%s\" already, expected one block a point",
                        file.point, sheet->blocks[i].name);
    }
    sheet->blocks[sheet->block_count++] = file.block;
}

static void add_input(struct settings *settings, const config_setting_t *group,
                      const struct bench_sheet *sheet, struct bench_block *block, const char *name)
{
    const config_setting_t *at = strict_member(group, "fed_by");
    size_t i = 0;
    while (i < sheet->block_count && strcmp(sheet->blocks[i].name, name) != 0)
        i++;
    if (i == sheet->block_count)
        problems_at(settings->problems, at, "\"%s\" is no block of this sheet", name);
    else if (block->input_count == DIAGNOSIS_INPUTS)
        problems_at(settings->problems, at, "too many blocks, expected at most %d",
                    DIAGNOSIS_INPUTS);
    else
        block->inputs[block->input_count++] = i;
}

static void read_inputs(struct settings *settings, const config_setting_t *group,
                        const struct bench_sheet *sheet, struct bench_block *block)
{
    const config_setting_t *list = strict_list(group, "fed_by");
    char **names;
    size_t count;
    if (list == NULL || !strict_texts(list, &names, &count, settings->problems))
        return;
    for (size_t i = 0; i < count; i++)
        add_input(settings, group, sheet, block, names[i]);
    strict_texts_free(names, count);
}

void settings_read_blocks(struct settings *settings, const config_setting_t *group,
                          struct bench_sheet *sheet)
{
    const config_setting_t *list = strict_list(group, "blocks");
    unsigned count = list != NULL ? (unsigned)config_setting_length(list) : 0;
    bool shown = false;
    if (count == 0 || sheet->places == NULL)
        return;
    if (count > BLOCK_SET_MAX) {
        problems_at(settings->problems, list, "%u blocks, expected at most %d", count,
                    BLOCK_SET_MAX);
        return;
    }
    sheet->blocks = calloc(count, sizeof *sheet->blocks);
    if (sheet->blocks == NULL) {
        problems_at(settings->problems, list, "no memory");
        return;
    }
    for (unsigned i = 0; i < count; i++) {
        read_block(settings, config_setting_get_elem(list, i), sheet);
        shown = shown || sheet->blocks[i].place != BENCH_NO_POINT;
    }
    for (unsigned i = 0; i < count; i++)
        read_inputs(settings, config_setting_get_elem(list, i), sheet, &sheet->blocks[i]);
    if (!shown)
        problems_at(settings->problems, list, "no block has a point, expected one at least");
}

void settings_print_block_keys(FILE *out)
{
    fprintf(out, "sheets.blocks, each:\n");
    strict_print_keys(out, block_keys);
}
