/* Blocks of transitions, PROTOCOL.md section 4. */
#ifndef CORE_BLOCK_H
#define CORE_BLOCK_H

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint8_t */

/* Where in the run the decoder stands. */
struct block_cursor {
    uint64_t index; /* of the next transition */
    uint64_t tick;  /* run tick of the last one */
    uint32_t lag;
    uint32_t shortest; /* least delta */
    uint32_t first;    /* least run tick of transition 0 */
};

/*
 * Decodes exactly `count` transitions from exactly `size` bytes into the history and moves the cursor past them.
 * Returns false if the bytes are not that; the cursor is then of no more use.
 */
bool block_decode(struct block_cursor *cursor, const uint8_t *bytes, uint32_t size, uint32_t count);

#endif
