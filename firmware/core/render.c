#include "render.h"

#include "history.h" /* history, history_slot */
#include "port.h"    /* port_wave_put */
#include "stream.h"  /* stream_look */

/* Codes that are made at once, and most of them in one call, so that the edges are looked after in between. */
#define BATCH_CODES 32u
#define FILL_MOST 128u

/* A wave in a run. Ticks are run ticks; transitions are told by their index in the run. */
struct voltage {
    struct wave_track track;
    struct wave_track before; /* the track as it was before the half-wave under way */
    struct wave_half half;
    struct wave_droop droop;
    bool shaped; /* the half-wave under way began at a transition, and its end is known */
    bool moved;  /* a transition has passed */
    bool ends;   /* the end is known */
    uint8_t level;
    uint8_t mask;         /* of all outputs, since the last transition of this one */
    uint8_t end_mask;     /* the same since the next one, once it is known */
    uint64_t begin;       /* when the last transition of this output passed */
    uint64_t begin_index; /* the transition behind it */
    uint64_t end;         /* when the next one does, or else the last transition looked at */
    uint64_t index;       /* the transition to look at next */
};

static struct wave_form forms[WAVES_LARGEST];
static struct voltage voltages[WAVES_LARGEST];
static uint64_t start;
static bool started;
static bool behind; /* the port would take more codes at once */

void render_wake(void)
{
    for (uint32_t i = 0; i < WAVES_LARGEST; i++) {
        forms[i].output = WAVE_OFF;
    }
    render_open(0);
}

enum wave_verdict render_configure(uint8_t wave, uint8_t output, const uint8_t *fields, uint32_t size)
{
    if (wave >= port_facts()->waves) {
        return WAVE_REFUSED;
    }
    if (output == WAVE_OFF) {
        forms[wave].output = WAVE_OFF;
        return WAVE_GOOD;
    }
    struct wave_form form;
    enum wave_verdict verdict = wave_read(&form, fields, size);
    if (verdict != WAVE_GOOD) {
        return verdict;
    }
    if (output >= port_facts()->outputs) {
        return WAVE_REFUSED;
    }
    form.output = output;
    forms[wave] = form;
    return WAVE_GOOD;
}

uint8_t render_configured(void)
{
    uint8_t found = 0;
    for (uint32_t i = 0; i < WAVES_LARGEST; i++) {
        found |= (uint8_t)((forms[i].output != WAVE_OFF ? 1u : 0u) << i);
    }
    return found;
}

void render_open(uint8_t mask)
{
    started = false;
    behind = false;
    for (uint32_t i = 0; i < WAVES_LARGEST; i++) {
        voltages[i] = (struct voltage){
            .level = (uint8_t)(mask >> (forms[i].output & 7u) & 1u),
            .mask = mask,
            .droop = wave_droop_of(&forms[i], port_facts()->code_ticks),
        };
    }
}

void render_prepare(void)
{
    if (render_configured() != 0) {
        (void)stream_look();
    }
}

void render_start(uint64_t start_tick)
{
    if (render_configured() != 0) {
        start = start_tick;
        started = true;
        port_wave_start();
    }
}

/* Looks for the end of the half-wave under way as far as the stream is known; false if it was overtaken. */
static bool render_look(const struct wave_form *form, struct voltage *voltage)
{
    for (uint64_t known = stream_look(); !voltage->ends && voltage->index != known; known = stream_look()) {
        if (voltage->index + HISTORY_DEPTH < known) {
            return false;
        }
        while (!voltage->ends && voltage->index < known) {
            uint32_t slot = history_slot((uint32_t)voltage->index++);
            voltage->end += history.deltas[slot];
            voltage->end_mask = history.masks[slot];
            voltage->ends = (voltage->end_mask >> form->output & 1u) != voltage->level;
        }
    }
    return true;
}

/* Tells what the half-wave under way is, now that its end is known. */
static void render_tell(const struct wave_form *form, struct voltage *voltage)
{
    uint64_t ticks = voltage->end - voltage->begin;
    if (voltage->moved && ticks <= UINT32_MAX) {
        voltage->half = wave_tell(form, &voltage->track, (uint32_t)ticks, voltage->mask);
        voltage->shaped = true;
    }
}

