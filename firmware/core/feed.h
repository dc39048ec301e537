/* Hands transitions over to the output stage as they come within reach, and holds in between when they are far apart. */
#ifndef CORE_FEED_H
#define CORE_FEED_H

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint64_t */

enum feed_result { FEED_GOOD, FEED_MISFIT, FEED_LATE };

/* Forgets the run before; the output stage is empty. */
void feed_open(void);

/* Hands over what is due before the horizon that belongs to run tick `now`. After anything but GOOD the run has ended. */
enum feed_result feed_fill(uint64_t now);

/* Keeps the output stage from running dry until the horizon of run tick `now`, though nothing is known that follows. */
void feed_bridge(uint64_t now);

/* Returns whether the last feed_fill() stopped for its own length, so that more may be due. */
bool feed_is_behind(void);

/* Returns how many transitions were handed over. */
uint64_t feed_handed(void);

/* Returns the run tick of the last of them. */
uint64_t feed_last(void);

#endif
