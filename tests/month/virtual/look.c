/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The disk that fails when the page says so, in place before main(), and memory in use. */
#include "clock.h"
#include "tests/daemon/store/failing_disk.h"

#include <malloc.h>
#include <stddef.h>
#include <stdlib.h>

/* There with the address sanitizer, whose own memory grows with all that ever was. */
size_t __sanitizer_get_current_allocated_bytes(void) __attribute__((weak));

static size_t heap(void)
{
    struct mallinfo2 plain = mallinfo2();
    return __sanitizer_get_current_allocated_bytes != NULL
               ? __sanitizer_get_current_allocated_bytes()
               : plain.uordblks + plain.hblkhd;
}

void virtual_look(void)
{
    struct virtual_page *page = virtual_page();
    failing_write = (int)page->disk;
    page->heap = (int64_t)heap();
}

__attribute__((constructor)) static void begin(void)
{
    if (!failing_disk_install())
        abort();
}
