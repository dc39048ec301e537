/* Changes of the captured inputs, numbered, on their way to the host: PROTOCOL.md section 6. */
#ifndef CORE_CAPTURE_H
#define CORE_CAPTURE_H

#include "port.h" /* struct port_change */

#include <stdint.h> /* uint32_t */

/* Begins a new count; only changes of the lines in `inputs` are taken from now on. */
void capture_open(uint8_t inputs);

/* Returns the levels of those lines when the count began. */
uint8_t capture_began(void);

/* Takes what the port has seen since the last call. */
void capture_collect(void);

/* Returns how many changes wait. */
uint32_t capture_count(void);

/* Returns the change that waits at this place, 0 being the oldest. */
const struct port_change *capture_at(uint32_t place);

/* Returns the number of the oldest change that waits. */
uint32_t capture_first(void);

/* Drops the oldest `count` changes: they are sent. */
void capture_drop(uint32_t count);

/* Returns how many changes found no room since the count began. */
uint32_t capture_lost(void);

#endif