/* Goes on to the half-wave that begins where this one ends. */
static void render_turn(struct voltage *voltage)
{
    voltage->before = voltage->track;
    voltage->begin = voltage->end;
    voltage->begin_index = voltage->index;
    voltage->level ^= 1u;
    voltage->mask = voltage->end_mask;
    voltage->moved = true;
    voltage->ends = false;
    voltage->shaped = false;
}

/* Comes to the half-wave of a run tick, which never goes back; false if the stream has overtaken it. */
static bool render_reach(const struct wave_form *form, struct voltage *voltage, uint64_t tick)
{
    for (;;) {
        if (!voltage->ends) {
            if (!render_look(form, voltage)) {
                return false;
            }
            if (!voltage->ends) {
                return true;
            }
            render_tell(form, voltage);
        }
        if (tick < voltage->end) {
            return true;
        }
        render_turn(voltage);
    }
}

/* Returns how many of `count` codes from a run tick on come before the end of the half-wave under way. */
static uint32_t render_before_end(const struct voltage *voltage, uint64_t tick, uint32_t count)
{
    uint32_t every = port_facts()->code_ticks;
    if (!voltage->ends || voltage->end - tick > (uint64_t)count * every) {
        return count;
    }
    return ((uint32_t)(voltage->end - tick) + every - 1u) / every;
}

/* Makes the codes of a wave from a run tick on; false if the stream has overtaken it. */
static bool render_codes(const struct wave_form *form, struct voltage *voltage, uint64_t tick, uint32_t count,
                         uint16_t *codes)
{
    uint32_t every = port_facts()->code_ticks;
    while (count > 0) {
        if (!render_reach(form, voltage, tick)) {
            return false;
        }
        uint32_t some = render_before_end(voltage, tick, count);
        if (voltage->shaped && tick >= voltage->begin) {
            struct wave_part part = {(uint32_t)(tick - voltage->begin), every, some};
            wave_codes(form, &voltage->half, &voltage->droop, part, codes);
        } else {
            wave_rest(&voltage->droop, some, codes);
        }
        tick += (uint64_t)some * every;
        codes += some;
        count -= some;
    }
    return true;
}

/* Hands codes of every wave from a tick of the board on to the port; false if the stream has overtaken one. */
static bool render_batch(uint64_t tick, uint32_t count)
{
    uint16_t codes[WAVES_LARGEST][BATCH_CODES];
    for (uint32_t i = 0; i < WAVES_LARGEST; i++) {
        if (forms[i].output == WAVE_OFF || tick < start) {
            wave_rest(&(struct wave_droop){0}, count, codes[i]);
        } else if (!render_codes(&forms[i], &voltages[i], tick - start, count, codes[i])) {
            return false;
        }
    }
    port_wave_put((const uint16_t *const[]){codes[0], codes[1]}, count);
    return true;
}

enum render_result render_fill(void)
{
    if (!started) {
        return RENDER_GOOD;
    }
    uint64_t tick;
    uint32_t room = port_wave_room(&tick);
    if (room == PORT_WAVE_OVERTAKEN) {
        return RENDER_LATE;
    }
    behind = room > FILL_MOST;
    for (uint32_t left = behind ? FILL_MOST : room; left > 0;) {
        uint32_t count = tick < start ? 1u : left < BATCH_CODES ? left : BATCH_CODES;
        if (!render_batch(tick, count)) {
            return RENDER_LATE;
        }
        tick += (uint64_t)count * port_facts()->code_ticks;
        left -= count;
    }
    return RENDER_GOOD;
}

bool render_is_behind(void)
{
    return started && behind;
}

void render_splice(uint64_t handed, uint64_t tick)
{
    for (uint32_t i = 0; i < WAVES_LARGEST; i++) {
        struct voltage *voltage = &voltages[i];
        if (voltage->index <= handed) {
            continue;
        }
        bool later = handed > voltage->begin_index;
        voltage->index = later ? handed : voltage->begin_index;
        voltage->end = later ? tick : voltage->begin;
        voltage->track = voltage->before;
        voltage->ends = false;
        voltage->shaped = false;
    }
}

void render_rest(void)
{
    if (started) {
        started = false;
        port_wave_rest();
    }
}
