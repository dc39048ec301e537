#include "crc.h"

#define POLYNOMIAL_REFLECTED 0xEDB88320u

/* The CRC of every byte: a look-up costs half of what two nibbles would, and every byte of the stream goes through here. */
static uint32_t table[256];

void crc_wake(void)
{
    for (uint32_t byte = 0; byte < 256u; byte++) {
        uint32_t crc = byte;
        for (uint32_t bit = 0; bit < 8u; bit++) {
            crc = (crc >> 1) ^ ((crc & 1u) != 0 ? POLYNOMIAL_REFLECTED : 0u);
        }
        table[byte] = crc;
    }
}

uint32_t crc_of(const uint8_t *bytes, uint32_t size)
{
    uint32_t crc = 0xFFFFFFFFu;
    for (const uint8_t *end = bytes + size; bytes < end; bytes++) {
        crc = (crc >> 8) ^ table[(crc ^ *bytes) & 0xFFu];
    }
    return ~crc;
}
