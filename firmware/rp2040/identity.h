/* The unique number of the board: that of its flash chip. */
#ifndef RP2040_IDENTITY_H
#define RP2040_IDENTITY_H

#include <stdint.h> /* uint8_t */

#define IDENTITY_BYTES 8u

/* Asks the flash chip for its number. Flash cannot be read as memory after this. */
void identity_wake(void);

/* Returns the number. */
const uint8_t *identity(void);

#endif
