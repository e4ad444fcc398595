/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef GRADUS_DAEMON_VERSION_H
#define GRADUS_DAEMON_VERSION_H

#define GRADUS_VERSION "0.1.0"

#endif
