/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The instruments of a settings file, and the profiles they name. */
#include "core/basics/nearest.h"
#include "drivers/basics/digest.h"
#include "settings_priv.h"

#include <dirent.h>
#include <errno.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/* An instrument as it is written. */
struct instrument_file {
    struct bench_instrument instrument;
    char profile[BENCH_NAME];
    char link[sizeof((struct link_spec *)NULL)->text];
};

#define FIELD(name) offsetof(struct instrument_file, name)

static const struct strict_key instrument_keys[] = {
    { .name = "name",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(instrument.name),
      .size = BENCH_NAME,
      .help = "what points call it" },
    { .name = "profile",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(profile),
      .size = BENCH_NAME,
      .help = "its type: the name of a file in the profiles' folder, or of one that came with "
              "gradusd, without .cfg" },
    { .name = "link",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(link),
      .size = sizeof((struct instrument_file *)NULL)->link,
      .help = "where it is: tcp:HOST:PORT, unix:/PATH, serial:/dev/NAME, "
              "serial:usb:VENDOR:PRODUCT[:SERIAL], usb:VENDOR:PRODUCT[:SERIAL] or "
              "usb:serial:SERIAL" },
    { .name = "calibration_due",
      .type = STRICT_TEXT,
      .offset = FIELD(instrument.calibration_due),
      .size = sizeof((struct bench_instrument *)NULL)->calibration_due,
      .help = "day its calibration is due, YYYY-MM-DD" },
    { .name = "certificate",
      .type = STRICT_TEXT,
      .offset = FIELD(instrument.certificate),
      .size = BENCH_NAME,
      .help = "number of its calibration certificate, for reports; default not stated" },
    { .name = "ambient_c",
      .type = STRICT_NUMBER,
      .offset = FIELD(instrument.ambient),
      .minimum = -40.0,
      .maximum = 85.0,
      .unit = "°C",
      .help = "temperature where it stands; default as for all" },
    { .name = "switched_inputs",
      .type = STRICT_LIST,
      .help = "numbers of the inputs with a scanner or multiplexer in front that brings each point "
              "to it by itself, so that points may share them; default none" },
    { .name = "inputs_per_card",
      .type = STRICT_INTEGER,
      .offset = FIELD(instrument.inputs_per_card),
      .minimum = 1,
      .maximum = PROFILE_INPUTS,
      .help = "how many neighbouring inputs share an input card, from input 1 on: what moves "
              "together on one in a burn-in is told as the card's; default the profile's" },
    { .name = "serial",
      .type = STRICT_GROUP,
      .help = "settings of a serial link; default the profile's" },
    { .name = NULL },
};

/* The name of a profile in the folder that is nearest to one that is not there. */
static bool suggest(const char *folder, const char *wanted, char guess[BENCH_NAME])
{
    struct nearest nearest = { 0 };
    struct dirent *entry;
    DIR *directory = opendir(folder);

    while (directory != NULL && (entry = readdir(directory)) != NULL) {
        size_t length = strlen(entry->d_name);
        char name[BENCH_NAME];
        if (length < 5 || length - 4 >= sizeof name ||
            strcmp(entry->d_name + length - 4, ".cfg") != 0)
            continue;
        memcpy(name, entry->d_name, length - 4);
        name[length - 4] = '\0';
        const char *before = nearest.word;
        size_t distance = nearest.distance;
        nearest_offer(&nearest, wanted, name);
        if (nearest.word != before || nearest.distance != distance) {
            memcpy(guess, name, length - 3);
            nearest.word = guess;
        }
    }
    if (directory != NULL)
        closedir(directory);
    return nearest.word != NULL;
}

