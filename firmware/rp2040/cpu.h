/* The few instructions that C has no word for. */
#ifndef RP2040_CPU_H
#define RP2040_CPU_H

#include <stdint.h> /* uint32_t */

/* Keeps interrupts from being served; they still end cpu_sleep(). */
static inline void cpu_interrupts_off(void)
{
    __asm volatile("cpsid i" ::: "memory");
}

/* Serves interrupts again, those that wait first. */
static inline void cpu_interrupts_on(void)
{
    __asm volatile("cpsie i" ::: "memory");
}

/* Returns one register and sets another by the very next instruction, whatever the compiler thinks best around them. */
/* NOLINTNEXTLINE(readability-non-const-parameter): it does not see what assembly writes */
static inline uint32_t cpu_read_and_set(const volatile uint32_t *from, volatile uint32_t *to, uint32_t value)
{
    uint32_t found;
    __asm volatile("cpsid i\n ldr %0, %2\n str %3, %1\n cpsie i"
                   : "=&l"(found), "=m"(*to)
                   : "m"(*from), "l"(value)
                   : "memory");
    return found;
}

/* Sleeps until an interrupt waits. */
static inline void cpu_sleep(void)
{
    __asm volatile("dsb\n wfi" ::: "memory");
}

/* Makes what was written to memory seen by the DMA before what is written next. */
static inline void cpu_write_barrier(void)
{
    __asm volatile("dmb" ::: "memory");
}

/* Keeps the compiler from moving memory accesses across this place. */
static inline void cpu_compiler_barrier(void)
{
    __asm volatile("" ::: "memory");
}

#endif
