#include "wave.h"

#include "bytes.h" /* bytes_get16 */

#define TAG_PEAK 1u
#define TAG_HALF_WAVE 2u
#define TAG_APPROACH 3u
#define TAG_CORNER 4u
#define TAG_STRENGTHS 5u

#define HALF_WAVE_BYTES (4u + WAVE_POINTS)
#define PEAK_LARGEST 32767u
/* The strength of an ordinary half-wave, the largest there is. */
#define STRENGTH_FULL 32768u
#define OUTPUTS_LARGEST 8u
/* So that no product below leaves 64 bits. */
#define KNEE_LARGEST 0x0FFFFFFFu
/* A half-wave that differs from every one expected by more than this factor was made by no tooth. */
#define STRANGE 8u
/* So many spikes in a row are teeth after all. */
#define SPIKES_MOST 8u

#define PHASE_BITS 12u
#define PHASE_LAST ((1u << PHASE_BITS) - 1u)

#define DROOP_BITS 24u
/* So that no product leaves 32 bits. */
#define RATE_LARGEST (1u << 14u)
/* The sum itself fades so much slower than the high-pass takes away, or it would grow without end. */
#define FADE_SLOWER 16u
#define CODE_LARGEST 0xFFFF

/* Takes one half-wave; the rows must ascend. */
static bool wave_add(struct wave_form *form, const uint8_t *value)
{
    uint32_t knee_ticks = bytes_get32(value);
    uint32_t before = form->row_count > 0 ? form->rows[form->row_count - 1u].knee_ticks : 0;
    if (form->row_count == WAVE_ROWS || knee_ticks <= before || knee_ticks > KNEE_LARGEST) {
        return false;
    }
    struct wave_row *row = &form->rows[form->row_count++];
    row->knee_ticks = knee_ticks;
    for (uint32_t i = 0; i < WAVE_POINTS; i++) {
        row->shape[i] = value[4u + i];
    }
    return true;
}

/* Takes the strengths: the lowest output, and a strength for every number that 1 to 4 of them form. */
static bool wave_strengths(struct wave_form *form, uint8_t length, const uint8_t *value)
{
    uint32_t count = (length - 1u) / 2u;
    if (length % 2u == 0 || count < 2u || count > WAVE_STRENGTHS || (count & (count - 1u)) != 0) {
        return false;
    }
    form->first_bit = value[0];
    form->strength_mask = (uint8_t)(count - 1u);
    const uint8_t *at = value + 1u;
    for (uint32_t i = 0; i < count; i++, at += 2u) {
        form->strengths[i] = bytes_get16(at);
        if (form->strengths[i] > STRENGTH_FULL) {
            return false;
        }
    }
    return form->first_bit < OUTPUTS_LARGEST && count << form->first_bit <= 1u << OUTPUTS_LARGEST;
}

/* Takes one of the fields that are known; it is not empty. */
static bool wave_field(struct wave_form *form, uint8_t tag, uint8_t length, const uint8_t *value)
{
    switch (tag) {
    case TAG_PEAK:
        form->peak = length == 2u ? bytes_get16(value) : 0u;
        return form->peak > 0 && form->peak <= PEAK_LARGEST;
    case TAG_HALF_WAVE:
        return length == HALF_WAVE_BYTES && wave_add(form, value);
    case TAG_APPROACH:
        form->approach = value[0];
        return length == 1u && form->approach <= 1u;
    case TAG_CORNER:
        form->corner_ticks = length == 4u ? bytes_get32(value) : 0u;
        return form->corner_ticks > 0;
    default:
        return wave_strengths(form, length, value);
    }
}

enum wave_verdict wave_read(struct wave_form *form, const uint8_t *fields, uint32_t size)
{
    *form = (struct wave_form){.output = WAVE_OFF, .approach = 1u};
    bool good = true;
    for (uint32_t at = 0; at < size;) {
        if (size - at < 2u || size - at - 2u < fields[at + 1u]) {
            return WAVE_MALFORMED;
        }
        uint8_t length = fields[at + 1u];
        bool known = fields[at] >= TAG_PEAK && fields[at] <= TAG_STRENGTHS;
        good = good && (!known || (length > 0 && wave_field(form, fields[at], length, fields + at + 2u)));
        at += 2u + length;
    }
    return good && form->peak > 0 && form->row_count > 0 ? WAVE_GOOD : WAVE_REFUSED;
}

