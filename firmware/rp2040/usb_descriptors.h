/* What the board says to a USB host about itself: a CDC-ACM serial port, USB 2.0 chapter 9 and CDC PSTN 1.2. */
#ifndef RP2040_USB_DESCRIPTORS_H
#define RP2040_USB_DESCRIPTORS_H

#include <stdint.h> /* uint8_t */

/* Returns a descriptor and its size, or null if there is none of this type and number. */
const uint8_t *usb_descriptor(uint8_t type, uint8_t number, uint32_t *size);

#endif
