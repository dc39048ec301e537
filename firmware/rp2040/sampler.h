/*
 * The eight inputs, on the clock of the outputs: a PIO machine looks at all of them every 56 ns and writes a word for each
 * change, the DMA puts the words into a ring. From the main loop only.
 */
#ifndef RP2040_SAMPLER_H
#define RP2040_SAMPLER_H

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint64_t */

/* Sets up the pins and starts. */
void sampler_wake(void);

/* Forgets the changes so far, and returns the levels. */
uint8_t sampler_begin(void);

/* Gives the next change, by board tick, and returns true; false if there is none. To be called at least four times a second. */
bool sampler_next(uint64_t *tick, uint8_t *levels);

/* Returns how many changes were lost since sampler_begin(). */
uint32_t sampler_lost(void);

#endif
