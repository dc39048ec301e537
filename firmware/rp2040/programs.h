/* generator.pio and capture.pio, assembled; a test assembles them again with another tool and compares. */
#ifndef RP2040_PROGRAMS_H
#define RP2040_PROGRAMS_H

#include <stdint.h> /* uint16_t */

#define GENERATOR_SLOT 0u
#define GENERATOR_LENGTH 7u
static const uint16_t GENERATOR_PROGRAM[GENERATOR_LENGTH] = {
    0x8080, 0x6037, 0x00A5, 0xC000, 0x0004, 0x0045, 0x6008,
};
#define GENERATOR_WRAP_TARGET 0u
#define GENERATOR_WRAP 6u
/* where its machine stands: about to take a word, having one but not yet looked at it, and holding */
#define GENERATOR_AT_PULL 0u
#define GENERATOR_AT_OUT_X 1u
#define GENERATOR_AT_COMPARE 2u
#define GENERATOR_AT_IRQ 3u
#define GENERATOR_AT_DRY 4u
#define GENERATOR_AT_HOLD 5u

#define CAPTURE_SLOT 7u
#define CAPTURE_LENGTH 10u
static const uint16_t CAPTURE_PROGRAM[CAPTURE_LENGTH] = {
    0xA027, 0x0042, 0xA0E1, 0xA0C3, 0x4008, 0xA026, 0x00A7, 0x40F8, 0xA041, 0x0000,
};
#define CAPTURE_WRAP_TARGET 0u
#define CAPTURE_WRAP 6u
#define CAPTURE_LOOK_CYCLES 7u
#define CAPTURE_CHANGE_CYCLES 3u
#define CAPTURE_SAMPLE_CYCLES 4u

/* instructions that the processor has a machine carry out between programs */
#define EXECUTE_JMP(slot) (0x0000u | (slot))
#define EXECUTE_JMP_X_NOT_Y(slot) (0x00A0u | (slot))
#define EXECUTE_PULL 0x8080u
#define EXECUTE_OUT_PINS_8 0x6008u
#define EXECUTE_OUT_PINDIRS_8 0x6088u
#define EXECUTE_OUT_X_23 0x6037u
#define EXECUTE_OUT_Y_23 0x6057u
#define EXECUTE_MOV_X_ONES 0xA02Bu
#define EXECUTE_MOV_OSR_ONES 0xA0EBu

#endif
