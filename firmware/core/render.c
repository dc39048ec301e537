#include "render.h"

#include "history.h" /* history, history_slot */
#include "port.h"    /* port_wave_put */
#include "stream.h"  /* stream_look */

/* A wave in a run. Ticks are run ticks; transitions are told by their index in the run. */
struct voltage {
    struct wave_track track;
    struct wave_track before; /* the track as it was before the half-wave under way */
    struct wave_half half;
    bool shaped; /* the half-wave under way began at a transition, and its end is known */
    bool moved;  /* a transition has passed */
    bool ends;   /* the end is known */
    uint8_t level;
    uint64_t begin;       /* when the last transition of this output passed */
    uint64_t begin_index; /* the transition behind it */
    uint64_t end;         /* when the next one does, or else the last transition looked at */
    uint64_t index;       /* the transition to look at next */
};

static struct wave_form forms[WAVES_LARGEST];
static struct voltage voltages[WAVES_LARGEST];
static uint64_t start;
static bool started;

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
    for (uint32_t i = 0; i < WAVES_LARGEST; i++) {
        voltages[i] = (struct voltage){.level = (uint8_t)(mask >> (forms[i].output & 7u) & 1u)};
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

/* Looks for the end of the half-wave under way, and tells what it is once that is known; false if it was overtaken. */
static bool render_look(const struct wave_form *form, struct voltage *voltage)
{
    uint64_t known = stream_look();
    if (voltage->index + HISTORY_DEPTH < known) {
        return false;
    }
    while (!voltage->ends && voltage->index < known) {
        uint32_t slot = history_slot((uint32_t)voltage->index++);
        voltage->end += history.deltas[slot];
        voltage->ends = (history.masks[slot] >> form->output & 1u) != voltage->level;
    }
    uint64_t ticks = voltage->end - voltage->begin;
    if (voltage->ends && voltage->moved && ticks <= UINT32_MAX) {
        voltage->half = wave_tell(form, &voltage->track, (uint32_t)ticks, voltage->level);
        voltage->shaped = true;
    }
    return true;
}

/* Goes on to the half-wave that begins where this one ends. */
static void render_turn(struct voltage *voltage)
{
    voltage->before = voltage->track;
    voltage->begin = voltage->end;
    voltage->begin_index = voltage->index;
    voltage->level ^= 1u;
    voltage->moved = true;
    voltage->ends = false;
    voltage->shaped = false;
}

/* Gives the code of a wave at a run tick, which never goes back; false if the stream has overtaken it. */
static bool render_code(const struct wave_form *form, struct voltage *voltage, uint64_t tick, uint16_t *code)
{
    for (;;) {
        if (!voltage->ends && !render_look(form, voltage)) {
            return false;
        }
        if (!voltage->ends || tick < voltage->end) {
            break;
        }
        render_turn(voltage);
    }
    bool inside = voltage->shaped && tick >= voltage->begin;
    *code = inside ? wave_code(form, &voltage->half, (uint32_t)(tick - voltage->begin)) : WAVE_MIDDLE;
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
    for (; room > 0; room--, tick += port_facts()->code_ticks) {
        uint16_t codes[WAVES_LARGEST];
        for (uint32_t i = 0; i < WAVES_LARGEST; i++) {
            codes[i] = WAVE_MIDDLE;
            bool on = forms[i].output != WAVE_OFF && tick >= start;
            if (on && !render_code(&forms[i], &voltages[i], tick - start, &codes[i])) {
                return RENDER_LATE;
            }
        }
        port_wave_put(codes);
    }
    return RENDER_GOOD;
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
