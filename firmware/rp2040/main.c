/* The main loop: bytes in, the core, bytes out, the light, and sleep. */
#include "board.h"      /* the core */
#include "bootloader.h" /* bootloader_enter */
#include "chip.h"       /* chip_wants_bootloader */
#include "clocks.h"     /* clocks_start */
#include "cpu.h"        /* cpu_sleep */
#include "generator.h"  /* generator_wake */
#include "identity.h"   /* identity_wake */
#include "led.h"        /* led_show */
#include "run.h"        /* run_now */
#include "sampler.h"    /* sampler_wake */
#include "serial.h"     /* serial_read */
#include "timebase.h"   /* timebase_now */
#include "usb.h"        /* usb_wake */
#include "voltage.h"    /* voltage_wake */
#include "watchdog.h"   /* watchdog_feed */

int main(void);

/* What the host sent is taken in pieces of this size, so that the output stage is looked after in between. */
#define PIECE_BYTES 256u
/* What the board has still to say must be gone by then when it leaves for the boot loader. */
#define FAREWELL_CYCLES (CLOCK_HZ / 20u)

/* Gives the core what came from the host. */
static void main_listen(void)
{
    uint8_t piece[PIECE_BYTES];
    uint32_t size = serial_read(piece, sizeof piece);
    board_receive(piece, size);
    if (serial_take_dropped()) {
        board_dropped();
    }
    if (serial_take_touch()) {
        board_touched();
    }
}

/* Leaves for the boot loader once the answer to the request has left. */
static void main_leave(void)
{
    uint64_t end = timebase_now() + FAREWELL_CYCLES;
    while (!serial_is_flushed() && timebase_now() < end) {
    }
    usb_leave();
    bootloader_enter();
}

/* Sleeps until an interrupt or the deadline. */
static void main_sleep(uint64_t deadline)
{
    if (!timebase_alarm(deadline)) {
        return;
    }
    cpu_interrupts_off();
    if (!serial_waits()) {
        cpu_sleep();
    }
    cpu_interrupts_on();
}

int main(void)
{
    clocks_start();
    identity_wake();
    timebase_start();
    generator_wake();
    sampler_wake();
    voltage_wake();
    led_wake();
    chip_wake();
    board_wake();
    usb_wake();
    watchdog_wake();
    cpu_interrupts_on();
    for (;;) {
        watchdog_feed();
        main_listen();
        uint64_t deadline = board_poll();
        uint64_t look = led_show(run_now()->state, timebase_now());
        if (chip_wants_bootloader()) {
            main_leave();
        }
        main_sleep(look < deadline ? look : deadline);
    }
}
