/* The clocks: 125 MHz for processor and PIO, 48 MHz for USB, 1 MHz for timer and watchdog, all from one 12 MHz crystal. */
#ifndef RP2040_CLOCKS_H
#define RP2040_CLOCKS_H

#define CLOCK_HZ 125000000u
#define CLOCK_MHZ 125u

/* Sets the clocks, and takes the peripherals that this firmware uses out of reset. */
void clocks_start(void);

#endif
