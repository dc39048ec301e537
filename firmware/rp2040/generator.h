/*
 * The output stage: words go from a ring in memory through the DMA to a PIO machine that sets the pins.
 *
 *     generator_hand -> ring -> DMA, up to the last commit -> 8 words of FIFO -> machine -> pins
 *
 * The DMA knows how far it may read from a list of block lengths that ends in a zero: it stops exactly there.
 * From the main loop only.
 */
#ifndef RP2040_GENERATOR_H
#define RP2040_GENERATOR_H

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint64_t */

#define GENERATOR_SHORTEST 5u
#define GENERATOR_LONGEST (0x7FFFFEu + GENERATOR_SHORTEST)

/* Loads the program and makes the pins outputs. */
void generator_wake(void);

/* Empties the stage and sets the pins. */
void generator_arm(uint8_t mask);

/* Returns how many words the ring takes. */
uint32_t generator_room(void);

/* Adds a hold of `cycles`, after which the pins take `mask`. */
void generator_hand(uint32_t cycles, uint8_t mask);

/* Adds a hold of `cycles` that changes nothing. */
void generator_wait(uint32_t cycles);

/* Lets the DMA have what was added. */
void generator_commit(void);

/* Starts the machine; returns the timebase stamp of its first cycle, which is run tick 0. */
uint32_t generator_start(void);

/* Stops the machine where it is. */
void generator_hold(void);

/* Returns whether the machine found no word. */
bool generator_is_dry(void);

/* Gives how many transitions are on the pins and the run tick of the last; exact once held or dry, else at most a word behind. */
void generator_progress(uint64_t *played, uint64_t *last_tick);

/* Sets the pins of a held stage, and forgets what it had left. */
void generator_set(uint8_t mask);

#endif
