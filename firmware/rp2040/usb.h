/*
 * The USB device: enumeration, control requests, and one bulk endpoint each way for serial.c. Everything here runs in the
 * USB interrupt but usb_wake(), and usb_receive() and usb_transmit(), which may be called with interrupts off as well.
 */
#ifndef RP2040_USB_H
#define RP2040_USB_H

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint32_t */

#define USB_PACKET 64u

/* Starts the controller and shows the board on the bus. */
void usb_wake(void);

/* Lets the host send one packet; usb_received() follows. */
void usb_receive(void);

/* Sends a packet of `size` bytes, at most 64; usb_transmitted() follows. */
void usb_transmit(const uint8_t *bytes, uint32_t size);

/* Takes the board off the bus. */
void usb_leave(void);

/* serial.c: the host has configured the board; both bulk endpoints are idle. */
void serial_configured(void);

/* serial.c: the bus was reset or the board taken off it. */
void serial_gone(void);

/* serial.c: a packet came. */
void serial_received(const volatile uint8_t *bytes, uint32_t size);

/* serial.c: the last packet was taken by the host. */
void serial_transmitted(void);

/* serial.c: the host has set the rate. */
void serial_rate(uint32_t baud);

/* serial.c: the host has opened (true) or closed the port. */
void serial_opened(bool open);

#endif
