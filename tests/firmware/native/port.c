/* A chip made of memory: the core's port for tests. Time passes when a test says so, and every pin change is kept. */
#include "sim.h"

#include "history.h" /* history */
#include "port.h"    /* what this implements */

#include <stdlib.h> /* abort */
#include <string.h> /* memcpy */

#define HOLDS 8192u
#define CHANGES 4096u
/* How far ahead of their time codes are taken. */
#define CODES_AHEAD 512u
#define SENT_LARGEST (1u << 20)

struct hold {
    uint32_t ticks;
    uint8_t mask;
    bool transition;
};

static struct port_facts facts = {
    .board = 1,
    .id = {1, 2, 3, 4, 5, 6, 7, 8},
    .tick_hz = 16000000,
    .shortest_hold_ticks = 5,
    .longest_hold_ticks = 1u << 20,
    .handover_ticks = 320000,
    .first_tick = 160,
    .inputs = 8,
    .outputs = 8,
    .waves = 2,
    .code_ticks = SIM_CODE_TICKS,
    .features = 1,
    .firmware = "native",
};

static struct {
    uint64_t now;
    struct hold holds[HOLDS];
    uint32_t head;
    uint32_t committed;
    uint32_t tail;
    bool running;
    bool dry;
    uint64_t start_tick;
    uint64_t end; /* run tick at which the last hold ended */
    struct port_progress progress;
    struct sim_edge edges[SIM_EDGES];
    uint32_t edge_count;
    uint8_t mask;
    struct port_change changes[CHANGES];
    uint32_t change_head;
    uint32_t change_tail;
    uint8_t levels;
    uint8_t sent[SENT_LARGEST];
    uint32_t sent_size;
    struct sim_code codes[SIM_CODES];
    uint32_t code_count;
    uint32_t code_taken;
    uint64_t code_tick; /* the middle of the next code */
    bool waving;
    bool deaf;
    bool bootloader;
} sim;

/* Sets the pins at a tick of the board, and keeps the change. */
static void sim_pins(uint64_t tick, uint8_t mask)
{
    sim.mask = mask;
    if (sim.edge_count < SIM_EDGES) {
        sim.edges[sim.edge_count++] = (struct sim_edge){tick, mask};
    }
}

/* Lets the output stage play up to now. */
static void sim_play(void)
{
    while (sim.running && !sim.dry) {
        if (sim.tail == sim.committed) {
            sim.dry = sim.start_tick + sim.end <= sim.now;
            return;
        }
        struct hold hold = sim.holds[sim.tail % HOLDS];
        if (sim.start_tick + sim.end + hold.ticks > sim.now) {
            return;
        }
        sim.tail++;
        sim.end += hold.ticks;
        if (hold.transition) {
            sim_pins(sim.start_tick + sim.end, hold.mask);
            sim.progress.played++;
            sim.progress.last_tick = sim.end;
        }
    }
}

void sim_wake(void)
{
    memset(&sim, 0, sizeof sim);
    sim.now = 1;
}

void sim_set_handover(uint32_t ticks)
{
    facts.handover_ticks = ticks;
}

uint64_t sim_interrupt(void)
{
    if (!sim.running || sim.dry) {
        return UINT64_MAX;
    }
    uint64_t end = sim.start_tick + sim.end;
    for (uint32_t i = sim.tail; i != sim.committed; i++) {
        end += sim.holds[i % HOLDS].ticks;
    }
    return end;
}

uint32_t sim_history(uint32_t index, uint8_t *mask)
{
    *mask = history.masks[history_slot(index)];
    return history.deltas[history_slot(index)];
}

void sim_time(uint64_t tick)
{
    sim.now = tick;
    sim_play();
}

void sim_input(uint64_t tick, uint8_t levels)
{
    sim.levels = levels;
    if (sim.change_head - sim.change_tail < CHANGES) {
        sim.changes[sim.change_head++ % CHANGES] = (struct port_change){tick, levels};
    }
}

uint32_t sim_take_sent(uint8_t *out)
{
    uint32_t size = sim.sent_size;
    memcpy(out, sim.sent, size);
    sim.sent_size = 0;
    return size;
}