static void no_such_profile(const struct settings *settings, const config_setting_t *at,
                            const char *name)
{
    char guess[BENCH_NAME];

    if (suggest(settings->folder, name, guess) || suggest(profile_folder(), name, guess)) {
        problems_at(settings->problems, at, "no profile \"%s\" in %s, expected perhaps \"%s\"",
                    name, settings->folder, guess);
    } else {
        problems_at(settings->problems, at, "no profile \"%s\" in %s, expected a file %s.cfg there",
                    name, settings->folder, name);
    }
}

static const struct profile *keep_profile(struct settings *settings, struct profile *profile)
{
    struct bench *bench = settings->bench;
    size_t size = (bench->profile_count + 1) * sizeof(struct profile *);
    struct profile **profiles = realloc(bench->profiles, size);

    if (profiles == NULL) {
        problems_at(settings->problems, settings->root, "no memory");
        profile_free(profile);
        return NULL;
    }
    bench->profiles = profiles;
    profiles[bench->profile_count++] = profile;
    return profile;
}

static const struct profile *load_profile(struct settings *settings, const config_setting_t *at,
                                          const char *name)
{
    char path[PATH_MAX];
    struct stat status;

    snprintf(path, sizeof path, "%s/%s.cfg", settings->folder, name);
    if (stat(path, &status) != 0 && errno == ENOENT) {
        snprintf(path, sizeof path, "%s/%s.cfg", profile_folder(), name);
        if (stat(path, &status) != 0) {
            no_such_profile(settings, at, name);
            return NULL;
        }
    }
    struct profile *profile = profile_load(path, settings->problems);
    return profile != NULL ? keep_profile(settings, profile) : NULL;
}

/* A profile is read once, however many instruments are of its type; so are its mistakes. */
static const struct profile *find_profile(struct settings *settings, size_t index,
                                          const config_setting_t *at, const char *name)
{
    snprintf(settings->profile_names[index], BENCH_NAME, "%s", name);
    for (size_t i = 0; i < index; i++)
        if (strcmp(settings->profile_names[i], name) == 0)
            return settings->bench->instruments[i].profile;
    return load_profile(settings, at, name);
}

static void read_link(struct settings *settings, const config_setting_t *group,
                      struct instrument_file *file)
{
    const struct profile *profile = file->instrument.profile;
    const config_setting_t *serial = strict_member(group, "serial");
    struct serial_line line = profile != NULL ? profile->line : serial_line_default();
    struct failure failure;

    failure_clear(&failure);
    if (serial != NULL && config_setting_is_group(serial))
        profile_serial(serial, &line, settings->problems);
    if (file->link[0] == '\0')
        return;
    if (!link_spec_parse(file->link, &line, &file->instrument.link, &failure)) {
        problems_at(settings->problems, strict_member(group, "link"), "%s, expected %s",
                    failure.what, failure.expected);
    } else if (serial != NULL && file->instrument.link.kind != LINK_SERIAL) {
        problems_at(settings->problems, serial,
                    "\"serial\" with link \"%s\", expected it with serial links only", file->link);
    }
}

static void read_switched(struct settings *settings, const config_setting_t *group,
                          struct bench_instrument *instrument)
{
    const config_setting_t *list = strict_list(group, "switched_inputs");
    int count = list != NULL ? config_setting_length(list) : 0;

    for (int i = 0; i < count; i++) {
        const config_setting_t *element = config_setting_get_elem(list, (unsigned)i);
        int input = config_setting_get_int(element);
        if (config_setting_type(element) == CONFIG_TYPE_INT && input >= 1 &&
            input <= PROFILE_INPUTS)
            instrument->switched |= UINT64_C(1) << (input - 1);
        else
            problems_at(settings->problems, element,
                        "an element of \"switched_inputs\" is not an input, expected 1 to %d",
                        PROFILE_INPUTS);
    }
}

static void read_card(struct settings *settings, const config_setting_t *group,
                      struct bench_instrument *instrument)
{
    int inputs = profile_inputs(instrument->profile);

