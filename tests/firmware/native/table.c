/* The state table and its names, for a test that holds them against PROTOCOL.md. */
#include "state.h" /* STATE_ROWS */

#define ROW_TEXT(state, event, next, effect, reason) #state " " #event " " #next " " #effect " " #reason "\n"

/* Returns all rows, one a line. */
const char *table_rows(void);

const char *table_rows(void)
{
    return STATE_ROWS(ROW_TEXT);
}
