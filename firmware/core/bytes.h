/* Little-endian numbers in byte arrays, wherever they lie. */
#ifndef CORE_BYTES_H
#define CORE_BYTES_H

#include <stdint.h> /* uint8_t and its kin */

/* Returns the 16-bit number at `at`. */
static inline uint16_t bytes_get16(const uint8_t *at)
{
    return (uint16_t)(at[0] | (uint16_t)(at[1] << 8));
}

/* Returns the 32-bit number at `at`. */
static inline uint32_t bytes_get32(const uint8_t *at)
{
    return bytes_get16(at) | ((uint32_t)bytes_get16(at + 2) << 16);
}

/* Returns the 64-bit number at `at`. */
static inline uint64_t bytes_get64(const uint8_t *at)
{
    return bytes_get32(at) | ((uint64_t)bytes_get32(at + 4) << 32);
}

/* Writes a byte and returns the place after it. */
static inline uint8_t *bytes_put8(uint8_t *at, uint8_t value)
{
    *at = value;
    return at + 1;
}

/* Writes a 16-bit number and returns the place after it. */
static inline uint8_t *bytes_put16(uint8_t *at, uint16_t value)
{
    at = bytes_put8(at, (uint8_t)value);
    return bytes_put8(at, (uint8_t)(value >> 8));
}

/* Writes a 32-bit number and returns the place after it. */
static inline uint8_t *bytes_put32(uint8_t *at, uint32_t value)
{
    at = bytes_put16(at, (uint16_t)value);
    return bytes_put16(at, (uint16_t)(value >> 16));
}

/* Writes a 64-bit number and returns the place after it. */
static inline uint8_t *bytes_put64(uint8_t *at, uint64_t value)
{
    at = bytes_put32(at, (uint32_t)value);
    return bytes_put32(at, (uint32_t)(value >> 32));
}

#endif
