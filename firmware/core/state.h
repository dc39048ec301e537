/* The state table of a run, row for row that of PROTOCOL.md section 5. */
#ifndef CORE_STATE_H
#define CORE_STATE_H

#include <stdint.h> /* uint8_t */

enum state { STATE_IDLE, STATE_ARMED, STATE_RUNNING, STATE_HOLDING, STATE_FAULTED };

enum reason {
    REASON_NONE,
    REASON_END,
    REASON_STOP,
    REASON_STARVED,
    REASON_LATE,
    REASON_HOST_SILENT,
    REASON_BAD_STREAM,
    REASON_LINK_DROPPED,
    REASON_OVERRUN,
    REASON_INTERNAL
};

enum event {
    EVENT_ARM,
    EVENT_EDGES,
    EVENT_END,
    EVENT_SPLICE,
    EVENT_START,
    EVENT_STOP,
    EVENT_PARK,
    EVENT_BOOTLOADER,
    EVENT_CONFIG,
    EVENT_silence,
    EVENT_dropped,
    EVENT_misfit,
    EVENT_overrun,
    EVENT_broken,
    EVENT_late,
    EVENT_dry,
    EVENT_finished,
    EVENT_time
};

enum effect {
    EFFECT_initial,
    EFFECT_queue,
    EFFECT_splice,
    EFFECT_start,
    EFFECT_hold,
    EFFECT_park,
    EFFECT_bootloader,
    EFFECT_configure
};

/* X(state, event, next, effect, reason); events in capitals are frames from the host. */
#define STATE_ROWS(X)                                    \
    X(IDLE, ARM, ARMED, initial, NONE)                   \
    X(HOLDING, ARM, ARMED, initial, NONE)                \
    X(FAULTED, ARM, ARMED, initial, NONE)                \
    X(ARMED, EDGES, ARMED, queue, NONE)                  \
    X(ARMED, END, ARMED, queue, NONE)                    \
    X(ARMED, SPLICE, ARMED, splice, NONE)                \
    X(ARMED, START, RUNNING, start, NONE)                \
    X(ARMED, STOP, HOLDING, hold, STOP)                  \
    X(ARMED, PARK, IDLE, park, STOP)                     \
    X(ARMED, silence, FAULTED, hold, HOST_SILENT)        \
    X(ARMED, dropped, FAULTED, hold, LINK_DROPPED)       \
    X(ARMED, misfit, FAULTED, hold, BAD_STREAM)          \
    X(ARMED, overrun, FAULTED, hold, OVERRUN)            \
    X(ARMED, broken, FAULTED, hold, INTERNAL)            \
    X(RUNNING, EDGES, RUNNING, queue, NONE)              \
    X(RUNNING, END, RUNNING, queue, NONE)                \
    X(RUNNING, SPLICE, RUNNING, splice, NONE)            \
    X(RUNNING, STOP, HOLDING, hold, STOP)                \
    X(RUNNING, PARK, IDLE, park, STOP)                   \
    X(RUNNING, finished, HOLDING, hold, END)             \
    X(RUNNING, dry, FAULTED, hold, STARVED)              \
    X(RUNNING, silence, FAULTED, hold, HOST_SILENT)      \
    X(RUNNING, dropped, FAULTED, hold, LINK_DROPPED)     \
    X(RUNNING, misfit, FAULTED, hold, BAD_STREAM)        \
    X(RUNNING, overrun, FAULTED, hold, OVERRUN)          \
    X(RUNNING, late, FAULTED, hold, LATE)                \
    X(RUNNING, broken, FAULTED, hold, INTERNAL)          \
    X(HOLDING, PARK, IDLE, park, NONE)                   \
    X(HOLDING, time, IDLE, park, NONE)                   \
    X(FAULTED, PARK, FAULTED, park, NONE)                \
    X(FAULTED, time, FAULTED, park, NONE)                \
    X(IDLE, PARK, IDLE, park, NONE)                      \
    X(IDLE, BOOTLOADER, IDLE, bootloader, NONE)          \
    X(HOLDING, BOOTLOADER, HOLDING, bootloader, NONE)    \
    X(FAULTED, BOOTLOADER, FAULTED, bootloader, NONE)    \
    X(IDLE, CONFIG, IDLE, configure, NONE)               \
    X(HOLDING, CONFIG, HOLDING, configure, NONE)         \
    X(FAULTED, CONFIG, FAULTED, configure, NONE)

struct state_row {
    uint8_t state;
    uint8_t event;
    uint8_t next;
    uint8_t effect;
    uint8_t reason; /* NONE leaves the reason as it is */
};

/* Returns the row for an event in a state, or null if the event leaves the state alone. */
const struct state_row *state_find(enum state state, enum event event);

#endif
