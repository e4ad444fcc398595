/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "usbtmc_message.h"

#include <string.h>

/* MsgIDs; the request for an answer and the answer have the same. */
enum { MESSAGE_OUT = 1, MESSAGE_IN = 2 };

/* Bits of bmTransferAttributes. */
enum { END_OF_MESSAGE = 0x01, TERM_CHAR = 0x02, KNOWN_ATTRIBUTES = 0x03 };

/* Device to host, class, to an interface or an endpoint. */
enum { TO_INTERFACE = 0xa1, TO_ENDPOINT = 0xa2 };

static const struct {
    uint8_t type;
    uint8_t request;
    uint16_t length;
} controls[USBTMC_CONTROLS] = {
    [USBTMC_INITIATE_ABORT_OUT] = { TO_ENDPOINT, 1, 2 },
    [USBTMC_CHECK_ABORT_OUT] = { TO_ENDPOINT, 2, 8 },
    [USBTMC_INITIATE_ABORT_IN] = { TO_ENDPOINT, 3, 2 },
    [USBTMC_CHECK_ABORT_IN] = { TO_ENDPOINT, 4, 8 },
    [USBTMC_INITIATE_CLEAR] = { TO_INTERFACE, 5, 1 },
    [USBTMC_CHECK_CLEAR] = { TO_INTERFACE, 6, 2 },
    [USBTMC_GET_CAPABILITIES] = { TO_INTERFACE, 7, 24 },
    [USBTMC_REN_CONTROL] = { TO_INTERFACE, 160, 1 },
    [USBTMC_GO_TO_LOCAL] = { TO_INTERFACE, 161, 1 },
};

uint8_t usbtmc_next_tag(uint8_t tag)
{
    return tag == UINT8_MAX ? 1 : (uint8_t)(tag + 1);
}

size_t usbtmc_out_length(size_t count)
{
    return (USBTMC_HEADER + count + USBTMC_ALIGNMENT - 1) / USBTMC_ALIGNMENT * USBTMC_ALIGNMENT;
}

/* What all headers have: MsgID, tag, its complement, and a size with the least byte first. */
static void put_header(unsigned char *header, uint8_t message, uint8_t tag, uint32_t size)
{
    memset(header, 0, USBTMC_HEADER);
    header[0] = message;
    header[1] = tag;
    header[2] = (unsigned char)~tag;
    for (int i = 0; i < 4; i++)
        header[4 + i] = (unsigned char)(size >> (8 * i));
}

void usbtmc_out_header(unsigned char header[USBTMC_HEADER], uint8_t tag, uint32_t count, bool end)
{
    put_header(header, MESSAGE_OUT, tag, count);
    header[8] = end ? END_OF_MESSAGE : 0;
}

void usbtmc_in_request(unsigned char header[USBTMC_HEADER], const struct usbtmc_request *request)
{
    put_header(header, MESSAGE_IN, request->tag, request->size);
    if (request->term_char == USBTMC_NO_TERM_CHAR)
        return;
    header[8] = TERM_CHAR;
    header[9] = (unsigned char)request->term_char;
}

static bool unexpected(struct failure *failure, const char *expected, const char *what,
                       unsigned long got, unsigned long wanted)
{
    return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, expected,
                       "USB answer has %s %lu instead of %lu", what, got, wanted);
}

static bool check_identification(const unsigned char *bytes, const struct usbtmc_request *request,
                                 struct failure *failure)
{
    if (bytes[0] != MESSAGE_IN)
        return unexpected(failure, NULL, "message type", bytes[0], MESSAGE_IN);
    if ((bytes[1] ^ bytes[2]) != UINT8_MAX)
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, NULL,
                           "USB answer is damaged: tag %02X with complement %02X", bytes[1],
                           bytes[2]);
    if (bytes[1] != request->tag || bytes[1] == 0)
        return unexpected(failure, "the answer to this request, not to another", "tag", bytes[1],
                          request->tag);
    return true;
}

bool usbtmc_in_header(const unsigned char *bytes, size_t count,
                      const struct usbtmc_request *request, struct usbtmc_answer *answer,
                      struct failure *failure)
{
    uint32_t size = 0;

    if (count < USBTMC_HEADER)
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "a header of 12 bytes",
                           "USB answer of %zu bytes", count);
    if (!check_identification(bytes, request, failure))
        return false;
    for (int i = 3; i >= 0; i--)
        size = size << 8 | bytes[4 + i];
    if (size == 0 || size > request->size)
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, NULL,
                           "USB answer announces %lu bytes where 1 to %lu were asked for",
                           (unsigned long)size, (unsigned long)request->size);
    if (bytes[8] & ~KNOWN_ATTRIBUTES)
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "reserved bits to be 0",
                           "USB answer has attributes %02X", bytes[8]);
    if ((bytes[8] & TERM_CHAR) && request->term_char == USBTMC_NO_TERM_CHAR)
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, NULL,
                           "USB answer ends on a character that was not asked for");
    *answer = (struct usbtmc_answer) { .size = size,
                                       .end = bytes[8] & END_OF_MESSAGE,
                                       .term_char_matched = bytes[8] & TERM_CHAR };
    return true;
}

struct usb_setup usbtmc_setup(enum usbtmc_control control, uint8_t value, uint8_t index)
{
    return (struct usb_setup) { .type = controls[control].type,
                                .request = controls[control].request,
                                .value = value,
                                .index = index,
                                .length = controls[control].length };
}

bool usbtmc_read_capabilities(const unsigned char *bytes, size_t count,
                              struct usbtmc_capabilities *capabilities)
{
    *capabilities = (struct usbtmc_capabilities) { 0 };
    if (count < USBTMC_LONGEST_REPLY || bytes[0] != USBTMC_SUCCESS)
        return false;
    *capabilities = (struct usbtmc_capabilities) { .indicator_pulse = bytes[4] & 4,
                                                   .talk_only = bytes[4] & 2,
                                                   .listen_only = bytes[4] & 1,
                                                   .term_char = bytes[5] & 1,
                                                   .is_488_2 = bytes[14] & 4,
                                                   .ren_control = bytes[14] & 2,
                                                   .trigger = bytes[14] & 1,
                                                   .scpi = bytes[15] & 8,
                                                   .sr1 = bytes[15] & 4,
                                                   .rl1 = bytes[15] & 2,
                                                   .dt1 = bytes[15] & 1 };
    return true;
}

enum usbtmc_progress usbtmc_read_progress(enum usbtmc_control control, const unsigned char *bytes,
                                          size_t count)
{
    bool may_drain = control == USBTMC_CHECK_CLEAR || control == USBTMC_CHECK_ABORT_IN;

    if (count >= 1 && bytes[0] == USBTMC_SUCCESS)
        return USBTMC_DONE;
    if (count < 1 || bytes[0] != USBTMC_PENDING)
        return USBTMC_REFUSED;
    return may_drain && count >= 2 && (bytes[1] & 1) ? USBTMC_DRAIN : USBTMC_WAIT;
}
