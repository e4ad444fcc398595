/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "settings.h"

#include "drivers/basics/digest.h"
#include "drivers/cfg/slurp.h"
#include "settings_priv.h"

#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

/* What stands in the root itself. */
struct root_file {
    char profiles[256];
    double ambient;
    double loading_share;
    double lead_zero_s;
};

static const struct strict_key root_keys[] = {
    { .name = "server", .type = STRICT_GROUP, .help = "where clients connect" },
    { .name = "access", .type = STRICT_GROUP, .help = "who may do what; default see others" },
    { .name = "shop",
      .type = STRICT_GROUP,
      .help = "whose readings they are, for reports of jobs" },
    { .name = "store", .type = STRICT_GROUP, .help = "where readings are kept; default nowhere" },
    { .name = "profiles",
      .type = STRICT_TEXT,
      .offset = offsetof(struct root_file, profiles),
      .size = sizeof((struct root_file *)NULL)->profiles,
      .help = "folder of the shop's own profiles, relative to this file; those that came with "
              "gradusd are found without; default \"profiles\"" },
    { .name = "ambient_c",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct root_file, ambient),
      .minimum = -40.0,
      .maximum = 85.0,
      .unit = "°C",
      .help = "temperature where the instruments stand; default 23" },
    { .name = "loading_warning_percent",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct root_file, loading_share),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "% of the reading",
      .help = "loading above it is warned of, with the probe that would do better; default 1" },
    { .name = "lead_zero_s",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct root_file, lead_zero_s),
      .maximum = 31622400.0,
      .unit = "s",
      .help = "how long the zero of a resistance's leads (gradus zero) is used; default 28800" },
    { .name = "policy",
      .type = STRICT_GROUP,
      .help = "which mistakes block a reading, and which only warn" },
    { .name = "instruments",
      .type = STRICT_LIST,
      .required = true,
      .help = "one group an instrument; it may be empty, ( ), before there are any" },
    { .name = "probes", .type = STRICT_LIST, .help = "one group a probe; \"direct\" is built in" },
    { .name = "points",
      .type = STRICT_LIST,
      .required = true,
      .help = "one group a test point; it may be empty, ( ), for readings at once" },
    { .name = "burnin", .type = STRICT_LIST, .help = "one group a burn-in plan" },
    { .name = "sheets", .type = STRICT_LIST, .help = "one group a board that is walked by hand" },
    { .name = NULL },
};

#define SERVER(name) offsetof(struct bench_server, name)

/* Where the gradus command looks when nobody tells it otherwise. */
#define DEFAULT_SOCKET "/run/gradus/gradus.sock"

static const struct strict_key server_keys[] = {
    { .name = "unix",
      .type = STRICT_TEXT,
      .offset = SERVER(unix_path),
      .size = sizeof((struct bench_server *)NULL)->unix_path,
      .help = "path of the Unix socket, \"\" for none; default \"" DEFAULT_SOCKET "\"" },
    { .name = "tcp", .type = STRICT_GROUP, .help = "TCP socket; default none" },
    { .name = "line_limit",
      .type = STRICT_SIZE,
      .offset = SERVER(line_limit),
      .minimum = 1024,
      .maximum = 64 * 1024 * 1024,
      .unit = "bytes",
      .help = "longest request; default 1048576" },
    { .name = "clients",
      .type = STRICT_INTEGER,
      .offset = SERVER(clients),
      .minimum = 1,
      .maximum = 10000,
      .help =
          "most connections at a time, an eighth of them for the Unix socket only; default 64" },
    { .name = "quotas",
      .type = STRICT_GROUP,
      .help = "how much each user, token or certificate may use, over all its connections" },
    { .name = "quiet_s",
      .type = STRICT_NUMBER,
      .offset = SERVER(quiet_s),
      .minimum = 0.1,
      .maximum = 86400.0,
      .unit = "s",
      .help = "how long a connection may say nothing before it has to give way when there are too "
              "many, ten times as long while it follows or holds something; default 60" },
    { .name = "talk",
      .type = STRICT_BOOL,
      .offset = SERVER(talk),
      .help = "whether clients may send raw text to instruments; default false" },
    { .name = NULL },
};

