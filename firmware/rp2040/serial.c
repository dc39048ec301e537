#include "serial.h"

#include "cpu.h" /* cpu_compiler_barrier, cpu_interrupts_off */
#include "usb.h" /* usb_receive, usb_transmit, and what it calls here */

#define RECEIVE_BYTES 2048u
#define TRANSMIT_BYTES 2048u
#define TOUCH_BAUD 1200u

/*
 * Two rings, each with one writer: places count up and wrap with their type.
 *     receive:  head by the interrupt, tail by the main loop
 *     transmit: head by the main loop, tail by whoever has interrupts off
 */
static struct {
    uint8_t received[RECEIVE_BYTES];
    volatile uint32_t received_head;
    volatile uint32_t received_tail;
    volatile bool holds_back; /* no packet is asked for, because there was no room for one */

    uint8_t sent[TRANSMIT_BYTES];
    volatile uint32_t sent_head;
    volatile uint32_t sent_tail;
    volatile bool sending;
    bool last_was_full;

    volatile bool configured;
    volatile bool open;
    volatile bool dropped;
    volatile bool touched;
    uint32_t baud;
} serial;

/* Asks for a packet if there is room for one. Interrupts are off. */
static void serial_ask(void)
{
    uint32_t used = serial.received_head - serial.received_tail;
    serial.holds_back = RECEIVE_BYTES - used < USB_PACKET;
    if (!serial.holds_back) {
        usb_receive();
    }
}

/* Sends a packet if there is something to send and none is under way. Interrupts are off. */
static void serial_kick(void)
{
    if (serial.sending || !serial.configured) {
        return;
    }
    uint8_t packet[USB_PACKET];
    uint32_t size = 0;
    while (size < USB_PACKET && serial.sent_tail != serial.sent_head) {
        packet[size++] = serial.sent[serial.sent_tail % TRANSMIT_BYTES];
        serial.sent_tail++;
    }
    /* A transfer ends with a packet that is not full, be it an empty one. */
    if (size > 0 || serial.last_was_full) {
        serial.last_was_full = size == USB_PACKET;
        serial.sending = true;
        usb_transmit(packet, size);
    }
}

uint32_t serial_read(uint8_t *out, uint32_t most)
{
    uint32_t tail = serial.received_tail;
    uint32_t waiting = serial.received_head - tail;
    uint32_t size = waiting < most ? waiting : most;
    /* The bytes after the place that shows them, and before the place that gives them up. */
    cpu_compiler_barrier();
    for (uint32_t i = 0; i < size; i++) {
        out[i] = serial.received[tail++ % RECEIVE_BYTES];
    }
    cpu_compiler_barrier();
    serial.received_tail = tail;
    if (serial.holds_back) {
        cpu_interrupts_off();
        if (serial.holds_back) {
            serial_ask();
        }
        cpu_interrupts_on();
    }
    return size;
}

bool serial_write(const uint8_t *bytes, uint32_t size)
{
    if (!serial.open || TRANSMIT_BYTES - (serial.sent_head - serial.sent_tail) < size) {
        return false;
    }
    uint32_t head = serial.sent_head;
    for (uint32_t i = 0; i < size; i++) {
        serial.sent[head++ % TRANSMIT_BYTES] = bytes[i];
    }
    /* The bytes before the place that shows them. */
    cpu_compiler_barrier();
    serial.sent_head = head;
    cpu_interrupts_off();
    serial_kick();
    cpu_interrupts_on();
    return true;
}

bool serial_waits(void)
{
    return serial.received_head != serial.received_tail || serial.dropped || serial.touched;
}

bool serial_take_dropped(void)
{
    bool was = serial.dropped;
    serial.dropped = false;
    return was;
}

bool serial_take_touch(void)
{
    bool was = serial.touched;
    serial.touched = false;
    return was;
}

bool serial_is_flushed(void)
{
    return !serial.open || (!serial.sending && serial.sent_head == serial.sent_tail);
}

void serial_configured(void)
{
    serial.configured = true;
    serial.sending = false;
    serial.last_was_full = false;
    serial_ask();
}

void serial_gone(void)
{
    serial_opened(false);
    serial.configured = false;
    serial.sending = false;
}

void serial_received(const volatile uint8_t *bytes, uint32_t size)
{
    uint32_t head = serial.received_head;
    for (uint32_t i = 0; i < size; i++) {
        serial.received[head++ % RECEIVE_BYTES] = bytes[i];
    }
    cpu_compiler_barrier();
    serial.received_head = head;
    serial_ask();
}

void serial_transmitted(void)
{
    serial.sending = false;
    serial_kick();
}

void serial_rate(uint32_t baud)
{
    serial.baud = baud;
}

void serial_opened(bool open)
{
    if (serial.open && !open) {
        serial.dropped = true;
        serial.touched = serial.baud == TOUCH_BAUD;
        /* Nobody reads what is left; the next host begins afresh. */
        serial.sent_tail = serial.sent_head;
    }
    serial.open = open;
}
