/* The few instructions that C has no word for. */
#ifndef RP2040_CPU_H
#define RP2040_CPU_H

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
