#include "feed.h"

#include "history.h" /* history, history_slot */
#include "port.h"    /* port_hand, port_wait */
#include "stream.h"  /* stream_supply, stream_closed */

/* Most transitions handed over in one call, so that the link is looked after in between. */
#define FEED_MOST 256u

static struct {
    uint64_t handed; /* transitions */
    uint64_t last;   /* run tick of the last of them */
    uint64_t end;    /* run tick at which all that the output stage was given has passed */
    uint64_t bridge; /* run tick up to which an empty stream does not let it run dry */
} feed;

void feed_open(void)
{
    feed.handed = 0;
    feed.last = 0;
    feed.end = 0;
    feed.bridge = 0;
}

/* Adds a hold up to run tick `until` if all that was given ends before `needed`. */
static void feed_wait(uint64_t needed, uint64_t until)
{
    const struct port_facts *facts = port_facts();
    if (feed.end >= needed || until < feed.end + facts->shortest_hold_ticks) {
        return;
    }
    uint64_t ticks = until - feed.end;
    if (ticks > facts->longest_hold_ticks) {
        ticks = facts->longest_hold_ticks;
    }
    port_wait((uint32_t)ticks);
    feed.end += ticks;
}

/* Bridges an empty stream, by short holds, as the new course may begin at any moment. */
static void feed_bridge_on(uint64_t now)
{
    uint32_t step = port_facts()->handover_ticks / 8u;
    if (!stream_closed() && now < feed.bridge) {
        uint64_t until = now + step < feed.bridge ? now + step : feed.bridge;
        feed_wait(now + step / 2u, until);
    }
}

/* Hands over the next transition, due at run tick `due`; returns false if it is too late for that. */
static bool feed_hand(uint64_t due)
{
    const struct port_facts *facts = port_facts();
    uint64_t soonest = feed.end + (feed.end != 0 ? facts->shortest_hold_ticks : facts->first_tick);
    if (due < soonest || due - feed.end > facts->longest_hold_ticks) {
        return false;
    }
    port_hand((uint32_t)(due - feed.end), history.masks[history_slot((uint32_t)feed.handed)]);
    feed.end = due;
    feed.last = due;
    feed.handed++;
    return true;
}

enum feed_result feed_fill(uint64_t now)
{
    const struct port_facts *facts = port_facts();
    uint64_t horizon = now + facts->handover_ticks;
    enum feed_result result = FEED_GOOD;
    uint32_t room = port_room();
    for (uint32_t left = room < FEED_MOST ? room : FEED_MOST; left > 0; left--) {
        enum stream_supply supply = stream_supply(feed.handed);
        if (supply != SUPPLY_READY) {
            feed_bridge_on(now);
            result = supply == SUPPLY_MISFIT ? FEED_MISFIT : FEED_GOOD;
            break;
        }
        uint64_t due = feed.last + history.deltas[history_slot((uint32_t)feed.handed)];
        if (due > horizon) {
            uint64_t until = due - facts->shortest_hold_ticks;
            feed_wait(now + facts->handover_ticks / 2u, until < horizon ? until : horizon);
            break;
        }
        if (!feed_hand(due)) {
            result = FEED_LATE;
            break;
        }
    }
    port_commit();
    return result;
}

void feed_bridge(uint64_t now)
{
    feed.bridge = now + port_facts()->handover_ticks;
}

uint64_t feed_handed(void)
{
    return feed.handed;
}
