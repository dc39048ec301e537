#include "watchdog.h"

#include "registers.h" /* WATCHDOG_CTRL, PSM_WDSEL */

/* Everything but the oscillators. */
#define RESET_ALL 0x1FFFCu
#define ENABLE BIT(30)
/* It counts down twice each microsecond: erratum RP2040-E1. */
#define COUNT (WATCHDOG_MS * 1000u * 2u)

void watchdog_wake(void)
{
    PSM_WDSEL = RESET_ALL;
    watchdog_feed();
    WATCHDOG_CTRL = ENABLE;
}

void watchdog_feed(void)
{
    WATCHDOG_LOAD = COUNT;
}
