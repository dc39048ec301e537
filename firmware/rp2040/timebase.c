#include "timebase.h"

#include "clocks.h"     /* CLOCK_MHZ */
#include "cpu.h"        /* cpu_read_and_set */
#include "interrupts.h" /* alarm_interrupt */
#include "registers.h"  /* SYST_CVR, TIMER_TIMERAWL */

#define STAMP_MASK 0xFFFFFFu
/* From reading SysTick to what the next instruction sets. */
#define SET_CYCLES 2u
/* Nearer than 10 us, an alarm could be set behind its own time; further than 100 ms, nobody sleeps. */
#define LEAST_CYCLES ((uint64_t)10u * CLOCK_MHZ)
#define MOST_CYCLES ((uint64_t)100000u * CLOCK_MHZ)
#define SYST_ENABLE BIT(0)
#define SYST_PROCESSOR_CLOCK BIT(2)

static uint64_t begin_us;
static uint32_t begin_stamp;

/* Returns the microseconds since the timer began. */
static uint64_t timebase_us(void)
{
    uint32_t high = TIMER_TIMERAWH;
    for (;;) {
        uint32_t low = TIMER_TIMERAWL;
        uint32_t again = TIMER_TIMERAWH;
        if (again == high) {
            return ((uint64_t)high << 32) | low;
        }
        high = again;
    }
}

void timebase_start(void)
{
    SYST_RVR = STAMP_MASK;
    SYST_CVR = 0;
    SYST_CSR = SYST_ENABLE | SYST_PROCESSOR_CLOCK;
    TIMER_INTE = BIT(0);
    NVIC_ISER = BIT(IRQ_TIMER_0);
    begin_us = timebase_us();
    begin_stamp = timebase_stamp();
}

uint32_t timebase_stamp(void)
{
    return ~SYST_CVR & STAMP_MASK;
}

uint32_t timebase_set(volatile uint32_t *to, uint32_t value)
{
    return ~cpu_read_and_set(&SYST_CVR, to, value) + SET_CYCLES;
}

uint64_t timebase_now(void)
{
    uint64_t coarse = (timebase_us() - begin_us) * CLOCK_MHZ;
    uint32_t fine = timebase_stamp() - begin_stamp;
    /* The microsecond count is some hundred cycles off at most: take the nearest time that ends in SysTick's 24 bits. GCC
       shifts what may be negative with its sign. */
    int32_t off = (int32_t)((fine - (uint32_t)coarse) << 8) >> 8;
    return coarse + (uint64_t)(int64_t)off;
}

uint64_t timebase_of(uint32_t stamp)
{
    uint64_t now = timebase_now();
    return now - ((begin_stamp + (uint32_t)now - stamp) & STAMP_MASK);
}

bool timebase_alarm(uint64_t deadline)
{
    uint64_t now = timebase_now();
    if (deadline < now + LEAST_CYCLES) {
        return false;
    }
    uint64_t cycles = deadline - now;
    TIMER_ALARM0 = TIMER_TIMERAWL + (uint32_t)(cycles < MOST_CYCLES ? cycles : MOST_CYCLES) / CLOCK_MHZ;
    return true;
}

void alarm_interrupt(void)
{
    TIMER_INTR = BIT(0);
}
