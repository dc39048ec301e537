/* Wakes the board anew when the main loop has not come round for half a second. */
#ifndef RP2040_WATCHDOG_H
#define RP2040_WATCHDOG_H

#define WATCHDOG_MS 500u

/* Starts it. */
void watchdog_wake(void);

/* Shows that the main loop comes round. */
void watchdog_feed(void);

#endif