static const struct strict_key quota_keys[] = {
    { .name = "connections",
      .type = STRICT_INTEGER,
      .offset = SERVER(quotas.connections),
      .minimum = 1,
      .maximum = 10000,
      .help = "most connections at a time; default half of server.clients" },
    { .name = "jobs",
      .type = STRICT_INTEGER,
      .offset = SERVER(quotas.jobs),
      .minimum = 1,
      .maximum = 100000,
      .help = "most measurements that are asked for and not answered; default 1024" },
    { .name = "questions",
      .type = STRICT_INTEGER,
      .offset = SERVER(quotas.questions),
      .minimum = 1,
      .maximum = 10000,
      .help = "most questions to the store that are not answered; default 64" },
    { .name = "loop_ms",
      .type = STRICT_NUMBER,
      .offset = SERVER(quotas.loop_ms),
      .minimum = 1.0,
      .maximum = 1000.0,
      .unit = "ms",
      .help = "time in each second that the daemon's one loop works for it, saved up for a second "
              "at most; when that is used up its requests are left unread for as long as it "
              "takes, and none is refused; default 500" },
    { .name = NULL },
};

#define BENCH(member) offsetof(struct bench, member)

static const struct strict_key tcp_keys[] = {
    { .name = "address",
      .type = STRICT_TEXT,
      .offset = BENCH(server.tcp_address),
      .size = sizeof((struct bench_server *)NULL)->tcp_address,
      .help = "address to listen on; default \"127.0.0.1\"" },
    { .name = "port",
      .type = STRICT_INTEGER,
      .required = true,
      .offset = BENCH(server.tcp_port),
      .minimum = 1,
      .maximum = 65535,
      .help = "port to listen on" },
    { .name = "certificate",
      .type = STRICT_TEXT,
      .offset = BENCH(access.tls.certificate),
      .size = TLS_PATH,
      .help = "the daemon's certificate and those that lead to its root, in PEM: /... or "
              "credential:NAME of the service manager; read again at SIGHUP; default none, and "
              "no TLS, which only an address of this machine alone may have" },
    { .name = "key",
      .type = STRICT_TEXT,
      .offset = BENCH(access.tls.key),
      .size = TLS_PATH,
      .help = "its private key in PEM, likewise" },
    { .name = "clients_ca",
      .type = STRICT_TEXT,
      .offset = BENCH(access.tls.clients_ca),
      .size = TLS_PATH,
      .help = "the authority that client certificates are from, in PEM, likewise; default none" },
    { .name = NULL },
};

static const struct strict_key shop_keys[] = {
    { .name = "name",
      .type = STRICT_TEXT,
      .required = true,
      .offset = offsetof(struct bench_shop, name),
      .size = BENCH_TEXT,
      .help = "of the shop" },
    { .name = "address",
      .type = STRICT_TEXT,
      .offset = offsetof(struct bench_shop, address),
      .size = BENCH_TEXT,
      .help = "of the shop; \\n begins a new line" },
    { .name = "logo",
      .type = STRICT_TEXT,
      .offset = offsetof(struct bench_shop, logo),
      .size = BENCH_TEXT,
      .help = "picture for the head of reports, a .png, .jpg or .svg that whoever makes the report "
              "can read" },
    { .name = NULL },
};

static void read_shop(struct settings *settings)
{
    const config_setting_t *group = strict_member(settings->root, "shop");

    if (group != NULL && config_setting_is_group(group))
        strict_group(group, shop_keys, &settings->bench->shop, settings->problems);
}

static void read_server(struct settings *settings)
{
    struct bench_server *server = &settings->bench->server;
    const config_setting_t *group = strict_member(settings->root, "server");

    *server = (struct bench_server) {
        .unix_path = DEFAULT_SOCKET,
        .line_limit = 1048576,
        .clients = 64,
        .quotas = { .connections = 32, .jobs = 1024, .questions = 64, .loop_ms = 500.0 },
        .quiet_s = 60.0
    };
    if (group == NULL || !config_setting_is_group(group))
        return;
    strict_group(group, server_keys, server, settings->problems);
    server->quotas.connections = server->clients > 1 ? server->clients / 2 : 1;
    const config_setting_t *quotas = strict_member(group, "quotas");
    if (quotas != NULL && config_setting_is_group(quotas))
        strict_group(quotas, quota_keys, server, settings->problems);
    if (server->unix_path[0] != '\0' && server->unix_path[0] != '/') {
        problems_at(settings->problems, strict_member(group, "unix"),
                    "\"unix\" is \"%s\", expected a path from the root, /...", server->unix_path);
    }
    const config_setting_t *tcp = strict_member(group, "tcp");
    if (tcp == NULL || !config_setting_is_group(tcp))
        return;
    snprintf(server->tcp_address, sizeof server->tcp_address, "127.0.0.1");
    strict_group(tcp, tcp_keys, settings->bench, settings->problems);
    if (server->tcp_address[0] == '\0')
        problems_at(settings->problems, tcp, "\"address\" is empty, expected an address");
}