/* Returns the row whose length at the speed of the track is nearest to `ticks`, the shorter of two as near. */
static uint8_t wave_nearest(const struct wave_form *form, const struct wave_track *track, uint32_t ticks)
{
    uint64_t seen = (uint64_t)ticks * track->knee_ticks;
    uint64_t least = UINT64_MAX;
    uint8_t nearest = 0;
    for (uint8_t i = 0; i < form->row_count; i++) {
        uint64_t expected = (uint64_t)form->rows[i].knee_ticks * track->ticks;
        uint64_t off = seen > expected ? seen - expected : expected - seen;
        if (off < least) {
            least = off;
            nearest = i;
        }
    }
    return nearest;
}

/* Returns the height of a half-wave at the speed at which one of `knee_ticks` lasts `ticks`. */
static uint16_t wave_height(const struct wave_form *form, uint32_t knee_ticks, uint32_t ticks)
{
    return ticks <= knee_ticks ? form->peak : (uint16_t)((uint64_t)form->peak * knee_ticks / ticks);
}

struct wave_half wave_tell(const struct wave_form *form, struct wave_track *track, uint32_t ticks, uint8_t level)
{
    const struct wave_row *rows = form->rows;
    uint8_t last = (uint8_t)(form->row_count - 1u);
    struct wave_half half = {.level = level, .reciprocal = ((1ull << 48) - 1u) / ticks};
    if (track->ticks != 0) {
        uint64_t seen = (uint64_t)ticks * track->knee_ticks;
        if (seen * STRANGE < (uint64_t)rows[0].knee_ticks * track->ticks && track->spikes < SPIKES_MOST) {
            track->spikes++;
            half.height = wave_height(form, track->knee_ticks, track->ticks);
            return half;
        }
        if (seen > STRANGE * ((uint64_t)rows[last].knee_ticks * track->ticks)) {
            *track = (struct wave_track){0, 0, 0};
            half.row = last;
            half.height = wave_height(form, rows[last].knee_ticks, ticks);
            return half;
        }
        half.row = wave_nearest(form, track, ticks);
    }
    *track = (struct wave_track){rows[half.row].knee_ticks, ticks, 0};
    half.height = wave_height(form, rows[half.row].knee_ticks, ticks);
    return half;
}

uint16_t wave_strength(const struct wave_form *form, uint16_t height, uint8_t mask)
{
    if (form->strength_mask == 0) {
        return height;
    }
    return (uint16_t)((uint32_t)height * form->strengths[mask >> form->first_bit & form->strength_mask] / STRENGTH_FULL);
}

struct wave_droop wave_droop_of(const struct wave_form *form, uint32_t code_ticks)
{
    uint64_t share = form->corner_ticks == 0 ? 0 : ((uint64_t)code_ticks << DROOP_BITS) / form->corner_ticks;
    uint32_t rate = share < RATE_LARGEST ? (uint32_t)share : RATE_LARGEST;
    return (struct wave_droop){.rate = (int32_t)rate, .fade = (int32_t)(1u + rate / FADE_SLOWER)};
}

/* Returns the code of a voltage, given from the middle, with what was lost before it added, and takes note of it. */
static inline uint16_t wave_lift(struct wave_droop *droop, int32_t voltage)
{
    int32_t lost = (int32_t)(droop->sum >> DROOP_BITS);
    int32_t lifted = (int32_t)WAVE_MIDDLE + voltage + lost;
    droop->sum += voltage * droop->rate - lost * droop->fade;
    return (uint16_t)(lifted < 0 ? 0 : lifted > CODE_LARGEST ? CODE_LARGEST : lifted);
}

void wave_codes(const struct wave_form *form, const struct wave_half *half, struct wave_droop *droop, struct wave_part part,
                uint16_t *codes)
{
    const uint8_t *shape = form->rows[half->row].shape;
    const uint32_t mirror = half->level == form->approach ? PHASE_LAST : 0u;
    const uint64_t step = part.every * half->reciprocal;
    uint64_t place = part.at * half->reciprocal;
    for (uint32_t i = 0; i < part.count; i++, place += step) {
        uint32_t phase = (uint32_t)(place >> (48u - PHASE_BITS)) ^ mirror;
        const uint8_t *point = shape + (phase >> 8);
        int32_t between = ((int32_t)point[1] - point[0]) * (int32_t)(phase & 0xFFu);
        uint32_t share = (uint32_t)((int32_t)point[0] * 256 + between);
        int32_t voltage = (int32_t)((half->height * share) >> 16);
        codes[i] = wave_lift(droop, half->level != 0 ? voltage : -voltage);
    }
}

void wave_rest(struct wave_droop *droop, uint32_t count, uint16_t *codes)
{
    for (uint32_t i = 0; i < count; i++) {
        codes[i] = wave_lift(droop, 0);
    }
}
