/* The handlers in the vector table. Each runs with other interrupts waiting, and is short. */
#ifndef RP2040_INTERRUPTS_H
#define RP2040_INTERRUPTS_H

/* timebase.c: the alarm that ends a sleep. */
void alarm_interrupt(void);

/* usb.c: everything on the bus. */
void usb_interrupt(void);

/* generator.c: the generator ran dry. */
void generator_interrupt(void);

#endif
