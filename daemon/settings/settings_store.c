/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where readings are kept, and for how long. */
#include "settings_priv.h"

#include <string.h>

#define STORE(name) offsetof(struct bench_store, name)

/* A century: what is to be kept longer is kept for ever. */
#define DAYS_MOST 36525

static const char suffix[] = ".db";

static const struct strict_key store_keys[] = {
    { .name = "path",
      .type = STRICT_TEXT,
      .required = true,
      .offset = STORE(path),
      .size = sizeof((struct bench_store *)NULL)->path,
      .help = "the database, /... .db; made when it is not there" },
    { .name = "hold",
      .type = STRICT_SIZE,
      .offset = STORE(hold),
      .minimum = 1,
      .maximum = 1000000,
      .help = "most readings kept in memory, about 5 kB each, while the database cannot be "
              "written; default 10000" },
    { .name = "keep_all_days",
      .type = STRICT_NUMBER,
      .offset = STORE(keep_all_days),
      .minimum = 0.01,
      .maximum = DAYS_MOST,
      .unit = "days",
      .help = "how long every reading is kept; default as long as retention_days" },
    { .name = "summary_s",
      .type = STRICT_NUMBER,
      .offset = STORE(summary_s),
      .minimum = 1,
      .maximum = 86400,
      .unit = "s",
      .help = "after keep_all_days one summary of each point and interval of this length is kept: "
              "count, mean, minimum, maximum; default none" },
    { .name = "retention_days",
      .type = STRICT_NUMBER,
      .offset = STORE(retention_days),
      .minimum = 0.01,
      .maximum = DAYS_MOST,
      .unit = "days",
      .help = "how long anything is kept, summaries included; default for ever" },
    { .name = "ask_percent",
      .type = STRICT_NUMBER,
      .offset = STORE(ask_percent),
      .minimum = 0,
      .maximum = 100,
      .help = "when more than this share of all is past its time at a start, or after the clock "
              "was set, it is removed only once an administrator has said so (gradus prune); "
              "default 20" },
    { .name = "trust_clock",
      .type = STRICT_BOOL,
      .offset = STORE(trust_clock),
      .help = "remove what is past its time although the kernel does not say that a time server "
              "keeps the clock right; default false: it waits until that is so" },
    { .name = "anchor_s",
      .type = STRICT_NUMBER,
      .offset = STORE(anchor_s),
      .minimum = 0,
      .maximum = 86400,
      .unit = "s",
      .help =
          "how often at most the newest row is named in the file PATH.anchors, by which a "
          "database that was cut short or replaced is known; 0: after each commit; default 60" },
    { .name = "anchor_key",
      .type = STRICT_TEXT,
      .offset = STORE(anchor_key),
      .size = sizeof((struct bench_store *)NULL)->anchor_key,
      .help = "a file of 16 to 4096 bytes that others cannot read: the key of an HMAC-SHA-256 "
              "behind each anchor, so that nobody without it can make one" },
    { .name = NULL },
};

static void check_path(struct settings *settings, const config_setting_t *group)
{
    const char *path = settings->bench->store.path;
    const config_setting_t *member = strict_member(group, "path");
    size_t length = strlen(path);

    if (member == NULL || config_setting_get_string(member) == NULL ||
        strlen(config_setting_get_string(member)) != length)
        return; /* has been noted */
    if (path[0] != '/' || length <= sizeof suffix ||
        strcmp(path + length - (sizeof suffix - 1), suffix) != 0) {
        problems_at(settings->problems, member,
                    "\"path\" is \"%s\", expected a path from the root that ends in %s", path,
                    suffix);
    }
}

static void check_times(struct settings *settings, const config_setting_t *group)
{
    const struct bench_store *store = &settings->bench->store;

    if (store->keep_all_days > 0 && store->retention_days > 0 &&
        store->keep_all_days > store->retention_days) {
        problems_at(settings->problems, strict_member(group, "keep_all_days"),
                    "\"keep_all_days\" is %g, expected at most \"retention_days\", %g",
                    store->keep_all_days, store->retention_days);
    }
    if (store->summary_s > 0 && strict_member(group, "keep_all_days") == NULL) {
        problems_at(settings->problems, strict_member(group, "summary_s"),
                    "\"summary_s\" without \"keep_all_days\", expected both");
    }
}

void settings_read_store(struct settings *settings)
{
    struct bench_store *store = &settings->bench->store;
    const config_setting_t *group = strict_member(settings->root, "store");

    if (group == NULL || !config_setting_is_group(group))
        return;
    store->hold = 10000;
    store->ask_percent = 20;
    store->anchor_s = 60;
    strict_group(group, store_keys, store, settings->problems);
    check_path(settings, group);
    check_times(settings, group);
}

void settings_print_store_keys(FILE *out)
{
    fprintf(out, "store:\n");
    strict_print_keys(out, store_keys);
}
