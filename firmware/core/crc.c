#include "crc.h" /* crc_of */

/* The CRC of every nibble: two look-ups a byte cost 64 bytes of memory, where one would cost a kilobyte. */
static const uint32_t NIBBLE[16] = {
    0x00000000, 0x1DB71064, 0x3B6E20C8, 0x26D930AC, 0x76DC4190, 0x6B6B51F4, 0x4DB26158, 0x5005713C,
    0xEDB88320, 0xF00F9344, 0xD6D6A3E8, 0xCB61B38C, 0x9B64C2B0, 0x86D3D2D4, 0xA00AE278, 0xBDBDF21C,
};

uint32_t crc_of(const uint8_t *bytes, uint32_t size)
{
    uint32_t crc = 0xFFFFFFFFu;
    for (const uint8_t *end = bytes + size; bytes < end; bytes++) {
        crc ^= *bytes;
        crc = (crc >> 4) ^ NIBBLE[crc & 15u];
        crc = (crc >> 4) ^ NIBBLE[crc & 15u];
    }
    return ~crc;
}
