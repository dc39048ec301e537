/* One run from ARM to the moment the pins are held, and their parking after it: PROTOCOL.md section 5. */
#ifndef CORE_RUN_H
#define CORE_RUN_H

#include "state.h" /* enum state, enum reason, enum event */

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint64_t */

/* What ARM says. */
struct run_order {
    uint16_t run;
    uint8_t epoch;
    uint8_t initial;
    uint8_t idle;
    uint8_t inputs;
    uint16_t park_after_ms;
    uint16_t host_timeout_ms;
};

/* What a run is now. Ticks are the board's, but for last_tick, which is a run tick. */
struct run {
    enum state state;
    enum reason reason;
    struct run_order order;
    uint8_t epoch;
    uint8_t refused_epoch;
    bool splice_refused;
    uint64_t epoch_first;
    uint64_t start_tick;
    uint64_t held_tick;
    uint64_t park_tick;
    uint64_t played;
    uint64_t last_tick;
};

/* What became of a frame. */
enum run_answer { RUN_DONE, RUN_IGNORED, RUN_REFUSED_STATE, RUN_REFUSED_VALUE, RUN_MALFORMED };

/* Makes the board idle, as after power-up. */
void run_wake(void);

/* Notes that a good frame came: the host is alive. */
void run_heard(uint64_t now);

/* Opens a run. */
enum run_answer run_arm(const struct run_order *order);

/* Queues the payload of an EDGES frame. */
enum run_answer run_edges(const uint8_t *payload, uint32_t size);

/* Closes the stream. */
enum run_answer run_end(uint8_t epoch, uint64_t count, uint64_t last_tick);

/* Starts the output stage. */
enum run_answer run_start(uint16_t number);

/* Replaces everything from transition `first` on. */
enum run_answer run_splice(uint8_t epoch, uint8_t next_epoch, uint64_t first);

/* Holds the pins, or parks them: STOP or PARK for this run, 0xFFFF meaning any. */
enum run_answer run_stop(enum event event, uint16_t number);

/* Returns whether the board may leave for its boot loader now. */
enum run_answer run_bootloader(void);

/* Takes what CONFIG says of a wave. */
enum run_answer run_configure(uint8_t wave, uint8_t output, const uint8_t *fields, uint32_t size);

/* Tells the run that the host closed the port. */
void run_dropped(void);

/* Looks for everything that happens by itself, and feeds the output stage. */
void run_watch(void);

/* Returns the tick at which something happens by itself at the latest. */
uint64_t run_deadline(void);

/* Returns the run as it is now. */
const struct run *run_now(void);

/* Returns whether state, epoch or refusal changed since the last call. */
bool run_news(void);

#endif