uint32_t sim_take_edges(struct sim_edge *out)
{
    uint32_t count = sim.edge_count;
    memcpy(out, sim.edges, count * sizeof *out);
    sim.edge_count = 0;
    return count;
}

uint32_t sim_take_codes(struct sim_code *out)
{
    uint32_t count = 0;
    while (sim.code_taken < sim.code_count && sim.codes[sim.code_taken].tick <= sim.now) {
        out[count++] = sim.codes[sim.code_taken++];
    }
    return count;
}

void sim_deaf(bool deaf)
{
    sim.deaf = deaf;
}

bool sim_in_bootloader(void)
{
    return sim.bootloader;
}

const struct port_facts *port_facts(void)
{
    return &facts;
}

uint64_t port_now(void)
{
    return sim.now;
}

void port_arm(uint8_t mask)
{
    sim.head = sim.committed = sim.tail = 0;
    sim.running = sim.dry = false;
    sim.end = 0;
    sim.progress = (struct port_progress){0, 0};
    sim_pins(sim.now, mask);
}

uint32_t port_room(void)
{
    return HOLDS - (sim.head - sim.tail);
}

/* Adds a hold to the queue; the core never adds one that the chip could not play. */
static void sim_add(uint32_t ticks, uint8_t mask, bool transition)
{
    uint32_t least = sim.head == 0 ? 1u : facts.shortest_hold_ticks;
    if (port_room() == 0 || ticks < least || ticks > facts.longest_hold_ticks) {
        abort();
    }
    sim.holds[sim.head++ % HOLDS] = (struct hold){ticks, mask, transition};
}

void port_hand(uint32_t ticks, uint8_t mask)
{
    sim_add(ticks, mask, true);
}

void port_wait(uint32_t ticks)
{
    sim_add(ticks, 0, false);
}

void port_commit(void)
{
    sim.committed = sim.head;
}

uint64_t port_start(void)
{
    sim.running = true;
    sim.start_tick = sim.now;
    return sim.now;
}

void port_hold(void)
{
    sim_play();
    sim.running = false;
}

bool port_is_dry(void)
{
    sim_play();
    return sim.dry;
}

struct port_progress port_progress(void)
{
    sim_play();
    return sim.progress;
}

void port_set(uint8_t mask)
{
    sim_pins(sim.now, mask);
}

void port_wave_start(void)
{
    sim.waving = true;
    sim.code_tick = (sim.now / SIM_CODE_TICKS + 2u) * SIM_CODE_TICKS;
}

uint32_t port_wave_room(uint64_t *tick)
{
    if (!sim.waving) {
        abort();
    }
    *tick = sim.code_tick;
    if (sim.code_tick < sim.now) {
        return PORT_WAVE_OVERTAKEN;
    }
    uint64_t ahead = (sim.code_tick - sim.now) / SIM_CODE_TICKS;
    return ahead < CODES_AHEAD ? CODES_AHEAD - (uint32_t)ahead : 0u;
}

void port_wave_put(const uint16_t *const codes[], uint32_t count)
{
    for (uint32_t i = 0; i < count; i++) {
        if (sim.code_count < SIM_CODES) {
            sim.codes[sim.code_count++] = (struct sim_code){sim.code_tick, {codes[0][i], codes[1][i]}};
        }
        sim.code_tick += SIM_CODE_TICKS;
    }
}

void port_wave_rest(void)
{
    sim.waving = false;
    while (sim.code_count > sim.code_taken && sim.codes[sim.code_count - 1u].tick > sim.now) {
        sim.code_count--;
    }
}

uint8_t port_capture_begin(void)
{
    sim.change_tail = sim.change_head;
    return sim.levels;
}

bool port_capture_next(struct port_change *change)
{
    if (sim.change_tail == sim.change_head) {
        return false;
    }
    *change = sim.changes[sim.change_tail++ % CHANGES];
    return true;
}

uint32_t port_capture_lost(void)
{
    return 0;
}

bool port_send(const uint8_t *bytes, uint32_t size)
{
    if (sim.deaf || size > SENT_LARGEST - sim.sent_size) {
        return false;
    }
    memcpy(sim.sent + sim.sent_size, bytes, size);
    sim.sent_size += size;
    return true;
}

void port_bootloader(void)
{
    sim.bootloader = true;
}
