#include "state.h"

#define ROW(state, event, next, effect, reason) \
    {STATE_##state, EVENT_##event, STATE_##next, EFFECT_##effect, REASON_##reason},

static const struct state_row ROWS[] = {STATE_ROWS(ROW)};

const struct state_row *state_find(enum state state, enum event event)
{
    for (const struct state_row *row = ROWS; row < ROWS + sizeof ROWS / sizeof ROWS[0]; row++) {
        if (row->state == state && row->event == event) {
            return row;
        }
    }
    return 0;
}
