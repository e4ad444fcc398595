# SPDX-License-Identifier: GPL-3.0-or-later
# The thread sanitizer, for everything that runs more than one thread.
set(CMAKE_BUILD_TYPE RelWithDebInfo CACHE STRING "")
set(CMAKE_C_FLAGS_RELWITHDEBINFO "-O1 -g" CACHE STRING "")
set(GRADUS_WERROR ON CACHE BOOL "")
set(GRADUS_SANITIZE "thread" CACHE STRING "")
