/* CRC-32 of frames: polynomial 0x04C11DB7, reflected, initial and final value 0xFFFFFFFF. */
#ifndef CORE_CRC_H
#define CORE_CRC_H

#include <stdint.h> /* uint32_t */

/* Makes the table; to be called before crc_of(). */
void crc_wake(void);

/* Returns the CRC-32 of `size` bytes. */
uint32_t crc_of(const uint8_t *bytes, uint32_t size);

#endif
