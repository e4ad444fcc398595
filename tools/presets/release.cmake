# SPDX-License-Identifier: GPL-3.0-or-later
# What is installed and measured: optimised, no tests, hardened as Debian hardens its packages
# (dpkg-buildflags(1), hardening=+all: the feature areas and their flags), and by what it leaves to the
# compiler's own choice, shadow stacks and indirect branch targets.
set(CMAKE_BUILD_TYPE Release CACHE STRING "")
set(CMAKE_C_FLAGS_RELEASE "-O3 -DNDEBUG -D_FORTIFY_SOURCE=2 -fstack-protector-strong \
-fstack-clash-protection -fcf-protection -fPIE" CACHE STRING "")
set(CMAKE_EXE_LINKER_FLAGS_RELEASE "-pie -Wl,-z,relro -Wl,-z,now" CACHE STRING "")
set(GRADUS_TESTS OFF CACHE BOOL "")
