#include "wave.h"

#include "bytes.h" /* bytes_get16 */

#define TAG_PEAK 1u
#define TAG_HALF_WAVE 2u
#define TAG_APPROACH 3u

#define HALF_WAVE_BYTES (4u + WAVE_POINTS)
#define PEAK_LARGEST 32767u
/* So that no product below leaves 64 bits. */
#define KNEE_LARGEST 0x0FFFFFFFu
/* A half-wave that differs from every one expected by more than this factor was made by no tooth. */
#define STRANGE 8u
/* So many spikes in a row are teeth after all. */
#define SPIKES_MOST 8u

#define PHASE_BITS 12u
#define PHASE_LAST ((1u << PHASE_BITS) - 1u)

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

/* Takes one of the fields that are known; it is not empty. */
static bool wave_field(struct wave_form *form, uint8_t tag, uint8_t length, const uint8_t *value)
{
    switch (tag) {
    case TAG_PEAK:
        form->peak = length == 2u ? bytes_get16(value) : 0u;
        return form->peak > 0 && form->peak <= PEAK_LARGEST;
    case TAG_HALF_WAVE:
        return length == HALF_WAVE_BYTES && wave_add(form, value);
    default:
        form->approach = value[0];
        return length == 1u && form->approach <= 1u;
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
        bool known = fields[at] >= TAG_PEAK && fields[at] <= TAG_APPROACH;
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

uint16_t wave_code(const struct wave_form *form, const struct wave_half *half, uint32_t at)
{
    uint32_t phase = (uint32_t)((at * half->reciprocal) >> (48u - PHASE_BITS));
    if (half->level == form->approach) {
        phase = PHASE_LAST - phase;
    }
    const uint8_t *point = form->rows[half->row].shape + (phase >> 8);
    int32_t between = ((int32_t)point[1] - point[0]) * (int32_t)(phase & 0xFFu);
    uint32_t share = (uint32_t)((int32_t)point[0] * 256 + between);
    uint32_t value = (half->height * share) >> 16;
    return (uint16_t)(half->level != 0 ? WAVE_MIDDLE + value : WAVE_MIDDLE - value);
}
