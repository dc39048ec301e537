#include "report.h"

#include "bytes.h"    /* bytes_put32 */
#include "capture.h"  /* capture_at */
#include "config.h"   /* PROTOCOL_MAJOR, STREAM_BYTES, HISTORY_DEPTH */
#include "feed.h"     /* feed_handed */
#include "frame.h"    /* frame_send */
#include "port.h"     /* port_facts */
#include "render.h"   /* render_configured */
#include "run.h"      /* run_now */
#include "sequence.h" /* sequence_next */
#include "stream.h"   /* stream_credit */
#include "types.h"    /* TYPE_STATUS */

#define STATUS_BUSY_MS 5u
#define STATUS_QUIET_MS 100u
/* A change waits at most this long for others to share its frame. */
#define PULSES_MS 2u
#define PULSES_HEAD 13u
/* Refusals that wait for room; more are dropped, as the host has enough to go by. */
#define REFUSED_SLOTS 64u
/* An entry of PULSES: a delta of at most ten 7-bit groups, and the levels. */
#define ENTRY_LARGEST 11u

#define FLAG_HOLE 1u
#define FLAG_SPLICE_REFUSED 2u

/* The payload of REFUSED. */
struct refused {
    uint8_t bytes[3];
};

static struct {
    bool welcome_due;
    bool status_due;
    uint32_t owed; /* so many captured changes go before the next STATUS */
    uint32_t token;
    struct refused refused[REFUSED_SLOTS];
    uint32_t refused_count;
    uint64_t status_tick;
    uint64_t pulses_tick;
} report;

void report_wake(void)
{
    report.welcome_due = false;
    report.status_due = false;
    report.owed = 0;
    report.refused_count = 0;
    report.token = 0;
    report.status_tick = 0;
    report.pulses_tick = 0;
}

void report_welcome(void)
{
    report.welcome_due = true;
}

void report_status(void)
{
    report.status_due = true;
}

void report_news(void)
{
    report.status_due = true;
    report.owed = capture_count();
}

void report_poll(uint32_t token)
{
    report.token = token;
    report.status_due = true;
}

void report_refused(uint8_t type, uint8_t seq, enum refusal code)
{
    if (report.refused_count < REFUSED_SLOTS) {
        report.refused[report.refused_count++] = (struct refused){{type, seq, (uint8_t)code}};
    }
    report.status_due = true;
}

/* Returns so many milliseconds in ticks. */
static uint64_t report_ms(uint32_t ms)
{
    return (uint64_t)ms * (port_facts()->tick_hz / 1000u);
}

/* Appends a tagged field of `size` bytes, low byte of `value` first. */
static uint8_t *report_field(uint8_t *at, uint8_t tag, uint8_t size, uint32_t value)
{
    at = bytes_put8(at, tag);
    at = bytes_put8(at, size);
    for (uint8_t i = 0; i < size; i++, value >>= 8) {
        at = bytes_put8(at, (uint8_t)value);
    }
    return at;
}

/* Appends a tagged text of at most 32 bytes. */
static uint8_t *report_text(uint8_t *at, uint8_t tag, const char *text)
{
    uint8_t size = 0;
    while (size < 32u && text[size] != 0) {
        size++;
    }
    at = bytes_put8(at, tag);
    at = bytes_put8(at, size);
    for (uint8_t i = 0; i < size; i++) {
        at = bytes_put8(at, (uint8_t)text[i]);
    }
    return at;
}

/* Sends WELCOME; returns false if there is no room. */
static bool report_send_welcome(void)
{
    const struct port_facts *facts = port_facts();
    uint8_t payload[FRAME_PAYLOAD_LARGEST];
    uint8_t *at = payload;
    for (uint8_t i = 0; i < 4u; i++) {
        at = bytes_put8(at, (uint8_t)"EDWH"[i]);
    }
    at = bytes_put8(at, PROTOCOL_MAJOR);
    at = bytes_put8(at, PROTOCOL_MINOR);
    at = bytes_put16(at, facts->board);
    for (uint32_t i = 0; i < sizeof facts->id; i++) {
        at = bytes_put8(at, facts->id[i]);
    }
    at = bytes_put32(at, facts->tick_hz);
    at = report_field(at, 1, 1, facts->outputs);
    at = report_field(at, 2, 1, facts->inputs);
    at = report_field(at, 3, 4, facts->shortest_hold_ticks);
    at = report_field(at, 4, 2, HISTORY_DEPTH);
    at = report_field(at, 5, 4, STREAM_BYTES);
    at = report_field(at, 6, 2, FRAME_LARGEST);
    at = report_field(at, 7, 4, facts->features);
    at = report_text(at, 8, facts->firmware);
    at = report_field(at, 9, 4, facts->handover_ticks);
    at = report_field(at, 10, 4, facts->first_tick);
    at = report_field(at, 11, 1, run_now()->state);
    at = report_field(at, 12, 2, run_now()->order.run);
    at = report_field(at, 13, 1, facts->waves);
    at = report_field(at, 14, 1, render_configured());
    return frame_send(TYPE_WELCOME, payload, (uint32_t)(at - payload));
}

