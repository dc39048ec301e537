#include "run.h"

#include "capture.h" /* capture_open */
#include "feed.h"    /* feed_fill */
#include "port.h"    /* port_arm, port_start, port_hold, port_set */
#include "render.h"  /* render_fill */
#include "stream.h"  /* stream_push, stream_close, stream_splice */

#define ANY_RUN 0xFFFFu
/* A running output stage is looked after so often; it is given at least half of handover_ticks ahead. */
#define RUNNING_MS 1u

static struct run run;
static uint64_t heard_tick;
static bool news;

void run_wake(void)
{
    run = (struct run){.state = STATE_IDLE};
    heard_tick = 0;
    news = false;
    port_arm(0);
    render_wake();
    feed_open();
    stream_open(port_facts()->first_tick, port_facts()->shortest_hold_ticks);
    capture_open(0);
}

void run_heard(uint64_t now)
{
    heard_tick = now;
}

/* Returns so many milliseconds in ticks. */
static uint64_t run_ms(uint16_t ms)
{
    return (uint64_t)ms * (port_facts()->tick_hz / 1000u);
}

/* Reads how far the output stage has come. */
static void run_progress(void)
{
    struct port_progress progress = port_progress();
    run.played = progress.played;
    run.last_tick = progress.last_tick;
}

/* Opens the run that `run.order` asks for. */
static void run_initial(void)
{
    struct run_order order = run.order;
    run = (struct run){.state = STATE_ARMED, .order = order, .epoch = order.epoch};
    port_arm(order.initial);
    render_open(order.initial);
    feed_open();
    stream_open(port_facts()->first_tick, port_facts()->shortest_hold_ticks);
    capture_open(order.inputs);
}

/* Holds the pins as they are, and drops what was to follow. */
static void run_hold(void)
{
    port_hold();
    render_rest();
    stream_drop();
    run.held_tick = port_now();
    run_progress();
}

/* Brings the pins to their idle levels. */
static void run_park(enum state was)
{
    if (was == STATE_ARMED || was == STATE_RUNNING) {
        run_hold();
    }
    port_set(run.order.idle);
    if (run.park_tick == 0) {
        run.park_tick = port_now();
    }
}

/* Goes through the state table: moves on if there is a row for the event, and says whether there was. */
static bool run_event(enum event event)
{
    enum state was = run.state;
    const struct state_row *row = state_find(was, event);
    if (!row) {
        return false;
    }
    run.state = (enum state)row->next;
    if (row->reason != REASON_NONE) {
        run.reason = (enum reason)row->reason;
    }
    switch ((enum effect)row->effect) {
    case EFFECT_initial:
        run_initial();
        break;
    case EFFECT_hold:
        run_hold();
        break;
    case EFFECT_park:
        run_park(was);
        break;
    case EFFECT_bootloader:
        port_bootloader();
        break;
    case EFFECT_queue:
    case EFFECT_splice:
    case EFFECT_start:
    case EFFECT_configure:
        break; /* done by whoever brought the event */
    }
    news = news || run.state != was || row->effect == EFFECT_park;
    return true;
}

/* Feeds the output stage up to the horizon of run tick `tick`; returns false if that ended the run. */
static bool run_feed(uint64_t tick)
{
    switch (feed_fill(tick)) {
    case FEED_GOOD:
        return true;
    case FEED_MISFIT:
        run_event(EVENT_misfit);
        return false;
    case FEED_LATE:
        run_event(EVENT_late);
        return false;
    }
    run_event(EVENT_broken);
    return false;
}

/* Starts the output stage, its first holds already in it. */
static void run_begin(void)
{
    uint64_t handed;
    do {
        handed = feed_handed();
        if (!run_feed(0)) {
            return;
        }
    } while (feed_handed() != handed);
    run.start_tick = feed_handed() > 0 || stream_known() > 0 ? port_start() : port_now();
    render_start(run.start_tick);
}

/* Returns what becomes of a frame that has no row: refused, or ignored because it was under way when the run ended. */
static enum run_answer run_unwanted(enum event event)
{
    bool over = run.state == STATE_HOLDING || run.state == STATE_FAULTED;
    bool passes = event == EVENT_STOP || event == EVENT_PARK || (over && (event == EVENT_EDGES || event == EVENT_END));
    return passes ? RUN_IGNORED : RUN_REFUSED_STATE;
}

/* Returns whether the state table has a row for a frame now. */
static bool run_wants(enum event event)
{
    return state_find(run.state, event) != 0;
}

enum run_answer run_arm(const struct run_order *order)
{
    if (!run_wants(EVENT_ARM)) {
        return run_unwanted(EVENT_ARM);
    }
    uint8_t beyond = (uint8_t)~((1u << port_facts()->outputs) - 1u);
    if (order->host_timeout_ms == 0 || ((order->initial | order->idle) & beyond) != 0) {
        return RUN_REFUSED_VALUE;
    }
    run.order = *order;
    run_event(EVENT_ARM);
    return RUN_DONE;
}

