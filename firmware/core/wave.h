/*
 * What CONFIG says of a VR sensor's voltage, and the codes that follow from it: PROTOCOL.md section 7. A half-wave lies
 * between two transitions of an output; which one of those that CONFIG lists it is, and how high, follows from how long
 * it lasts and from the ones before it.
 */
#ifndef CORE_WAVE_H
#define CORE_WAVE_H

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint32_t */

/* Waves a board may have, half-waves that CONFIG may list, and points of a shape. */
#define WAVES_LARGEST 2u
#define WAVE_ROWS 8u
#define WAVE_POINTS 17u

/* The output of a wave that is switched off. */
#define WAVE_OFF 0xFFu
/* No voltage. */
#define WAVE_MIDDLE 0x8000u

/* One kind of half-wave: how long it lasts at the knee's speed, and its shape from the tooth's side on. */
struct wave_row {
    uint32_t knee_ticks;
    uint8_t shape[WAVE_POINTS];
};

/* What CONFIG says of one wave; the rows ascend by knee_ticks. */
struct wave_form {
    uint8_t output;
    uint8_t approach; /* level of half-waves that lead up to a tooth */
    uint16_t peak;
    uint8_t row_count;
    struct wave_row rows[WAVE_ROWS];
};

/* Where the speed was seen last, and how many spikes came since. */
struct wave_track {
    uint32_t knee_ticks;
    uint32_t ticks; /* 0: nowhere */
    uint8_t spikes;
};

/* A half-wave: the row it is, its height, its level, and the reciprocal of how long it lasts. */
struct wave_half {
    uint8_t row;
    uint8_t level;
    uint16_t height;
    uint64_t reciprocal;
};

enum wave_verdict { WAVE_GOOD, WAVE_MALFORMED, WAVE_REFUSED };

/* Reads the tagged fields of a CONFIG into a form; the form is worth nothing unless they are good. */
enum wave_verdict wave_read(struct wave_form *form, const uint8_t *fields, uint32_t size);

/* Tells what a half-wave of `ticks` above 0 is, and notes it. */
struct wave_half wave_tell(const struct wave_form *form, struct wave_track *track, uint32_t ticks, uint8_t level);

/* Returns the code of a half-wave `at` ticks after it began; `at` is less than it lasts. */
uint16_t wave_code(const struct wave_form *form, const struct wave_half *half, uint32_t at);

#endif
