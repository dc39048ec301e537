/*
 * The stream as it came: EDGES frames of the epoch in force wait here, packed, and are decoded one at a time when the
 * output stage is ready for them. Keeps the credit, and knows END.
 */
#ifndef CORE_STREAM_H
#define CORE_STREAM_H

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint64_t */

/* epoch, count, first and end_tick before the blocks */
#define STREAM_HEAD 11u

enum stream_verdict { STREAM_GOOD, STREAM_MISFIT, STREAM_OVERRUN };

/* Empties the stream for a new run, whose deltas have these least values. */
void stream_open(uint32_t first_tick, uint32_t shortest_ticks);

/* Queues the payload of an EDGES frame, at least STREAM_HEAD bytes. */
enum stream_verdict stream_push(const uint8_t *payload, uint32_t size);

/* Gives the cost of a frame that is not queued back to the host. */
void stream_ignore(uint32_t size);

/* Drops what is queued: the run has ended. */
void stream_drop(void);

/* Closes the stream; returns false if it is not what was queued. */
bool stream_close(uint64_t count, uint64_t last_tick);

/* Drops everything from transition `first` on and opens a new course there; returns false, and changes nothing, if `first`
   is handed over already or is not the first transition of a frame. */
bool stream_splice(uint64_t first, uint64_t handed);

/* Returns how many transitions from `handed` on are in the history, after decoding the next frame if there were none.
   Returns STREAM_UNFIT if that frame is not what its head says. */
uint32_t stream_supply(uint64_t handed);
#define STREAM_UNFIT UINT32_MAX

/* Returns how many transitions of the run are in the history, after decoding a frame of those that follow, ahead of its time,
   unless some hundreds are decoded ahead. Nothing else comes of it: the frame stays queued and is decoded anew when it is due. */
uint64_t stream_look(void);

/* Returns how many transitions are known, decoded or not. */
uint64_t stream_known(void);

/* Returns whether END is known. */
bool stream_closed(void);

/* Returns the bytes that the stream has had room for since it was opened. */
uint64_t stream_credit(void);

/* Returns the bytes waiting, in the unit of credit. */
uint32_t stream_queued(void);

#endif
