# SPDX-License-Identifier: GPL-3.0-or-later
# The test build: address and undefined-behaviour sanitizers, every warning an error.
set(CMAKE_BUILD_TYPE RelWithDebInfo CACHE STRING "")
set(CMAKE_C_FLAGS_RELWITHDEBINFO "-O1 -g" CACHE STRING "")
set(GRADUS_WERROR ON CACHE BOOL "")
set(GRADUS_SANITIZE "address,undefined,float-cast-overflow" CACHE STRING "")
