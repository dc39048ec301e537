#include "board.h"

#include "capture.h"  /* capture_collect */
#include "frame.h"    /* frame_feed */
#include "link.h"     /* link_take */
#include "port.h"     /* port_now */
#include "report.h"   /* report_send */
#include "run.h"      /* run_watch */
#include "sequence.h" /* sequence_wake */

/* A running output stage is looked after so often; it is given at least half of handover_ticks ahead. */
#define RUNNING_MS 1u

void board_wake(void)
{
    frame_wake();
    sequence_wake();
    link_wake();
    report_wake();
    run_wake();
}

void board_receive(const uint8_t *bytes, uint32_t size)
{
    const uint8_t *end = bytes + size;
    struct frame frame;
    while (frame_feed(&bytes, end, &frame)) {
        link_take(&frame);
    }
}

void board_dropped(void)
{
    run_dropped();
}

void board_touched(void)
{
    (void)run_bootloader();
}

uint64_t board_poll(void)
{
    capture_collect();
    run_watch();
    if (run_news()) {
        report_status();
    }
    uint64_t now = port_now();
    report_send(now);
    uint64_t deadline = report_deadline();
    uint64_t soon = now + RUNNING_MS * (port_facts()->tick_hz / 1000u);
    return run_now()->state == STATE_RUNNING && soon < deadline ? soon : deadline;
}
