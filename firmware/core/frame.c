#include "frame.h"

#include "bytes.h" /* bytes_get32 */
#include "crc.h"   /* crc_of, crc_wake */
#include "port.h"  /* port_send */

static struct {
    uint8_t bytes[FRAME_LARGEST];
    uint32_t size;
    uint32_t left; /* bytes before the next code byte */
    bool begun;
    bool failed; /* too long: the rest is skipped up to the next zero */
    uint32_t bad;
    uint8_t sent;
} wire;

/* Makes ready for the next frame. */
static void frame_begin(void)
{
    wire.size = 0;
    wire.left = 0;
    wire.begun = false;
    wire.failed = false;
}

void frame_wake(void)
{
    crc_wake();
    frame_begin();
    wire.bad = 0;
    wire.sent = 0;
}

/* Returns whether the bytes between two zeros were a frame, and fills it in. */
static bool frame_close(struct frame *frame)
{
    uint32_t size = wire.size;
    if (wire.failed || wire.left != 0 || size < FRAME_OVERHEAD) {
        return false;
    }
    if (crc_of(wire.bytes, size - 4u) != bytes_get32(wire.bytes + size - 4u)) {
        return false;
    }
    frame->type = wire.bytes[0];
    frame->seq = wire.bytes[1];
    frame->payload = wire.bytes + 2;
    frame->size = size - FRAME_OVERHEAD;
    return true;
}

/* Takes the code byte of a COBS group: the group before it ended in a zero of the frame, unless there was none. */
static void frame_group(uint8_t code)
{
    if (wire.begun) {
        if (wire.size < FRAME_LARGEST) {
            wire.bytes[wire.size++] = 0;
        } else {
            wire.failed = true;
        }
    }
    wire.begun = true;
    wire.left = code - 1u;
    if (wire.left > FRAME_LARGEST - wire.size) {
        wire.failed = true;
    }
}

/* Copies what there is of the group begun, up to a zero that should not be in it; returns the place behind it. */
static const uint8_t *frame_copy(const uint8_t *at, const uint8_t *end)
{
    uint8_t *out = wire.bytes + wire.size;
    uint8_t *room = wire.failed ? out : wire.bytes + FRAME_LARGEST;
    uint32_t left = wire.left;
    while (left > 0 && at < end && *at != 0) {
        if (out < room) {
            *out++ = *at;
        }
        at++;
        left--;
    }
    wire.size = (uint32_t)(out - wire.bytes);
    wire.left = left;
    return at;
}

bool frame_feed(const uint8_t **at, const uint8_t *end, struct frame *frame)
{
    while (*at < end) {
        *at = frame_copy(*at, end);
        if (*at == end) {
            return false;
        }
        uint8_t byte = *(*at)++;
        if (byte != 0) {
            frame_group(byte);
            continue;
        }
        bool good = frame_close(frame);
        if (wire.begun && !good) {
            wire.bad++;
        }
        frame_begin();
        if (good) {
            return true;
        }
    }
    return false;
}

uint32_t frame_bad(void)
{
    return wire.bad;
}

/* Encodes `size` bytes, at most FRAME_LARGEST, and the closing zero; returns the length. */
static uint32_t frame_stuff(const uint8_t *bytes, uint32_t size, uint8_t *out)
{
    uint8_t *code = out;
    uint8_t *at = out + 1;
    for (uint32_t i = 0; i < size; i++) {
        if (bytes[i] != 0) {
            *at++ = bytes[i];
        } else {
            *code = (uint8_t)(at - code);
            code = at++;
        }
    }
    *code = (uint8_t)(at - code);
    *at++ = 0;
    return (uint32_t)(at - out);
}

bool frame_send(uint8_t type, const uint8_t *payload, uint32_t size)
{
    uint8_t plain[FRAME_LARGEST];
    uint8_t stuffed[FRAME_WIRE_LARGEST];
    uint8_t *at = bytes_put8(plain, type);
    at = bytes_put8(at, wire.sent);
    for (uint32_t i = 0; i < size && i < FRAME_PAYLOAD_LARGEST; i++) {
        at = bytes_put8(at, payload[i]);
    }
    at = bytes_put32(at, crc_of(plain, (uint32_t)(at - plain)));
    if (!port_send(stuffed, frame_stuff(plain, (uint32_t)(at - plain), stuffed))) {
        return false;
    }
    wire.sent++;
    return true;
}
