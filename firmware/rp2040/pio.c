#include "pio.h"

#include "registers.h" /* PIO_CTRL, PIO_INSTR_MEM */
#include "timebase.h"  /* timebase_set */

void pio_load(uint32_t slot, const uint16_t *program, uint32_t length)
{
    for (uint32_t i = 0; i < length; i++) {
        uint32_t is_jump = (program[i] >> 13) == 0 ? 1u : 0u;
        PIO_INSTR_MEM(slot + i) = program[i] + is_jump * slot;
    }
}

uint32_t pio_start(uint32_t machine)
{
    return timebase_set(&SET(PIO_CTRL), PIO_CTRL_ENABLE(machine));
}
