# SPDX-License-Identifier: GPL-3.0-or-later
# Coverage-guided fuzzing of everything that reads bytes from outside.
set(CMAKE_C_COMPILER clang CACHE STRING "")
set(CMAKE_BUILD_TYPE RelWithDebInfo CACHE STRING "")
set(CMAKE_C_FLAGS_RELWITHDEBINFO "-O1 -g" CACHE STRING "")
set(GRADUS_WERROR ON CACHE BOOL "")
set(GRADUS_SANITIZE "fuzzer-no-link,address,undefined" CACHE STRING "")
set(GRADUS_TESTS OFF CACHE BOOL "")
set(GRADUS_FUZZ ON CACHE BOOL "")
