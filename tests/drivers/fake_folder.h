/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A folder that stands for the root of the file system. */
#ifndef GRADUS_TESTS_DRIVERS_FAKE_FOLDER_H
#define GRADUS_TESTS_DRIVERS_FAKE_FOLDER_H

/* Makes an empty folder; returns its path, good until folder_end(). One at a time. */
const char *folder_begin(void);

/* Writes a file at `path` below it, with the folders it needs. */
void fake_file(const char *path, const char *text);

/* Makes a symbolic link at `path` below it, with the folders it needs. */
void fake_link(const char *path, const char *target);

/* Removes the folder and what is in it. */
void folder_end(void);

#endif
