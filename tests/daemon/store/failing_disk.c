/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "failing_disk.h"

#include <sqlite3.h>
#include <stddef.h>
#include <string.h>

_Atomic int failing_write, failing_sync, failing_open, sync_count;

/* A file of the usual file system behind one of ours. */
struct file {
    sqlite3_file base;
    sqlite3_file *real;
};

static sqlite3_vfs *usual;

static sqlite3_file *real_of(sqlite3_file *file)
{
    return ((struct file *)(void *)file)->real;
}

static int do_write(sqlite3_file *file, const void *bytes, int count, sqlite3_int64 place)
{
    int code = failing_write;
    return code != 0 ? code : real_of(file)->pMethods->xWrite(real_of(file), bytes, count, place);
}

static int do_sync(sqlite3_file *file, int flags)
{
    int code = failing_sync;
    sync_count++;
    return code != 0 ? code : real_of(file)->pMethods->xSync(real_of(file), flags);
}

#define PASS(name, parameters, ...)                                                                \
    static int do_##name parameters                                                                \
    {                                                                                              \
        return real_of(file)->pMethods->x##name(real_of(file), __VA_ARGS__);                       \
    }
#define PASS_BARE(name)                                                                            \
    static int do_##name(sqlite3_file *file)                                                       \
    {                                                                                              \
        return real_of(file)->pMethods->x##name(real_of(file));                                    \
    }

PASS(Read, (sqlite3_file * file, void *bytes, int count, sqlite3_int64 place), bytes, count, place)
PASS(Truncate, (sqlite3_file * file, sqlite3_int64 size), size)
PASS(FileSize, (sqlite3_file * file, sqlite3_int64 *size), size)
PASS(Lock, (sqlite3_file * file, int level), level)
PASS(Unlock, (sqlite3_file * file, int level), level)
PASS(CheckReservedLock, (sqlite3_file * file, int *out), out)
PASS(FileControl, (sqlite3_file * file, int operation, void *argument), operation, argument)
PASS_BARE(Close)
PASS_BARE(SectorSize)
PASS_BARE(DeviceCharacteristics)
PASS(ShmMap, (sqlite3_file * file, int page, int size, int extend, void volatile **out), page, size,
     extend, out)
PASS(ShmLock, (sqlite3_file * file, int offset, int count, int flags), offset, count, flags)
PASS(ShmUnmap, (sqlite3_file * file, int remove), remove)

static void do_ShmBarrier(sqlite3_file *file)
{
    real_of(file)->pMethods->xShmBarrier(real_of(file));
}

static const sqlite3_io_methods methods = {
    .iVersion = 2,
    .xClose = do_Close,
    .xRead = do_Read,
    .xWrite = do_write,
    .xTruncate = do_Truncate,
    .xSync = do_sync,
    .xFileSize = do_FileSize,
    .xLock = do_Lock,
    .xUnlock = do_Unlock,
    .xCheckReservedLock = do_CheckReservedLock,
    .xFileControl = do_FileControl,
    .xSectorSize = do_SectorSize,
    .xDeviceCharacteristics = do_DeviceCharacteristics,
    .xShmMap = do_ShmMap,
    .xShmLock = do_ShmLock,
    .xShmBarrier = do_ShmBarrier,
    .xShmUnmap = do_ShmUnmap,
};

static int do_open(sqlite3_vfs *vfs, const char *name, sqlite3_file *opened, int flags, int *out)
{
    struct file *file = (struct file *)(void *)opened;
    int code = failing_open;
    (void)vfs;
    file->base.pMethods = NULL;
    if (code != 0)
        return code;
    file->real = (sqlite3_file *)(file + 1);
    code = usual->xOpen(usual, name, file->real, flags, out);
    if (file->real->pMethods != NULL)
        file->base.pMethods = &methods;
    return code;
}

bool failing_disk_install(void)
{
    static sqlite3_vfs vfs;
    if (usual != NULL)
        return true;
    usual = sqlite3_vfs_find(NULL);
    if (usual == NULL)
        return false;
    vfs = *usual;
    vfs.zName = "failing disk";
    vfs.szOsFile = (int)sizeof(struct file) + usual->szOsFile;
    vfs.xOpen = do_open;
    return sqlite3_vfs_register(&vfs, 1) == SQLITE_OK;
}
