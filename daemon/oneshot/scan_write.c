/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scan_write.h"

#include "scan_print.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

static const char usual_settings[] = "/etc/gradus/gradus.cfg";
static const char usual_store[] = "/var/lib/gradus/readings.db";

static bool cannot(const char *path, struct failure *failure)
{
    return failure_set(failure, FAILURE_SYSTEM, NULL, NULL, "%.120s: %s", path, strerror(errno));
}

/* The folder of a path as it is from the root, and the name in it. */
static bool split(const char *path, char folder[PATH_MAX], const char **name,
                  struct failure *failure)
{
    const char *slash = strrchr(path, '/');
    char given[PATH_MAX];
    int length = slash == NULL   ? snprintf(given, sizeof given, ".")
                 : slash == path ? snprintf(given, sizeof given, "/")
                                 : snprintf(given, sizeof given, "%.*s", (int)(slash - path), path);

    *name = slash != NULL ? slash + 1 : path;
    if (length < 0 || (size_t)length >= sizeof given || (*name)[0] == '\0')
        return failure_set(failure, FAILURE_SETTINGS, NULL, "the name of a file",
                           "\"%.120s\" is not a file that can be written", path);
    return realpath(given, folder) != NULL || cannot(given, failure);
}

/* What belongs to the settings stands beside them: "shop.cfg" has "shop.sock" and "shop.db". */
static bool beside(const char *folder, const char *name, const char *ending, char *path,
                   struct failure *failure)
{
    const char *dot = strrchr(name, '.');
    size_t stem = dot != NULL && dot != name ? (size_t)(dot - name) : strlen(name);
    int length = snprintf(path, SCAN_WRITE_PATH, "%s/%.*s%s",
                          strcmp(folder, "/") == 0 ? "" : folder, (int)stem, name, ending);

    return (length > 0 && length < SCAN_WRITE_PATH && strcspn(path, "\"\\") == (size_t)length) ||
           failure_set(failure, FAILURE_SETTINGS, NULL, "a shorter one, without quotes",
                       "the path of the file is too long or holds a quote");
}

bool scan_places_find(const char *path, const char *profiles, struct scan_places *places,
                      struct failure *failure)
{
    char folder[PATH_MAX];
    const char *name;
    struct stat status;

    *places = (struct scan_places) { .unix_path = "" };
    if (!split(path, folder, &name, failure) ||
        !beside(folder, name, strrchr(name, '.') != NULL ? strrchr(name, '.') : "",
                places->settings, failure) ||
        !beside(folder, name, ".sock", places->unix_path, failure) ||
        !beside(folder, name, ".db", places->store, failure))
        return false;
    if (lstat(places->settings, &status) == 0)
        return failure_set(failure, FAILURE_SETTINGS, NULL, "the name of a new file",
                           "%.120s is there already and is left as it is", places->settings);
    if (realpath(profiles, places->profiles) == NULL)
        return cannot(profiles, failure);
    if (strcmp(places->settings, usual_settings) == 0) {
        places->unix_path[0] = '\0';
        snprintf(places->store, sizeof places->store, "%s", usual_store);
    }
    return strlen(places->unix_path) < sizeof((struct sockaddr_un *)NULL)->sun_path ||
           failure_set(failure, FAILURE_SETTINGS, NULL, "a folder nearer to the root",
                       "the socket beside the file would have too long a path");
}

/* Whether it goes into the file as an instrument. */
static bool is_usable(const struct finding *finding)
{
    return finding->link[0] != '\0' && finding->profile != NULL &&
           !profile_fits_anybody(finding->profile);
}

size_t scan_write_count(const struct finding *findings, size_t count)
{
    size_t usable = 0;

    for (size_t i = 0; i < count; i++)
        usable += is_usable(&findings[i]) ? 1 : 0;
    return usable;
}

static void write_head(FILE *out, const struct scan_places *places)
{
    fprintf(out,
            "# Settings of gradusd, written by gradus instruments --scan --write.\n"
            "# gradusd --settings %s starts with it as it is.\n"
            "# gradus check FILE finds mistakes in it, gradusd --keys says what else can stand "
            "here.\n\n",
            places->settings);
    if (places->unix_path[0] != '\0')
        fprintf(
            out,
            "# Where clients connect: beside this file, so that no rights are needed elsewhere.\n"
            "# gradus finds it with --socket unix:%s or GRADUS_SOCKET.\n"
            "server = { unix = \"%s\"; };\n\n",
            places->unix_path, places->unix_path);
    fprintf(out,
            "# Every reading is kept here, with its uncertainty and what it rests on.\n"
            "store = { path = \"%s\"; };\n\n"
            "# The profiles that the identities were compared with.\n"
            "profiles = \"%s\";\n\n",
            places->store, places->profiles);
}

