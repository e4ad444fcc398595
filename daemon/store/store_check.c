/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_check.h"

#include "store_verify.h"

/* Rows that a verification goes on by before other questions have their turn. */
enum { STRIDE = 2000 };

struct store_check {
    struct store_query query;
    struct store_verify walk; /* how far it has come */
};

static void encode_verification(struct text *text, const struct store_verify *verify)
{
    char hexadecimal[2 * CHAIN_SIZE + 1];
    text_open(text, '{');
    text_member_bool(text, "intact", verify->what[0] == '\0');
    text_member_integer(text, "readings", (int64_t)verify->readings);
    text_member_integer(text, "events", (int64_t)verify->events);
    text_member_integer(text, "removed", (int64_t)verify->removed);
    text_member_integer(text, "last", verify->last);
    text_member_string(text, "digest", anchor_hex(verify->digest, hexadecimal));
    text_member_integer(text, "missing", (int64_t)verify->missing);
    text_member_integer(text, "anchors", (int64_t)verify->anchors.lines);
    if (verify->what[0] != '\0') {
        text_member_integer(text, "first_bad", verify->first_bad);
        text_member_string(text, "what", verify->what);
    }
    text_close(text, '}');
}

static bool check(struct store_query *query, const struct store_look *look, bool *ended)
{
    struct store_verify *walk = &((struct store_check *)query)->walk;
    bool read = store_verify_walk(walk, look->sqlite, STRIDE, &query->failure);
    *ended = !read || walk->ended;
    if (read && *ended)
        encode_verification(&query->text, walk);
    return read;
}

struct store_query *store_check_new(const struct anchor_key *key)
{
    struct store_check *asked = store_query_new(sizeof *asked, check);
    if (asked == NULL)
        return NULL;
    asked->walk.key = key;
    return &asked->query;
}
