/*
 * The voltages of VR sensors: looks ahead in the stream for the transition at which each half-wave ends, and keeps the
 * port's wave stage in codes. PROTOCOL.md section 7.
 */
#ifndef CORE_RENDER_H
#define CORE_RENDER_H

#include "wave.h" /* enum wave_verdict */

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint64_t */

enum render_result { RENDER_GOOD, RENDER_LATE };

/* Switches every wave off, as after power-up. */
void render_wake(void);

/* Takes what CONFIG says of a wave; changes nothing unless it is good. */
enum wave_verdict render_configure(uint8_t wave, uint8_t output, const uint8_t *fields, uint32_t size);

/* Returns which waves are switched on, a bit each. */
uint8_t render_configured(void);

/* Opens a run whose outputs are at `mask`. */
void render_open(uint8_t mask);

/* Looks at the stream of an armed run, so that its first codes come at once. */
void render_prepare(void);

/* Begins to make codes; `start_tick` is the board's tick at run tick 0. */
void render_start(uint64_t start_tick);

/* Makes codes, as many as the port takes but no more than a millisecond of them. */
enum render_result render_fill(void);

/* Returns whether there is more to make at once. */
bool render_is_behind(void);

/* Forgets what was seen of the stream behind its first `handed` transitions, the last of them at `tick`: it has a new
   course. */
void render_splice(uint64_t handed, uint64_t tick);

/* Brings the waves to rest: the run is over. */
void render_rest(void);

#endif
