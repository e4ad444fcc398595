/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where to probe next on a board that does not work; from what the client has measured so far. */
#include "calls.h"

#include "encode_findings.h"
#include "methods.h"
#include "service.h"

#include <stdlib.h>
#include <string.h>

/* A sheet's blocks as a problem; points are numbered as the blocks that have one. */
struct board {
    const struct bench *bench;
    const struct bench_sheet *sheet;
    struct diagnosis diagnosis;
    struct diagnosis_finding finding;
};

static void copy_block(struct board *board, size_t index)
{
    const struct bench_block *from = &board->sheet->blocks[index];
    struct diagnosis *diagnosis = &board->diagnosis;
    struct diagnosis_block *to = &diagnosis->blocks[diagnosis->block_count++];
    to->likelihood = from->likelihood;
    to->hides = from->hides;
    to->input_count = from->input_count;
    memcpy(to->inputs, from->inputs, sizeof to->inputs);
    if (from->place != BENCH_NO_POINT)
        diagnosis->points[diagnosis->point_count++] =
            (struct diagnosis_point) { .block = index, .cost = from->cost };
}

static const struct bench_block *block_of(const struct board *board, size_t point)
{
    return &board->sheet->blocks[board->diagnosis.points[point].block];
}

static const char *point_name(const struct board *board, size_t point)
{
    const struct bench_place *place = &board->sheet->places[block_of(board, point)->place];
    return board->bench->points[place->point].name;
}

static bool read_outcome(const json_t *value, enum diagnosis_outcome *outcome)
{
    static const char *const words[] = {
        [DIAGNOSIS_GOOD] = "good", [DIAGNOSIS_BAD] = "bad", [DIAGNOSIS_UNSURE] = "unsure"
    };
    for (size_t i = DIAGNOSIS_GOOD; i <= DIAGNOSIS_UNSURE && json_is_string(value); i++)
        if (strcmp(json_string_value(value), words[i]) == 0) {
            *outcome = (enum diagnosis_outcome)i;
            return true;
        }
    return false;
}

static bool read_outcomes(struct board *board, json_t *outcomes, struct failure *failure)
{
    const char *name;
    json_t *value;
    json_object_foreach(outcomes, name, value)
    {
        size_t i = 0;
        while (i < board->diagnosis.point_count && strcmp(point_name(board, i), name) != 0)
            i++;
        if (i == board->diagnosis.point_count)
            return failure_set(failure, FAILURE_SETTINGS, board->sheet->name,
                               "a point that is the output of a block",
                               "no block of this sheet has the point \"%s\"", name);
        if (!read_outcome(value, &board->diagnosis.points[i].outcome))
            return failure_set(failure, FAILURE_SETTINGS, name, "good, bad or unsure",
                               "what was measured there is not understood");
    }
    return true;
}

/* The likeliest of a set of blocks that is not empty. */
static size_t likeliest(const struct board *board, const struct block_set *blocks)
{
    size_t best = BLOCK_SET_MAX;
    for (size_t i = 0; i < board->sheet->block_count; i++)
        if (block_set_has(blocks, i) &&
            (best == BLOCK_SET_MAX ||
             board->finding.probability[i] > board->finding.probability[best]))
            best = i;
    return best;
}

/* The suspects, the likeliest first. */
static void name_suspects(const struct board *board, struct board_finding *found)
{
    struct block_set left = board->finding.suspects;
    for (size_t count = block_set_count(&left); count > 0; count--) {
        size_t best = likeliest(board, &left);
        struct block_set one = { 0 };
        block_set_add(&one, best);
        left = block_set_without(&left, &one);
        found->suspect[found->suspects] = board->sheet->blocks[best].name;
        found->probability[found->suspects++] = board->finding.probability[best];
    }
}

/* What the outcomes come to, in the sheet's names. */
static struct board_finding find_in(struct board *board)
{
    const struct diagnosis_finding *finding = &board->finding;
    struct board_finding found = { .sheet = board->sheet };
    diagnosis_find(&board->diagnosis, &board->finding);
    found.state = finding->state;
    if (finding->state == DIAGNOSIS_GO_ON || finding->state == DIAGNOSIS_CONFLICT) {
        const struct bench_block *block = block_of(board, finding->point);
        found.point = point_name(board, finding->point);
        found.block = block->name;
        found.place = &board->sheet->places[block->place];
        found.probability_bad = finding->bad;
    }
    name_suspects(board, &found);
    return found;
}

/* The sheet of that name, with blocks; NULL with the failure set. */
static const struct bench_sheet *sheet_with_blocks(const struct loop *loop, const char *name,
                                                   struct failure *failure)
{
    const struct bench_sheet *sheet = loop_sheet(loop, name, failure);
    if (sheet == NULL || sheet->block_count > 0)
        return sheet;
    failure_set(failure, FAILURE_SETTINGS, name, "\"blocks\" that say what feeds what",
                "the sheet has no blocks");
    return NULL;
}

/* The problem as the settings and the client have it; to be freed. NULL with the failure set. */
static struct board *board_new(const struct loop *loop, const struct rpc_value *values,
                               struct failure *failure)
{
    const struct bench_sheet *sheet = sheet_with_blocks(loop, values[DIAGNOSE_SHEET].text, failure);
    struct board *board = sheet != NULL ? calloc(1, sizeof *board) : NULL;
    if (board == NULL) {
        failure_no_memory(failure, "the blocks"); /* the first cause wins */
        return NULL;
    }
    board->bench = loop->bench;
    board->sheet = sheet;
    for (size_t i = 0; i < sheet->block_count; i++)
        copy_block(board, i);
    if (values[DIAGNOSE_OUTCOMES].given &&
        !read_outcomes(board, values[DIAGNOSE_OUTCOMES].object, failure)) {
        free(board);
        return NULL;
    }
    diagnosis_prepare(&board->diagnosis);
    return board;
}

void call_diagnose(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    struct board *board = board_new(service->loop, values, &failure);
    if (board == NULL) {
        call_refuse(service->loop, call, &failure);
        return;
    }
    const struct board_finding found = find_in(board);
    struct text *text = loop_text(service->loop);
    encode_board(text, &found);
    free(board);
    rpc_result(call, text);
}
