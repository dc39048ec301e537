#include "capture.h"

#include "config.h" /* CAPTURE_SLOTS */

static struct {
    struct port_change changes[CAPTURE_SLOTS];
    uint32_t head; /* counts changes put in, and wraps */
    uint32_t tail; /* counts changes taken out, and wraps */
    uint32_t lost;
    uint8_t inputs;
    uint8_t began;  /* levels of the captured inputs when the count began */
    uint8_t levels; /* of the captured inputs, after the last change */
} capture;

void capture_open(uint8_t inputs)
{
    capture.head = 0;
    capture.tail = 0;
    capture.lost = 0;
    capture.inputs = inputs;
    capture.began = port_capture_begin() & inputs;
    capture.levels = capture.began;
}

uint8_t capture_began(void)
{
    return capture.began;
}

void capture_collect(void)
{
    struct port_change change;
    while (port_capture_next(&change)) {
        change.levels &= capture.inputs;
        if (change.levels == capture.levels) {
            continue;
        }
        capture.levels = change.levels;
        if (capture.head - capture.tail == CAPTURE_SLOTS) {
            capture.lost++;
        } else {
            capture.changes[capture.head++ & (CAPTURE_SLOTS - 1u)] = change;
        }
    }
}

uint32_t capture_count(void)
{
    return capture.head - capture.tail;
}

const struct port_change *capture_at(uint32_t place)
{
    return &capture.changes[(capture.tail + place) & (CAPTURE_SLOTS - 1u)];
}

uint32_t capture_first(void)
{
    return capture.tail;
}

void capture_drop(uint32_t count)
{
    capture.tail += count;
}

uint32_t capture_lost(void)
{
    return capture.lost + port_capture_lost();
}
