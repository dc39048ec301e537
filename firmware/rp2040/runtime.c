/* What the compiler calls by itself. The Makefile keeps it from making these very loops into calls. */
#include <stddef.h> /* size_t */
#include <stdint.h> /* uint8_t */

void *memcpy(void *restrict to, const void *restrict from, size_t size);
void *memset(void *to, int value, size_t size);

/* Copies bytes that do not overlap. */
__attribute__((used)) void *memcpy(void *restrict to, const void *restrict from, size_t size)
{
    uint8_t *out = to;
    for (const uint8_t *in = from; size > 0; size--) {
        *out++ = *in++;
    }
    return to;
}

/* Sets bytes. */
__attribute__((used)) void *memset(void *to, int value, size_t size)
{
    for (uint8_t *out = to; size > 0; size--) {
        *out++ = (uint8_t)value;
    }
    return to;
}