    if (instrument->inputs_per_card == 0)
        instrument->inputs_per_card = instrument->profile->inputs_per_card;
    if (instrument->inputs_per_card > inputs) {
        problems_at(settings->problems, strict_member(group, "inputs_per_card"),
                    "\"inputs_per_card\" is %d, expected 1 to %d: instrument \"%s\" has no more",
                    instrument->inputs_per_card, inputs, instrument->name);
    }
}

/* What tells a reading's instrument from the same one set up otherwise. */
static void read_digest(struct bench_instrument *instrument)
{
    const struct serial_line *line = &instrument->link.line;
    char text[1024];
    int count =
        snprintf(text, sizeof text, "%s\n%s\n%.17g\n%s\n%d %d%c%d %d %d %d\n%s\n", instrument->name,
                 instrument->calibration_due, instrument->ambient, instrument->link.text,
                 line->baud, line->data_bits, line->parity, line->stop_bits, (int)line->flow,
                 line->dtr, line->rts, instrument->profile->digest);

    digest_bytes(text, count > 0 ? (size_t)count : 0, instrument->digest);
}

/* Names and links must differ from those of all instruments before. */
static void check_others(const struct settings *settings, const config_setting_t *list,
                         size_t index)
{
    const struct bench_instrument *all = settings->bench->instruments;
    const config_setting_t *group = config_setting_get_elem(list, (unsigned)index);

    for (size_t i = 0; i < index; i++) {
        const config_setting_t *first = config_setting_get_elem(list, (unsigned)i);
        if (all[index].name[0] != '\0' && strcmp(all[i].name, all[index].name) == 0)
            settings_duplicate(group, "instrument", all[i].name, first, settings->problems);
        if (all[index].link.text[0] != '\0' &&
            strcmp(all[i].link.text, all[index].link.text) == 0) {
            problems_at(settings->problems, group,
                        "link \"%s\" is taken, expected another one (the first is on line %d)",
                        all[i].link.text, strict_line(first));
        }
    }
}

static void read_instrument(struct settings *settings, const config_setting_t *list, size_t index)
{
    const config_setting_t *group = config_setting_get_elem(list, (unsigned)index);
    struct instrument_file file = { .instrument = { .ambient = settings->ambient } };

    strict_group(group, instrument_keys, &file, settings->problems);
    settings_name(group, "name", settings->problems);
    if (settings_name(group, "profile", settings->problems)) {
        file.instrument.profile =
            find_profile(settings, index, strict_member(group, "profile"), file.profile);
    }
    if (file.instrument.calibration_due[0] != '\0' &&
        !settings_is_date(file.instrument.calibration_due)) {
        problems_at(settings->problems, strict_member(group, "calibration_due"),
                    "\"calibration_due\" is \"%s\", expected a day as YYYY-MM-DD",
                    file.instrument.calibration_due);
    }
    read_link(settings, group, &file);
    read_switched(settings, group, &file.instrument);
    if (file.instrument.profile != NULL) {
        read_card(settings, group, &file.instrument);
        read_digest(&file.instrument);
    }
    settings->bench->instruments[index] = file.instrument;
    check_others(settings, list, index);
}

void settings_read_instruments(struct settings *settings)
{
    const config_setting_t *list = strict_list(settings->root, "instruments");
    size_t count = list != NULL ? (size_t)config_setting_length(list) : 0;

    if (list == NULL)
        return;
    settings->bench->instruments = calloc(count + 1, sizeof *settings->bench->instruments);
    settings->profile_names = calloc(count + 1, sizeof *settings->profile_names);
    if (settings->bench->instruments == NULL || settings->profile_names == NULL) {
        problems_at(settings->problems, list, "no memory");
        return;
    }
    settings->bench->instrument_count = count;
    for (size_t i = 0; i < count; i++)
        read_instrument(settings, list, i);
}

void settings_print_instrument_keys(FILE *out)
{
    fprintf(out, "instruments, each:\n");
    strict_print_keys(out, instrument_keys);
}
