/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A long block over USB: the driver against bare libusb transfers of the same
 * size to the same device in turns, each side taking the device for itself.
 */
#ifndef GRADUS_TOOLS_BENCHMARK_BLOCK_H
#define GRADUS_TOOLS_BENCHMARK_BLOCK_H

/*
 * Prints its line.
 *
 * link   of the device: usb:VVVV:PPPP
 * setup  command after which `query` gives a block, the same one each time
 * query  command
 */
void benchmark_block(const char *link, const char *setup, const char *query);

#endif
