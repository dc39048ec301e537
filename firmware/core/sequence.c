#include "sequence.h"

/* How far behind a number may lie and still be a repeat: the most frames that a host may leave unacknowledged. */
#define REPEAT_MOST 64u

static struct {
    uint32_t session;
    bool begun;
    uint8_t next;
    bool hole;
    uint32_t missed;
} sequence;

void sequence_wake(void)
{
    sequence.begun = false;
    sequence.session = 0;
    sequence.next = 0;
    sequence.hole = false;
    sequence.missed = 0;
}

void sequence_session(uint32_t session, uint8_t seq)
{
    if (sequence.begun && sequence.session == session) {
        return;
    }
    sequence.begun = true;
    sequence.session = session;
    sequence.next = seq;
    sequence.hole = false;
}

enum sequence_verdict sequence_take(uint8_t seq)
{
    uint8_t behind = (uint8_t)(sequence.next - seq);
    if (behind == 0) {
        sequence.next++;
        sequence.hole = false;
        return SEQUENCE_NEXT;
    }
    if (behind <= REPEAT_MOST) {
        return SEQUENCE_REPEAT;
    }
    sequence.hole = true;
    sequence.missed++;
    return SEQUENCE_HOLE;
}

uint8_t sequence_next(void)
{
    return sequence.next;
}

bool sequence_hole(void)
{
    return sequence.hole;
}

uint32_t sequence_missed(void)
{
    return sequence.missed;
}