/* Puts the folder of the settings file before a relative folder of profiles. */
static void read_folder(struct settings *settings, const char *written)
{
    const char *path = settings->bench->path;
    const char *slash = strrchr(path, '/');
    int own = written[0] == '/' || slash == NULL ? 0 : (int)(slash + 1 - path);
    int count = snprintf(settings->folder, sizeof settings->folder, "%.*s%s", own, path, written);

    if (count < 0 || (size_t)count >= sizeof settings->folder)
        problems_at(settings->problems, settings->root, "\"profiles\" is too long a path");
}

static void read_root(struct settings *settings)
{
    struct root_file file = {
        .profiles = "profiles", .ambient = 23.0, .loading_share = 0.01, .lead_zero_s = 28800.0
    };

    strict_group(settings->root, root_keys, &file, settings->problems);
    settings->ambient = file.ambient;
    read_folder(settings, file.profiles);
    settings->bench->loading_share = file.loading_share;
    settings->bench->lead_zero_s = file.lead_zero_s;
    read_server(settings);
    settings_read_access(settings);
    settings_read_policy(settings);
    settings_read_store(settings);
    read_shop(settings);
    settings_read_instruments(settings);
    settings_read_probes(settings);
    settings_read_points(settings);
    settings_read_burnins(settings);
    settings_read_sheets(settings);
}

/*
 * The text a digest is of, as it goes into the store: the settings, then each
 * profile under a line that names it.
 */
static bool read_text(struct bench *bench, const char *text)
{
    size_t length = 0;
    FILE *whole = open_memstream(&bench->text, &length);

    if (whole == NULL)
        return false;
    fputs(text, whole);
    for (size_t i = 0; i < bench->profile_count; i++)
        fprintf(whole, "\n# profile %s\n%s", bench->profiles[i]->name, bench->profiles[i]->text);
    if (fclose(whole) != 0)
        return false;
    digest_bytes(bench->text, length, bench->digest);
    return true;
}

static struct bench *bench_new(const char *path)
{
    struct bench *bench = calloc(1, sizeof *bench);

    if (bench != NULL) {
        atomic_init(&bench->references, 1);
        strncpy(bench->path, path, sizeof bench->path - 1);
    }
    return bench;
}

struct bench *settings_read(const char *text, size_t length, const char *path,
                            struct problems *problems)
{
    size_t before = problems->total;
    struct bench *bench = strlen(path) < sizeof bench->path ? bench_new(path) : NULL;
    config_t config;

    if (bench == NULL) {
        problems_add(problems, path, 0, "no memory, or too long a path");
        return NULL;
    }
    config_init(&config);
    if (strict_read_text(&config, text, length, path, problems)) {
        struct settings settings = { .root = config_root_setting(&config),
                                     .bench = bench,
                                     .problems = problems };
        read_root(&settings);
        free(settings.profile_names);
        if (problems->total == before &&
            (!bench_index(bench) || !read_text(bench, strict_text(&config))))
            problems_add(problems, path, 0, "no memory");
    }
    config_destroy(&config);
    if (problems->total > before) {
        bench_unref(bench);
        return NULL;
    }
    return bench;
}

struct bench *settings_load(const char *path, struct problems *problems)
{
    size_t length = 0;
    char *text = slurp(path, &length, NULL, 0, problems);

    if (text == NULL)
        return NULL;
    struct bench *bench = settings_read(text, length, path, problems);
    free(text);
    return bench;
}

void settings_print_keys(FILE *out)
{
    fprintf(out, "settings:\n");
    strict_print_keys(out, root_keys);
    fprintf(out, "server:\n");
    strict_print_keys(out, server_keys);
    fprintf(out, "server.quotas:\n");
    strict_print_keys(out, quota_keys);
    fprintf(out, "server.tcp:\n");
    strict_print_keys(out, tcp_keys);
    settings_print_access_keys(out);
    settings_print_policy_keys(out);
    settings_print_store_keys(out);
    fprintf(out, "shop:\n");
    strict_print_keys(out, shop_keys);
    settings_print_instrument_keys(out);
    settings_print_probe_keys(out);
    settings_print_point_keys(out);
    settings_print_burnin_keys(out);
    settings_print_sheet_keys(out);
}
