/*
 * What the core needs from a chip. A board implements this page, calls board.h, and has no other duty.
 *
 * The output stage is a queue of holds. It runs by itself from port_start() on: each hold lasts its ticks, then the
 * pins take its mask. When it finds no next hold at the moment one has ended, it keeps the pins as they are and runs
 * dry; only port_arm() leads out of that. Ticks are those of port_now().
 *
 * All of it is called from the main loop only, with interrupts on.
 */
#ifndef CORE_PORT_H
#define CORE_PORT_H

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint64_t */

/* What a board is; constant from the moment it woke. */
struct port_facts {
    uint16_t board;
    uint8_t id[8];
    uint32_t tick_hz;
    uint32_t shortest_hold_ticks;
    uint32_t longest_hold_ticks; /* what one port_hand() or port_wait() may last */
    uint32_t handover_ticks;
    uint32_t first_tick;
    uint8_t outputs;
    uint8_t inputs;
    uint8_t waves;       /* voltages of VR sensors that the wave stage makes, at most WAVES_LARGEST */
    uint32_t code_ticks; /* how long a code of them lasts */
    uint32_t features; /* as WELCOME says them */
    const char *firmware;
};

/* How far the output stage has come: transitions on the pins, and the run tick of the last of them. */
struct port_progress {
    uint64_t played;
    uint64_t last_tick;
};

/* A change of the inputs: the board's tick, and all levels after it. */
struct port_change {
    uint64_t tick;
    uint8_t levels;
};

/* Returns what this board is. */
const struct port_facts *port_facts(void);

/* Returns the ticks since the board woke. */
uint64_t port_now(void);

/* Empties the output stage, forgets its progress, and sets the pins. */
void port_arm(uint8_t mask);

/* Returns how many holds the output stage takes now. */
uint32_t port_room(void);

/* Adds a transition: `ticks` after the end of what was added before, the pins take `mask`. */
void port_hand(uint32_t ticks, uint8_t mask);

/* Adds a hold of `ticks` that changes nothing and is no transition. */
void port_wait(uint32_t ticks);

/* Makes what was added since the last call known to the output stage; called after every few additions. */
void port_commit(void);

/* Starts the output stage, and returns the tick that is run tick 0. */
uint64_t port_start(void);

/* Stops the output stage where it is: the pins hold, nothing more is played. */
void port_hold(void);

/* Returns whether the output stage has run dry. */
bool port_is_dry(void);

/* Returns how far the output stage has come; exact while it is held or dry. */
struct port_progress port_progress(void);

/* Sets the pins; the output stage is held. */
void port_set(uint8_t mask);

/* Lets codes follow from now on; until the first of them and after port_wave_rest() the waves are at their middle. */
void port_wave_start(void);

/*
 * Returns how many codes the wave stage takes now, and gives the board's tick at the middle of the first of them. Returns
 * PORT_WAVE_OVERTAKEN if a code was due before it was there.
 */
uint32_t port_wave_room(uint64_t *tick);
#define PORT_WAVE_OVERTAKEN UINT32_MAX

/* Adds `count` codes of every wave the board may have. */
void port_wave_put(const uint16_t *const codes[], uint32_t count);

/* Brings the waves to their middle at once and drops the codes that were to follow. */
void port_wave_rest(void);

/* Forgets the changes of the inputs so far, and returns their levels. */
uint8_t port_capture_begin(void);

/* Gives the next change of the inputs and returns true, or returns false if there is none. */
bool port_capture_next(struct port_change *change);

/* Returns how many changes found no room since port_capture_begin(). */
uint32_t port_capture_lost(void);

/* Sends all of `size` bytes and returns true, or sends none of them and returns false. */
bool port_send(const uint8_t *bytes, uint32_t size);

/* Leaves this firmware for the chip's boot loader, now or as soon as what was sent has left. */
void port_bootloader(void);

#endif
