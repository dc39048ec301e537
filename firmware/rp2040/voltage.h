/*
 * The voltages of VR sensors: two pairs of pulse widths, upper and lower byte of a code, on the clock of the outputs.
 *
 *     voltage_put -> a ring for each wave -> DMA, a word every 8.192 us -> PWM slice -> two pins, 488 kHz
 *
 * The pulses never stop; at rest they stand at their middle. From the main loop only.
 */
#ifndef RP2040_VOLTAGE_H
#define RP2040_VOLTAGE_H

#include <stdint.h> /* uint64_t */

#define VOLTAGE_WAVES 2u
/* Four periods of the pulses. */
#define VOLTAGE_CODE_CYCLES 1024u
#define VOLTAGE_OVERTAKEN UINT32_MAX
/* Codes that lie ready at most, and how far ahead of the pins that is. */
#define VOLTAGE_RING_CODES 512u
#define VOLTAGE_AHEAD_CYCLES (VOLTAGE_RING_CODES * VOLTAGE_CODE_CYCLES)

/* Starts the pulses, at their middle. */
void voltage_wake(void);

/* Lets codes follow from now on. */
void voltage_start(void);

/* Returns how many codes fit, and gives the board's tick at the middle of the first; or VOLTAGE_OVERTAKEN. */
uint32_t voltage_room(uint64_t *tick);

/* Adds `count` codes of each wave. */
void voltage_put(const uint16_t *const codes[], uint32_t count);

/* Brings both waves to their middle. */
void voltage_rest(void);

#endif
