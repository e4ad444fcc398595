/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Any bytes as a reply: the framer finds the same message whether they come
 * at once or one by one, never beyond the limit, and what is taken out of a
 * message stays inside it and reads back. The first byte chooses the framing
 * and the second the limit. Seeds: corpus_response.
 */
#include "drivers/dialogue/framer.h"
#include "drivers/dialogue/response.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_ELEMENTS = 16, UNTOUCHED = 12345 };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void require(bool condition)
{
    if (!condition)
        abort();
}

/* How the bytes are framed, and what came of it. */
struct framing_case {
    const char *terminator; /* NULL: IEEE 488.2 */
    bool end;
    size_t limit;
};

struct framed {
    enum frame frame;
    size_t length;
    size_t body;
};

static void start(struct framer *framer, const struct framing_case *framing)
{
    if (framing->terminator)
        framer_start_line(framer, framing->terminator, framing->limit);
    else
        framer_start_488(framer, framing->end, framing->limit);
}

static struct framed feed(struct framer *framer, const char *bytes, size_t count, bool end)
{
    struct framed framed = { .length = UNTOUCHED, .body = UNTOUCHED };
    struct failure failure;

    failure_clear(&failure);
    framed.frame = framer_feed(framer, bytes, count, end, &framed.length, &framed.body, &failure);
    require((failure.code != FAILURE_NONE) == (framed.frame == FRAME_INVALID));
    if (framed.frame != FRAME_COMPLETE)
        require(framed.length == UNTOUCHED && framed.body == UNTOUCHED);
    return framed;
}

/* Everything at once. */
static struct framed whole(const struct framing_case *framing, const char *bytes, size_t count)
{
    struct framer framer;

    start(&framer, framing);
    return feed(&framer, bytes, count, framing->end);
}

/* One byte after the other, until that says something. */
static struct framed bytewise(const struct framing_case *framing, const char *bytes, size_t count)
{
    struct framed framed = { .frame = FRAME_INCOMPLETE };
    struct framer framer;

    start(&framer, framing);
    for (size_t i = 1; i <= count && framed.frame == FRAME_INCOMPLETE; i++) {
        framed = feed(&framer, bytes, i, framing->end && i == count);
        require(framed.frame != FRAME_COMPLETE || framed.length == i);
    }
    return framed;
}

static void check_decimal(const char *text, size_t count)
{
    double number = UNTOUCHED;
    char *end;

    if (!decimal_parse(text, count, &number)) {
        require(number == UNTOUCHED);
        return;
    }
    /* The body is always followed by a NUL. */
    require(isfinite(number));
    if (text[count] == '\0') {
        require(strtod(text, &end) == number);
        require(end == text + count);
    }
}

static void check_element(const struct element *element, const char *body, size_t count)
{
    switch (element->type) {
    case ELEMENT_NUMBER:
        require(isfinite(element->number));
        require(element->special == number_classify(element->number));
        break;
    case ELEMENT_INTEGER:
        require(element->number >= 0 && element->number <= 0x1p53);
        require(element->number == floor(element->number));
        break;
    case ELEMENT_CHARACTER:
        require(element->count > 0);
        break;
    default:
        break;
    }
    require(element->bytes >= body && element->count <= count);
    require(element->bytes + element->count <= body + count);
}

static void check_parse(const char *body, size_t count)
{
    struct element elements[MOST_ELEMENTS];
    struct failure failure;
    size_t n = UNTOUCHED;

    failure_clear(&failure);
    if (!response_parse(body, count, elements, MOST_ELEMENTS, &n, &failure)) {
        require(failure.code == FAILURE_UNEXPECTED_REPLY && n == UNTOUCHED);
        return;
    }
    require(n >= 1 && n <= MOST_ELEMENTS && elements[0].unit == 0);
    for (size_t i = 0; i < n; i++) {
        check_element(&elements[i], body, count);
        if (i > 0)
            require(elements[i].unit == elements[i - 1].unit ||
                    elements[i].unit == elements[i - 1].unit + 1);
        if (i > 0)
            require(elements[i].bytes > elements[i - 1].bytes);
    }
}

static void check_number(const char *body, size_t count)
{
    enum number_special special = SPECIAL_NONE;
    struct element element;
    struct failure failure;
    double number = UNTOUCHED;
    size_t n;
    bool single = response_parse(body, count, &element, 1, &n, NULL) &&
                  (element.type == ELEMENT_NUMBER || element.type == ELEMENT_INTEGER);

    failure_clear(&failure);
    require(response_number(body, count, &number, &special, &failure) == single);
    require((failure.code == FAILURE_NONE) == single);
    require(single ? number == element.number && special == element.special : number == UNTOUCHED);
}

static void check_identity(const char *body, size_t count)
{
    char warning[64];
    struct failure failure;
    size_t commas = 0;

    failure_clear(&failure);
    if (!identity_check(body, count, warning, sizeof warning, &failure)) {
        require(failure.code == FAILURE_UNEXPECTED_REPLY);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        require(body[i] >= 0x20 && body[i] <= 0x7e);
        commas += body[i] == ',';
    }
    require(commas == 3 && strlen(warning) < sizeof warning);
}

static void check_body(const char *bytes, size_t count)
{
    char *body = malloc(count + 1);

    require(body != NULL);
    memcpy(body, bytes, count);
    body[count] = '\0';
    check_decimal(body, count);
    check_parse(body, count);
    check_number(body, count);
    check_identity(body, count);
    free(body);
}

static void check_frames(const struct framing_case *framing, const char *bytes, size_t count)
{
    struct framed once = whole(framing, bytes, count);
    struct framed slowly = bytewise(framing, bytes, count);

    require(once.frame == slowly.frame);
    if (once.frame == FRAME_INCOMPLETE)
        require(count <= framing->limit);
    if (once.frame != FRAME_COMPLETE)
        return;
    require(once.length == slowly.length && once.body == slowly.body);
    require(once.length <= count && once.body <= once.length && once.length <= framing->limit);
    check_body(bytes, once.body);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const char *const terminators[] = { NULL, NULL, "\n", "\r\n" };
    char *bytes;

    if (size < 3)
        return 0;
    struct framing_case framing = { .terminator = terminators[data[0] % 4],
                                    .end = data[0] % 4 == 1 || (data[0] & 6) == 6,
                                    .limit = 1 + 4 * (size_t)data[1] };

    bytes = malloc(size - 2);
    require(bytes != NULL);
    memcpy(bytes, data + 2, size - 2);
    check_body(bytes, size - 2);
    check_frames(&framing, bytes, size - 2);
    free(bytes);
    return 0;
}
