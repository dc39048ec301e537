#include "bootloader.h"

#include <stdint.h> /* uint16_t */

/* Where the ROM keeps 16-bit pointers to its table of functions and to the function that looks them up. */
#define ROM_TABLE 0x14u
#define ROM_LOOKUP 0x18u
#define CODE(a, b) ((uint32_t)(a) | ((uint32_t)(b) << 8))
#define LED_ACTIVITY (1u << 25)

typedef void *(*rom_lookup)(uint16_t *table, uint32_t code);
typedef void (*rom_usb_boot)(uint32_t activity_pins, uint32_t disabled_interfaces);

/* Reads a pointer of the ROM; the compiler must not reason about objects so near to address zero. */
static uintptr_t bootloader_rom(uintptr_t address)
{
    __asm("" : "+r"(address));
    return *(const volatile uint16_t *)address;
}

void bootloader_enter(void)
{
    rom_lookup lookup = (rom_lookup)bootloader_rom(ROM_LOOKUP);
    rom_usb_boot boot = (rom_usb_boot)lookup((uint16_t *)bootloader_rom(ROM_TABLE), CODE('U', 'B'));
    boot(LED_ACTIVITY, 0);
    for (;;) {
    }
}
