/* What generator and capture share of PIO block 0. */
#ifndef RP2040_PIO_H
#define RP2040_PIO_H

#include <stdint.h> /* uint32_t */

/* The first of the eight output pins, and of the eight input pins. */
#define PIN_OUTPUTS 0u
#define PIN_INPUTS 8u

#define MACHINE_GENERATOR 0u
#define MACHINE_CAPTURE 1u

/* Writes a program into the instruction memory, its jumps moved to where it lies. */
void pio_load(uint32_t slot, const uint16_t *program, uint32_t length);

/* Starts a machine, and returns the timebase stamp of its first cycle. Interrupts are off for a moment. */
uint32_t pio_start(uint32_t machine);

#endif
