/* What the board tells the host: WELCOME, STATUS, PULSES and REFUSED. PROTOCOL.md sections 2, 3 and 6. */
#ifndef CORE_REPORT_H
#define CORE_REPORT_H

#include <stdint.h> /* uint64_t */

enum refusal { REFUSAL_UNKNOWN = 1, REFUSAL_MALFORMED = 2, REFUSAL_STATE = 3, REFUSAL_VALUE = 4 };

/* Forgets what was to be told. */
void report_wake(void);

/* Sends a WELCOME as soon as there is room. */
void report_welcome(void);

/* Sends a STATUS as soon as there is room. */
void report_status(void);

/* Sends a STATUS that tells of a change; what was captured before it is told before it. */
void report_news(void);

/* Sends a STATUS that answers this POLL. */
void report_poll(uint32_t token);

/* Sends a REFUSED as soon as there is room. */
void report_refused(uint8_t type, uint8_t seq, enum refusal code);

/* Sends what is due at this tick of the board. */
void report_send(uint64_t now);

/* Returns the board's tick at which something falls due by itself. */
uint64_t report_deadline(void);

#endif
