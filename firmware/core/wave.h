/*
 * What CONFIG says of a VR sensor's voltage, and the codes that follow from it: PROTOCOL.md section 7. A half-wave lies
 * between two transitions of an output; which one of those that CONFIG lists it is, and how high, follows from how long
 * it lasts, from the ones before it, and from a number that other outputs show.
 */
#ifndef CORE_WAVE_H
#define CORE_WAVE_H

#include <stdbool.h> /* bool */
#include <stdint.h>  /* uint32_t */

/* Waves a board may have, half-waves that CONFIG may list, points of a shape, and numbers of half-waves. */
#define WAVES_LARGEST 2u
#define WAVE_ROWS 8u
#define WAVE_POINTS 17u
#define WAVE_NUMBERS 16u

/* The output of a wave that is switched off. */
#define WAVE_OFF 0xFFu
/* The row of half-waves that are told by their times alone. */
#define WAVE_UNTOLD 15u
/* No voltage. */
#define WAVE_MIDDLE 0x8000u

/* One kind of half-wave: how long it lasts at the knee's speed, and its shape from the tooth's side on. */
struct wave_row {
    uint32_t knee_ticks;
    uint8_t shape[WAVE_POINTS];
};

/* What the number says that other outputs show when a half-wave begins: how strong it is, and which row. */
struct wave_number {
    uint16_t strength;
    uint8_t row;
};

/* What CONFIG says of one wave; the rows ascend by knee_ticks. */
struct wave_form {
    uint8_t output;
    uint8_t approach; /* level of half-waves that lead up to a tooth */
    uint16_t peak;
    uint8_t row_count;
    struct wave_row rows[WAVE_ROWS];
    uint32_t corner_ticks; /* time constant of the high-pass behind the board; 0: none */
    uint8_t first_bit;     /* the lowest of the outputs whose levels are the number */
    uint8_t last_number;   /* 0: half-waves have none */
    struct wave_number numbers[WAVE_NUMBERS];
};

/* The speed at which a half-wave of knee_ticks lasts so many ticks; 0: none. */
struct wave_speed {
    uint32_t knee_ticks;
    uint32_t ticks;
};

/* The speed seen last, and what may yet be wrong with it. */
struct wave_track {
    struct wave_speed kept;
    struct wave_speed before; /* if the last half-wave did not fit: what a spike brings back */
    uint32_t spike_ticks;     /* of the last half-wave, if it was a spike; else 0 */
    uint8_t spikes;           /* so many in a row */
    uint8_t misfits;          /* since the last half-wave that fitted */
};

/* A half-wave: the row it is, its height, its level, and the reciprocal of how long it lasts. */
struct wave_half {
    uint8_t row;
    uint8_t level;
    uint16_t height;
    uint64_t reciprocal;
};

/* What a high-pass behind the board will take away, so that it can be added beforehand. */
struct wave_droop {
    int64_t sum;  /* what was lost, in 2^-24 of a code */
    int32_t rate; /* the share of a code that is lost until the next one, in 2^-24 */
    int32_t fade; /* the share of the sum that fades until then, in 2^-24 */
};

/* Codes of a half-wave: the first `at` ticks after it began, so many ticks from one to the next; all lie within it. */
struct wave_part {
    uint32_t at;
    uint32_t every;
    uint32_t count;
};

enum wave_verdict { WAVE_GOOD, WAVE_MALFORMED, WAVE_REFUSED };

/* Reads the tagged fields of a CONFIG into a form; the form is worth nothing unless they are good. */
enum wave_verdict wave_read(struct wave_form *form, const uint8_t *fields, uint32_t size);

/* Tells what a half-wave of `ticks` above 0 is that begins with the outputs at `mask`, and notes it. */
struct wave_half wave_tell(const struct wave_form *form, struct wave_track *track, uint32_t ticks, uint8_t mask);

/* Returns what a wave has lost before its first code, if one comes every `code_ticks`. */
struct wave_droop wave_droop_of(const struct wave_form *form, uint32_t code_ticks);

/* Makes the codes of a part of a half-wave. */
void wave_codes(const struct wave_form *form, const struct wave_half *half, struct wave_droop *droop, struct wave_part part,
                uint16_t *codes);

/* Makes codes of no voltage. */
void wave_rest(struct wave_droop *droop, uint32_t count, uint16_t *codes);

#endif
