# SPDX-License-Identifier: GPL-3.0-or-later
# What is installed and measured: optimised, no tests.
set(CMAKE_BUILD_TYPE Release CACHE STRING "")
set(GRADUS_TESTS OFF CACHE BOOL "")
