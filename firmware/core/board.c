#include "board.h"

#include "capture.h"  /* capture_collect */
#include "frame.h"    /* frame_feed */
#include "link.h"     /* link_take */
#include "port.h"     /* port_now */
#include "report.h"   /* report_send */
#include "run.h"      /* run_watch */
#include "sequence.h" /* sequence_wake */

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
    run_watch();
    capture_collect();
    if (run_news()) {
        report_news();
    }
    report_send(port_now());
    uint64_t deadline = report_deadline();
    uint64_t limit = run_deadline();
    return limit < deadline ? limit : deadline;
}
