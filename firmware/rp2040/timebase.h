/*
 * The board's clock: 64 bits of processor cycles. The low 24 come from SysTick, exact to the cycle; the rest from the
 * microsecond timer, which runs off the same crystal, so the two never part.
 */
#ifndef RP2040_TIMEBASE_H
#define RP2040_TIMEBASE_H

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint64_t */

/* Starts the clock. */
void timebase_start(void);

/* Returns the cycles since timebase_start(). From any context. */
uint64_t timebase_now(void);

/* Returns a 24-bit stamp of this cycle, for timebase_of(). From any context. */
uint32_t timebase_stamp(void);

/* Sets a register; returns the stamp of the first cycle in which it is set. */
uint32_t timebase_set(volatile uint32_t *to, uint32_t value);

/* Returns the cycle of a stamp that was taken less than 100 ms ago. */
uint64_t timebase_of(uint32_t stamp);

/* Has an interrupt end the sleep at this cycle; returns false if it is so near that there is nothing to wait for. */
bool timebase_alarm(uint64_t deadline);

#endif
