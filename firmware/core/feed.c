#include "feed.h"

#include "history.h" /* history, history_slot */
#include "port.h"    /* port_hand, port_wait */
#include "stream.h"  /* stream_supply, stream_closed */

/* Most transitions handed over in one call, so that the link is looked after in between. */
#define FEED_MOST 256u

static struct {
    uint64_t handed; /* transitions */
    uint64_t last;   /* run tick of the last of them */
    uint64_t waited; /* ticks of holds added since then that are no transitions */
    uint64_t bridge; /* run tick up to which an empty stream does not let the output stage run dry */
    bool behind;
} feed;

void feed_open(void)
{
    feed.handed = 0;
    feed.last = 0;
    feed.waited = 0;
    feed.bridge = 0;
    feed.behind = false;
}

/* Adds a hold up to run tick `until` if all that the output stage was given ends before `needed`. */
static void feed_wait(uint64_t needed, uint64_t until)
{
    const struct port_facts *facts = port_facts();
    uint64_t end = feed.last + feed.waited;
    if (end >= needed || until < end + facts->shortest_hold_ticks) {
        return;
    }
    uint64_t ticks = until - end;
    if (ticks > facts->longest_hold_ticks) {
        ticks = facts->longest_hold_ticks;
    }
    port_wait((uint32_t)ticks);
    feed.waited += ticks;
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

/* Holds towards a transition beyond the horizon, `delta` after the last one. */
static void feed_approach(uint64_t now, uint32_t delta)
{
    const struct port_facts *facts = port_facts();
    uint64_t horizon = now + facts->handover_ticks;
    uint64_t until = feed.last + delta - facts->shortest_hold_ticks;
    feed_wait(now + facts->handover_ticks / 2u, until < horizon ? until : horizon);
}

/*
 * Hands over up to `count` transitions, each at most `ahead` ticks after the last one, which shrinks as they go. Returns how
 * many were handed over, and sets `*late` if the next should have been but cannot.
 */
static uint32_t feed_hand(uint32_t count, uint32_t ahead, bool *late)
{
    const uint32_t shortest = port_facts()->shortest_hold_ticks;
    const uint32_t longest = port_facts()->longest_hold_ticks;
    uint32_t index = (uint32_t)feed.handed;
    uint64_t last = feed.last;
    uint64_t waited = feed.waited;
    uint32_t done;
    for (done = 0; done < count; done++, index++) {
        uint32_t delta = history.deltas[history_slot(index)];
        if (delta > ahead) {
            break;
        }
        uint32_t ticks = delta - (uint32_t)waited;
        if (waited != 0 && delta < waited + shortest) {
            *late = true;
            break;
        }
        if (ticks > longest) {
            *late = true;
            break;
        }
        port_hand(ticks, history.masks[history_slot(index)]);
        waited = 0;
        last += delta;
        ahead -= delta;
    }
    feed.handed += done;
    feed.last = last;
    feed.waited = waited;
    return done;
}

enum feed_result feed_fill(uint64_t now)
{
    uint64_t horizon = now + port_facts()->handover_ticks;
    enum feed_result result = FEED_GOOD;
    uint32_t room = port_room();
    uint32_t left = room < FEED_MOST ? room : FEED_MOST;
    while (left > 0) {
        uint32_t supply = stream_supply(feed.handed);
        if (supply == STREAM_UNFIT) {
            result = FEED_MISFIT;
            break;
        }
        if (supply == 0) {
            feed_bridge_on(now);
            break;
        }
        uint32_t count = supply < left ? supply : left;
        uint64_t ahead = horizon > feed.last ? horizon - feed.last : 0;
        bool late = false;
        uint32_t done = feed_hand(count, ahead < UINT32_MAX ? (uint32_t)ahead : UINT32_MAX, &late);
        left -= done;
        if (late) {
            result = FEED_LATE;
            break;
        }
        if (done < count) {
            feed_approach(now, history.deltas[history_slot((uint32_t)feed.handed)]);
            break;
        }
    }
    feed.behind = room > FEED_MOST && left == 0;
    port_commit();
    return result;
}

void feed_bridge(uint64_t now)
{
    feed.bridge = now + port_facts()->handover_ticks;
}

bool feed_is_behind(void)
{
    return feed.behind;
}

uint64_t feed_handed(void)
{
    return feed.handed;
}

uint64_t feed_last(void)
{
    return feed.last;
}
