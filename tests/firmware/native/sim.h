/* What a test does to the chip made of memory, and what it sees of it. */
#ifndef NATIVE_SIM_H
#define NATIVE_SIM_H

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint64_t */

#define SIM_EDGES (1u << 19)

/* Codes of the waves that are kept, and how long one lasts. */
#define SIM_CODES (1u << 18)
#define SIM_CODE_TICKS 128u

struct sim_code {
    uint64_t tick; /* of the board, at the middle */
    uint16_t codes[2];
};

struct sim_edge {
    uint64_t tick; /* of the board */
    uint8_t mask;
};

/* Forgets everything; the clock stands at tick 1. */
void sim_wake(void);

/* Sets how far ahead of the pins transitions are handed over. */
void sim_set_handover(uint32_t ticks);

/* Returns the tick of the board at which the output stage will have nothing more to play. */
uint64_t sim_interrupt(void);

/* Gives delta and mask of a decoded transition. */
uint32_t sim_history(uint32_t index, uint8_t *mask);

/* Lets time pass up to this tick of the board. */
void sim_time(uint64_t tick);

/* Changes the inputs at this tick of the board. */
void sim_input(uint64_t tick, uint8_t levels);

/* Copies what the board sent since the last call, and returns its size. */
uint32_t sim_take_sent(uint8_t *out);

/* Copies the pin changes since the last call, and returns their number. */
uint32_t sim_take_edges(struct sim_edge *out);

/* Copies the codes that were due since the last call, and returns their number. */
uint32_t sim_take_codes(struct sim_code *out);

/* Makes the board's sender find no room. */
void sim_deaf(bool deaf);

/* Returns whether the board left for its boot loader. */
bool sim_in_bootloader(void);

#endif
