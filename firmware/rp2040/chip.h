/* What main needs of the port beyond what the core needs of it. */
#ifndef RP2040_CHIP_H
#define RP2040_CHIP_H

#include <stdbool.h> /* bool */

/* Learns who this board is. */
void chip_wake(void);

/* Returns whether the host asked for the boot loader. */
bool chip_wants_bootloader(void);

#endif
