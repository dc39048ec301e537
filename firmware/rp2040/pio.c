#include "pio.h"

#include "cpu.h"       /* cpu_interrupts_off */
#include "registers.h" /* PIO_CTRL, PIO_INSTR_MEM */
#include "timebase.h"  /* timebase_stamp */

/* From reading SysTick to the first cycle of a machine: a constant of the instructions in between. */
#define START_CYCLES 4u

void pio_load(uint32_t slot, const uint16_t *program, uint32_t length)
{
    for (uint32_t i = 0; i < length; i++) {
        uint32_t is_jump = (program[i] >> 13) == 0 ? 1u : 0u;
        PIO_INSTR_MEM(slot + i) = program[i] + is_jump * slot;
    }
}

/* Not inlined, so that all machines start by the same instructions and share one constant. */
__attribute__((noinline)) uint32_t pio_start(uint32_t machine)
{
    uint32_t enable = PIO_CTRL_ENABLE(machine);
    volatile uint32_t *control = &SET(PIO_CTRL);
    cpu_interrupts_off();
    uint32_t stamp = timebase_stamp();
    *control = enable;
    cpu_interrupts_on();
    return stamp + START_CYCLES;
}
