/* The board: what its chip calls. From the main loop only, and never from an interrupt. */
#ifndef CORE_BOARD_H
#define CORE_BOARD_H

#include <stdint.h> /* uint8_t */

/* Brings the core to its state after power-up. The port works already. */
void board_wake(void);

/* Takes bytes from the host, cut anywhere. */
void board_receive(const uint8_t *bytes, uint32_t size);

/* Tells that the host closed the port. */
void board_dropped(void);

/* Tells that the host asked for the boot loader by the way it closed the port. */
void board_touched(void);

/* Does what is due, and returns the tick at which it wants to be called again at the latest. */
uint64_t board_poll(void);

#endif
