/*
 * The last transitions of the run: the distance of each to the one before, and its mask. A block is decoded against
 * them and into them, and the output stage is fed from them, so a decoded transition is written once.
 *
 *     ... looked back on ...  handed over | decoded, waiting | free
 *                                         ^ feed             ^ stream
 */
#ifndef CORE_HISTORY_H
#define CORE_HISTORY_H

#include "config.h" /* HISTORY_SLOTS */

#include <stdint.h> /* uint32_t */

struct history {
    uint32_t deltas[HISTORY_SLOTS];
    uint8_t masks[HISTORY_SLOTS];
};

extern struct history history;

/* Returns the slot of the transition with this index in the run. */
static inline uint32_t history_slot(uint32_t index)
{
    return index & (HISTORY_SLOTS - 1u);
}

#endif
