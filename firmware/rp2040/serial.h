/* The serial port as the main loop sees it: bytes both ways, and whether a host has it open. */
#ifndef RP2040_SERIAL_H
#define RP2040_SERIAL_H

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint32_t */

/* Copies up to `most` bytes that came, and returns how many. */
uint32_t serial_read(uint8_t *out, uint32_t most);

/* Takes all of `size` bytes for the host and returns true, or none and returns false. */
bool serial_write(const uint8_t *bytes, uint32_t size);

/* Returns whether there is something for the main loop to do. Also with interrupts off. */
bool serial_waits(void);

/* Returns true once after the host has closed the port or vanished. */
bool serial_take_dropped(void);

/* Returns true once after the host has closed the port at 1200 baud, which asks for the boot loader. */
bool serial_take_touch(void);

/* Returns whether everything that was written has been taken by the host. */
bool serial_is_flushed(void);

#endif
