/* Frames: COBS( type, seq, payload, CRC-32 ) and a zero byte, PROTOCOL.md section 1. */
#ifndef CORE_FRAME_H
#define CORE_FRAME_H

#include "config.h" /* FRAME_LARGEST */

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint8_t */

/* type, seq and CRC */
#define FRAME_OVERHEAD 6u
#define FRAME_PAYLOAD_LARGEST (FRAME_LARGEST - FRAME_OVERHEAD)
/* one code byte and the closing zero */
#define FRAME_WIRE_LARGEST (FRAME_LARGEST + 2u)

/* A frame as it came; `payload` is good until the next call of frame_feed. */
struct frame {
    uint8_t type;
    uint8_t seq;
    uint32_t size;
    const uint8_t *payload;
};

/* Forgets a frame half received, the count of bad ones and the number of the last one sent. */
void frame_wake(void);

/* Takes bytes from `*at` up to `end`, or up to the first that completes a good frame: then fills it in and returns true. */
bool frame_feed(const uint8_t **at, const uint8_t *end, struct frame *frame);

/* Returns the number of frames that failed since the board woke. */
uint32_t frame_bad(void);

/* Sends a frame with the next number; returns false, and uses up no number, if there is no room for it now. */
bool frame_send(uint8_t type, const uint8_t *payload, uint32_t size);

#endif
