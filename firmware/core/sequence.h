/* The numbers of ordered frames: which one is taken, which is a repeat, which shows a hole. PROTOCOL.md section 1. */
#ifndef CORE_SEQUENCE_H
#define CORE_SEQUENCE_H

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint8_t */

enum sequence_verdict { SEQUENCE_NEXT, SEQUENCE_REPEAT, SEQUENCE_HOLE };

/* Forgets every session. */
void sequence_wake(void);

/* Begins a session at this number, unless it is the one that goes on already. */
void sequence_session(uint32_t session, uint8_t seq);

/* Judges the number of an ordered frame, and moves on past it if it is the next one. */
enum sequence_verdict sequence_take(uint8_t seq);

/* Returns the number expected next. */
uint8_t sequence_next(void);

/* Returns whether a later frame came before the expected one. */
bool sequence_hole(void);

/* Returns how many frames were dropped for a hole since the board woke. */
uint32_t sequence_missed(void);

#endif
