/* The way into the boot ROM's USB loader. */
#ifndef RP2040_BOOTLOADER_H
#define RP2040_BOOTLOADER_H

/* Leaves this firmware for the boot ROM. */
__attribute__((noreturn)) void bootloader_enter(void);

#endif