/* Sends the refusals that wait, as far as there is room. */
static void report_send_refused(void)
{
    uint32_t sent = 0;
    while (sent < report.refused_count &&
           frame_send(TYPE_REFUSED, report.refused[sent].bytes, sizeof report.refused[sent].bytes)) {
        sent++;
    }
    report.refused_count -= sent;
    for (uint32_t i = 0; i < report.refused_count; i++) {
        report.refused[i] = report.refused[i + sent];
    }
}

/* Sends STATUS; returns false if there is no room. */
static bool report_send_status(uint64_t now)
{
    const struct run *run = run_now();
    uint8_t payload[FRAME_PAYLOAD_LARGEST];
    uint8_t *at = bytes_put8(payload, sequence_next());
    at = bytes_put8(at, (uint8_t)run->state);
    at = bytes_put8(at, (uint8_t)run->reason);
    at = bytes_put8(at, (uint8_t)((sequence_hole() ? FLAG_HOLE : 0u) | (run->splice_refused ? FLAG_SPLICE_REFUSED : 0u)));
    at = bytes_put16(at, run->order.run);
    at = bytes_put8(at, run->epoch);
    at = bytes_put8(at, run->refused_epoch);
    at = bytes_put32(at, report.token);
    at = bytes_put64(at, now);
    at = bytes_put64(at, run->start_tick);
    at = bytes_put64(at, stream_credit());
    at = bytes_put64(at, feed_handed());
    at = bytes_put64(at, run->played);
    at = bytes_put64(at, run->last_tick);
    at = bytes_put64(at, run->epoch_first);
    at = bytes_put64(at, run->park_tick);
    at = bytes_put32(at, stream_queued());
    at = bytes_put32(at, frame_bad());
    at = bytes_put32(at, sequence_missed());
    at = bytes_put32(at, capture_lost());
    at = bytes_put8(at, capture_began());
    return frame_send(TYPE_STATUS, payload, (uint32_t)(at - payload));
}

/* Appends a number in groups of seven bits, low group first, the high bit set in all but the last. */
static uint8_t *report_varint(uint8_t *at, uint64_t value)
{
    while (value >= 0x80u) {
        at = bytes_put8(at, (uint8_t)(value | 0x80u));
        value >>= 7;
    }
    return bytes_put8(at, (uint8_t)value);
}

/* Sends a frame full of captured changes and drops them; returns false if there is no room. */
static bool report_send_pulses(void)
{
    uint8_t payload[FRAME_PAYLOAD_LARGEST];
    uint8_t *at = payload + PULSES_HEAD;
    uint64_t base = capture_at(0)->tick;
    uint64_t last = base;
    uint32_t count = 0;
    uint32_t waiting = capture_count();
    while (count < waiting && at <= payload + FRAME_PAYLOAD_LARGEST - ENTRY_LARGEST) {
        const struct port_change *change = capture_at(count);
        at = report_varint(at, change->tick - last);
        at = bytes_put8(at, change->levels);
        last = change->tick;
        count++;
    }
    uint8_t *head = bytes_put32(payload, capture_first());
    head = bytes_put64(head, base);
    bytes_put8(head, (uint8_t)count);
    if (!frame_send(TYPE_PULSES, payload, (uint32_t)(at - payload))) {
        return false;
    }
    capture_drop(count);
    report.owed -= count < report.owed ? count : report.owed;
    return true;
}

/* Sends the captured changes that wait, as far as there is room. */
static void report_send_captured(uint64_t now)
{
    report.pulses_tick = now;
    while (capture_count() > 0 && report_send_pulses()) {
    }
}

/* Returns how far apart two STATUS are now. */
static uint64_t report_period(void)
{
    enum state state = run_now()->state;
    return report_ms(state == STATE_ARMED || state == STATE_RUNNING ? STATUS_BUSY_MS : STATUS_QUIET_MS);
}

void report_send(uint64_t now)
{
    if (report.welcome_due) {
        report.welcome_due = !report_send_welcome();
    }
    report_send_refused();
    if (report.owed > 0) {
        report_send_captured(now);
    }
    if (report.owed == 0 && (report.status_due || now - report.status_tick >= report_period())) {
        report.status_due = !report_send_status(now);
        report.status_tick = now;
    }
    if (capture_count() > 0 && now - report.pulses_tick >= report_ms(PULSES_MS)) {
        report_send_captured(now);
    }
}

uint64_t report_deadline(void)
{
    uint64_t status = report.status_tick + report_period();
    uint64_t pulses = report.pulses_tick + report_ms(PULSES_MS);
    return capture_count() > 0 && pulses < status ? pulses : status;
}