/* Where a finding is, for a comment. */
static const char *place_of(const struct finding *finding)
{
    return finding->device != NULL && finding->device->node[0] != '\0' ? finding->device->node
                                                                       : finding->link;
}

/* Text from outside in a comment: nothing in it may end the line. */
static void put_comment(FILE *out, const char *text)
{
    for (; *text != '\0'; text++)
        fputc((unsigned char)*text < ' ' || *text == 0x7f ? '?' : *text, out);
}

static void write_instruments(FILE *out, const struct finding *findings, size_t count)
{
    size_t left = scan_write_count(findings, count);

    fputs("instruments = (\n", out);
    for (size_t i = 0; i < count; i++) {
        if (!is_usable(&findings[i]))
            continue;
        fputs("    # ", out);
        put_comment(out, place_of(&findings[i]));
        fputs(" said that it is ", out);
        put_comment(out, findings[i].identity);
        fprintf(out, ",\n    # which the profile %s was made for.\n", findings[i].profile->name);
        scan_print_stanza(out, findings, i, --left > 0);
    }
    fputs(");\n\n", out);
}

/* Why a finding is not among the instruments. */
static void write_reason(FILE *out, const struct finding *finding)
{
    char text[600];
    struct failure failure = finding->failure;

    failure.where[0] = '\0';
    if (failure.code != FAILURE_NONE) {
        put_comment(out, failure_text(&failure, text, sizeof text));
    } else if (finding->identity[0] == '\0') {
        fputs("not asked who it is; nothing is sent to what --identify does not name", out);
    } else {
        fputs("said that it is ", out);
        put_comment(out, finding->identity);
        fputs(", which no profile was made for: copy a generic one and complete it", out);
    }
}

static void write_others(FILE *out, const struct finding *findings, size_t count)
{
    if (scan_write_count(findings, count) < count)
        fputs("# Found as well, and not taken:\n", out);
    for (size_t i = 0; i < count; i++) {
        if (is_usable(&findings[i]))
            continue;
        fputs("#   ", out);
        put_comment(out, place_of(&findings[i]));
        fputs(": ", out);
        write_reason(out, &findings[i]);
        fputc('\n', out);
    }
}

static void write_tail(FILE *out)
{
    fputs(
        "\n# What is between a test point and an input, beside a plain connection (\"direct\"):\n"
        "#   probes = (\n"
        "#       { name = \"x10\"; factor = 10.0; tolerance_percent = 1.0; tip_resistance = 10e6;\n"
        "#         resistance_tolerance_percent = 1.0; load_resistance = 1e6; rating = 300.0; }\n"
        "#   );\n"
        "# Points that are measured again and again have a name and limits:\n"
        "points = (\n"
        "    # { name = \"rail_5v\"; instrument = \"NAME\"; input = 1; quantity = \"dc voltage\";\n"
        "    #   probe = \"direct\"; expected = 5.0; limits = { low = 4.75; high = 5.25; }; }\n"
        ");\n",
        out);
}

bool scan_write(const struct scan_places *places, const struct finding *findings, size_t count,
                struct failure *failure)
{
    int file = open(places->settings, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0644);
    FILE *out = file >= 0 ? fdopen(file, "w") : NULL;

    if (out == NULL)
        return cannot(places->settings, failure);
    write_head(out, places);
    write_instruments(out, findings, count);
    write_others(out, findings, count);
    write_tail(out);
    bool written = ferror(out) == 0;
    written = fclose(out) == 0 && written;
    if (written)
        return true;
    cannot(places->settings, failure);
    unlink(places->settings);
    return false;
}

void scan_write_tell(FILE *out, const struct scan_places *places, const struct finding *findings,
                     size_t count)
{
    size_t first = 0;
    char name[64];

    while (first < count && !is_usable(&findings[first]))
        first++;
    finding_name(findings, first, name, sizeof name);
    const struct profile *profile = findings[first].profile;
    enum quantity quantity =
        profile->kind == PROFILE_METER ? profile->functions[0].quantity : QUANTITY_DC_VOLTAGE;
    fprintf(out,
            "\n%s: %zu of %zu found are its instruments. A reading of the first one's input 1:\n"
            "    gradus read --settings %s %s 1 \"%s\"\n",
            places->settings, scan_write_count(findings, count), count, places->settings, name,
            quantity_name(quantity));
}