enum run_answer run_edges(const uint8_t *payload, uint32_t size)
{
    if (!run_wants(EVENT_EDGES)) {
        stream_ignore(size);
        return run_unwanted(EVENT_EDGES);
    }
    if (payload[0] != run.epoch) {
        stream_ignore(size);
        return RUN_IGNORED;
    }
    run_event(EVENT_EDGES);
    switch (stream_push(payload, size)) {
    case STREAM_GOOD:
        break;
    case STREAM_MISFIT:
        run_event(EVENT_misfit);
        break;
    case STREAM_OVERRUN:
        run_event(EVENT_overrun);
        break;
    }
    return RUN_DONE;
}

enum run_answer run_end(uint8_t epoch, uint64_t count, uint64_t last_tick)
{
    if (!run_wants(EVENT_END)) {
        return run_unwanted(EVENT_END);
    }
    if (epoch != run.epoch) {
        return RUN_IGNORED;
    }
    run_event(EVENT_END);
    if (!stream_close(count, last_tick)) {
        run_event(EVENT_misfit);
    }
    return RUN_DONE;
}

enum run_answer run_start(uint16_t number)
{
    if (!run_wants(EVENT_START)) {
        return run_unwanted(EVENT_START);
    }
    if (number != run.order.run || (stream_known() == 0 && !stream_closed())) {
        return RUN_REFUSED_VALUE;
    }
    run_event(EVENT_START);
    run_begin();
    return RUN_DONE;
}

enum run_answer run_splice(uint8_t epoch, uint8_t next_epoch, uint64_t first)
{
    if (!run_wants(EVENT_SPLICE)) {
        return run_unwanted(EVENT_SPLICE);
    }
    run_event(EVENT_SPLICE);
    news = true;
    run.splice_refused = epoch != run.epoch || !stream_splice(first, feed_handed());
    if (run.splice_refused) {
        run.refused_epoch = next_epoch;
        return RUN_DONE;
    }
    render_splice(feed_handed(), feed_last());
    run.epoch = next_epoch;
    run.epoch_first = first;
    if (run.state == STATE_RUNNING) {
        feed_bridge(port_now() - run.start_tick);
    }
    return RUN_DONE;
}

enum run_answer run_stop(enum event event, uint16_t number)
{
    if (number != ANY_RUN && number != run.order.run) {
        return RUN_IGNORED;
    }
    return run_event(event) ? RUN_DONE : run_unwanted(event);
}

enum run_answer run_bootloader(void)
{
    return run_event(EVENT_BOOTLOADER) ? RUN_DONE : run_unwanted(EVENT_BOOTLOADER);
}

enum run_answer run_configure(uint8_t wave, uint8_t output, const uint8_t *fields, uint32_t size)
{
    if (!run_wants(EVENT_CONFIG)) {
        return run_unwanted(EVENT_CONFIG);
    }
    switch (render_configure(wave, output, fields, size)) {
    case WAVE_GOOD:
        break;
    case WAVE_MALFORMED:
        return RUN_MALFORMED;
    case WAVE_REFUSED:
        return RUN_REFUSED_VALUE;
    }
    run_event(EVENT_CONFIG);
    return RUN_DONE;
}

void run_dropped(void)
{
    run_event(EVENT_dropped);
}

/* Returns what it means that the output stage plays nothing more. */
static enum event run_why_dry(void)
{
    if (feed_handed() < stream_known()) {
        return EVENT_late;
    }
    return stream_closed() ? EVENT_finished : EVENT_dry;
}

/* Looks after a run that plays. */
static void run_play(uint64_t now)
{
    bool empty = stream_closed() && stream_known() == 0;
    if (empty || port_is_dry()) {
        run_event(run_why_dry());
    } else if (render_fill() == RENDER_LATE) {
        run_event(EVENT_late);
    } else if (run_feed(now - run.start_tick)) {
        run_progress();
    }
}

/* Returns when the host counts as silent, or when the pins are parked; UINT64_MAX if neither is to come. */
static uint64_t run_limit(void)
{
    switch (run.state) {
    case STATE_ARMED:
    case STATE_RUNNING:
        return heard_tick + run_ms(run.order.host_timeout_ms);
    case STATE_HOLDING:
    case STATE_FAULTED:
        return run.park_tick == 0 ? run.held_tick + run_ms(run.order.park_after_ms) : UINT64_MAX;
    case STATE_IDLE:
        break;
    }
    return UINT64_MAX;
}

void run_watch(void)
{
    uint64_t now = port_now();
    if (now >= run_limit()) {
        bool held = run.state == STATE_HOLDING || run.state == STATE_FAULTED;
        run_event(held ? EVENT_time : EVENT_silence);
    }
    if (run.state == STATE_RUNNING) {
        run_play(now);
    } else if (run.state == STATE_ARMED) {
        render_prepare();
    }
}

uint64_t run_deadline(void)
{
    uint64_t limit = run_limit();
    uint64_t soon = port_now() + (feed_is_behind() || render_is_behind() ? 0 : run_ms(RUNNING_MS));
    return run.state == STATE_RUNNING && soon < limit ? soon : limit;
}

const struct run *run_now(void)
{
    return &run;
}

bool run_news(void)
{
    bool was = news;
    news = false;
    return was;
}
