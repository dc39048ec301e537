/*
 * The board's light: what the run is doing, for somebody who stands beside it.
 *
 *     idle     a short flash every two seconds
 *     armed    on and off, once a second
 *     running  on
 *     holding  a short break every two seconds
 *     faulted  on and off, five times a second
 */
#ifndef RP2040_LED_H
#define RP2040_LED_H

#include <stdint.h> /* uint64_t */

/* Makes the pin an output. */
void led_wake(void);

/* Shows a state, `enum state` of the core, as it looks at this tick; returns the tick at which it next looks otherwise. */
uint64_t led_show(uint32_t state, uint64_t now);

#endif
