/* The host's frames: which are taken, and what they ask of the run. PROTOCOL.md sections 1, 2 and 5. */
#ifndef CORE_LINK_H
#define CORE_LINK_H

#include "frame.h" /* struct frame */

/* Forgets how many ordered frames came. */
void link_wake(void);

/* Takes one good frame. */
void link_take(const struct frame *frame);

#endif
