#include "link.h"

#include "bytes.h"    /* bytes_get16 */
#include "port.h"     /* port_now */
#include "report.h"   /* report_refused */
#include "run.h"      /* run_arm and its kin */
#include "sequence.h" /* sequence_take */
#include "stream.h"   /* STREAM_HEAD */
#include "types.h"    /* TYPE_HELLO */

/* A STATUS goes out after so many ordered frames, so that a fast host need not wait for credit. */
#define STATUS_EVERY 8u

/* wave and output before the fields */
#define CONFIG_HEAD 2u

static uint32_t ordered_frames;

/* Returns whether four bytes are this text. */
static bool link_is(const uint8_t *bytes, const char *text)
{
    for (uint32_t i = 0; i < 4u; i++) {
        if (bytes[i] != (uint8_t)text[i]) {
            return false;
        }
    }
    return true;
}

/* Answers HELLO, whatever the version. */
static enum run_answer link_hello(const struct frame *frame)
{
    if (!link_is(frame->payload, "EDWH")) {
        return RUN_REFUSED_VALUE;
    }
    sequence_session(bytes_get32(frame->payload + 4), frame->seq);
    report_welcome();
    return RUN_DONE;
}

/* Answers POLL. */
static enum run_answer link_poll(const struct frame *frame)
{
    report_poll(bytes_get32(frame->payload));
    return RUN_DONE;
}

/* Takes STOP. */
static enum run_answer link_stop(const struct frame *frame)
{
    return run_stop(EVENT_STOP, bytes_get16(frame->payload));
}

/* Takes PARK. */
static enum run_answer link_park(const struct frame *frame)
{
    return run_stop(EVENT_PARK, bytes_get16(frame->payload));
}

/* Takes ARM. */
static enum run_answer link_arm(const struct frame *frame)
{
    const uint8_t *at = frame->payload;
    struct run_order order = {
        .run = bytes_get16(at),
        .epoch = at[2],
        .initial = at[3],
        .idle = at[4],
        .inputs = at[5],
        .park_after_ms = bytes_get16(at + 6),
        .host_timeout_ms = bytes_get16(at + 8),
    };
    return run_arm(&order);
}

/* Takes EDGES. */
static enum run_answer link_edges(const struct frame *frame)
{
    return run_edges(frame->payload, frame->size);
}

/* Takes START. */
static enum run_answer link_start(const struct frame *frame)
{
    return run_start(bytes_get16(frame->payload));
}

/* Takes SPLICE. */
static enum run_answer link_splice(const struct frame *frame)
{
    return run_splice(frame->payload[0], frame->payload[1], bytes_get64(frame->payload + 2));
}

/* Takes END. */
static enum run_answer link_end(const struct frame *frame)
{
    return run_end(frame->payload[0], bytes_get64(frame->payload + 1), bytes_get64(frame->payload + 9));
}

/* Takes CONFIG. */
static enum run_answer link_config(const struct frame *frame)
{
    return run_configure(frame->payload[0], frame->payload[1], frame->payload + CONFIG_HEAD, frame->size - CONFIG_HEAD);
}

/* Takes BOOTLOADER. */
static enum run_answer link_bootloader(const struct frame *frame)
{
    return link_is(frame->payload, "BOOT") ? run_bootloader() : RUN_REFUSED_VALUE;
}

/* Every type the host may send, the least length of its payload, and who takes it. */
static const struct {
    uint8_t type;
    uint8_t size;
    enum run_answer (*take)(const struct frame *frame);
} TAKERS[] = {
    {TYPE_EDGES, STREAM_HEAD, link_edges},
    {TYPE_HELLO, 10, link_hello},
    {TYPE_POLL, 4, link_poll},
    {TYPE_STOP, 2, link_stop},
    {TYPE_PARK, 2, link_park},
    {TYPE_ARM, 10, link_arm},
    {TYPE_START, 2, link_start},
    {TYPE_SPLICE, 10, link_splice},
    {TYPE_END, 17, link_end},
    {TYPE_BOOTLOADER, 4, link_bootloader},
    {TYPE_CONFIG, CONFIG_HEAD, link_config},
};

/* Hands a frame to whoever takes its type, and refuses it if nobody does or it does not fit. */
static void link_act(const struct frame *frame)
{
    for (uint32_t i = 0; i < sizeof TAKERS / sizeof TAKERS[0]; i++) {
        if (TAKERS[i].type != frame->type) {
            continue;
        }
        if (frame->size < TAKERS[i].size) {
            report_refused(frame->type, frame->seq, REFUSAL_MALFORMED);
            return;
        }
        enum run_answer answer = TAKERS[i].take(frame);
        if (answer == RUN_REFUSED_STATE) {
            report_refused(frame->type, frame->seq, REFUSAL_STATE);
        } else if (answer == RUN_REFUSED_VALUE) {
            report_refused(frame->type, frame->seq, REFUSAL_VALUE);
        } else if (answer == RUN_MALFORMED) {
            report_refused(frame->type, frame->seq, REFUSAL_MALFORMED);
        }
        return;
    }
    report_refused(frame->type, frame->seq, REFUSAL_UNKNOWN);
}

void link_wake(void)
{
    ordered_frames = 0;
}

void link_take(const struct frame *frame)
{
    run_heard(port_now());
    if (frame->type >= TYPE_ORDERED && frame->type < TYPE_BOARD) {
        if (sequence_take(frame->seq) != SEQUENCE_NEXT) {
            report_status();
            return;
        }
        if (++ordered_frames % STATUS_EVERY == 0) {
            report_status();
        }
    }
    link_act(frame);
}
