#include "wave.h"

#include "bytes.h" /* bytes_get16 */

#define TAG_PEAK 1u
#define TAG_HALF_WAVE 2u
#define TAG_APPROACH 3u
#define TAG_CORNER 4u
#define TAG_NUMBERS 5u

#define HALF_WAVE_BYTES (4u + WAVE_POINTS)
#define PEAK_LARGEST 32767u
/* The strength of an ordinary half-wave, the largest there is, and where a number's kind begins. */
#define STRENGTH_FULL 4095u
#define KIND_BIT 12u
#define OUTPUTS_LARGEST 8u
/* So that no product below leaves 64 bits. */
#define KNEE_LARGEST 0x0FFFFFFFu
/* A half-wave longer by more than this factor than every one expected: the wheel has rested. */
#define REST 8u
/* A half-wave that is longer or shorter by more than this factor than its number says is told by its time. */
#define TOLD 2u
/* So many spikes in a row are teeth after all, and so many half-waves in a row that do not fit fit after all. */
#define SPIKES_MOST 8u
#define MISFITS_MOST 4u

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

/* Takes the numbers: the lowest output, then what every number says that 1 to 4 outputs form. */
static bool wave_numbers(struct wave_form *form, uint8_t length, const uint8_t *value)
{
    uint32_t count = (length - 1u) / 2u;
    if (length % 2u == 0 || count < 2u || count > WAVE_NUMBERS || (count & (count - 1u)) != 0) {
        return false;
    }
    form->first_bit = value[0];
    form->last_number = (uint8_t)(count - 1u);
    const uint8_t *at = value + 1u;
    for (uint32_t i = 0; i < count; i++, at += 2u) {
        uint16_t number = bytes_get16(at);
        form->numbers[i] = (struct wave_number){number & STRENGTH_FULL, (uint8_t)(number >> KIND_BIT)};
    }
    return form->first_bit < OUTPUTS_LARGEST && count << form->first_bit <= 1u << OUTPUTS_LARGEST;
}

/* Returns whether there are the rows that the numbers say. */
static bool wave_has_rows(const struct wave_form *form)
{
    bool has = true;
    for (uint32_t i = 0; i < WAVE_NUMBERS; i++) {
        has = has && (form->numbers[i].row < form->row_count || form->numbers[i].row == WAVE_UNTOLD);
    }
    return has;
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
        return wave_numbers(form, length, value);
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
        bool known = fields[at] >= TAG_PEAK && fields[at] <= TAG_NUMBERS;
        good = good && (!known || (length > 0 && wave_field(form, fields[at], length, fields + at + 2u)));
        at += 2u + length;
    }
    return good && form->peak > 0 && form->row_count > 0 && wave_has_rows(form) ? WAVE_GOOD : WAVE_REFUSED;
}

/* Returns how long a row lasts at a speed, in the measure of a half-wave's ticks times the speed's knee_ticks. */
static inline uint64_t wave_expected(const struct wave_row *row, const struct wave_speed *speed)
{
    return (uint64_t)row->knee_ticks * speed->ticks;
}

/* The row of a half-wave, how long it is expected to last, and whether it is longer than every row. */
struct wave_match {
    uint64_t expected;
    uint8_t row;
    bool is_longest;
};

static inline uint64_t wave_between(uint64_t one, uint64_t other)
{
    return one > other ? one - other : other - one;
}

/* Finds the row nearest to what was seen, the shorter of two as near; `first` is what is expected of the first. */
static struct wave_match wave_nearest(const struct wave_form *form, const struct wave_speed *speed, uint64_t seen,
                                      uint64_t first)
{
    struct wave_match match = {.expected = first};
    uint64_t expected = first;
    for (uint8_t i = 1u; i < form->row_count && seen > expected; i++) {
        expected = wave_expected(&form->rows[i], speed);
        if (wave_between(seen, expected) < wave_between(seen, match.expected)) {
            match.expected = expected;
            match.row = i;
        }
    }
    match.is_longest = seen > expected;
    return match;
}

/* Returns whether one number is at most most / least of the other, and the other of the one. */
static inline bool wave_alike(uint64_t one, uint64_t other, uint32_t most, uint32_t least)
{
    return least * one <= most * other && least * other <= most * one;
}

/* Returns the height of a half-wave at a speed. */
static uint16_t wave_height(const struct wave_form *form, const struct wave_speed *speed)
{
    return speed->ticks <= speed->knee_ticks
               ? form->peak
               : (uint16_t)((uint64_t)form->peak * speed->knee_ticks / speed->ticks);
}

/* Returns whether a short half-wave is a spike, and takes note of it: what came before it and did not fit was a piece. */
static bool wave_spike(struct wave_track *track, uint32_t ticks, bool may_speed_up)
{
    if (track->spikes == SPIKES_MOST || (may_speed_up && wave_alike(ticks, track->spike_ticks, 4u, 3u))) {
        return false;
    }
    if (track->before.ticks != 0) {
        track->kept = track->before;
        track->before.ticks = 0;
    }
    track->spike_ticks = ticks;
    track->spikes++;
    return true;
}

/* Takes note of a half-wave that is no spike, and returns whether it tells the speed. */
static bool wave_trust(struct wave_track *track, const struct wave_match *match, uint64_t seen, bool is_short)
{
    const bool after_spike = track->spike_ticks != 0;
    track->spike_ticks = 0;
    track->spikes = 0;
    track->before.ticks = 0;
    if (match->is_longest || wave_alike(seen, match->expected, 5u, 4u) || track->misfits == MISFITS_MOST) {
        track->misfits = 0;
        return true;
    }
    track->misfits++;
    if (after_spike && !is_short) {
        return false;
    }
    track->before = track->kept;
    return true;
}

/* Finds the row of a half-wave: the one that was told, unless it lasts far too long or short for that, or the nearest. */
static struct wave_match wave_match_of(const struct wave_form *form, const struct wave_speed *speed, uint64_t seen,
                                       uint64_t first, uint8_t told)
{
    struct wave_match match = wave_nearest(form, speed, seen, first);
    if (told != WAVE_UNTOLD) {
        uint64_t expected = wave_expected(&form->rows[told], speed);
        if (wave_alike(seen, expected, TOLD, 1u)) {
            match.expected = expected;
            match.row = told;
            match.is_longest = match.is_longest && told + 1u == form->row_count;
        }
    }
    return match;
}

/* Tells the row of a half-wave by the speed kept and by what was told, and takes note of it. */
static uint8_t wave_row_of(const struct wave_form *form, struct wave_track *track, uint32_t ticks, uint8_t told)
{
    const struct wave_row *rows = form->rows;
    if (track->kept.ticks == 0) {
        uint8_t row = told != WAVE_UNTOLD ? told : 0u;
        *track = (struct wave_track){.kept = {rows[row].knee_ticks, ticks}};
        return row;
    }
    const uint64_t seen = (uint64_t)ticks * track->kept.knee_ticks;
    const uint64_t first = wave_expected(&rows[0], &track->kept);
    const bool is_short = 8u * seen < 3u * first;
    if (is_short && wave_spike(track, ticks, 8u * seen >= first)) {
        return 0;
    }
    const struct wave_match match = wave_match_of(form, &track->kept, seen, first, told);
    if (match.is_longest && seen > REST * match.expected) {
        *track = (struct wave_track){0};
    } else if (wave_trust(track, &match, seen, is_short)) {
        track->kept = (struct wave_speed){rows[match.row].knee_ticks, ticks};
    }
    return match.row;
}

struct wave_half wave_tell(const struct wave_form *form, struct wave_track *track, uint32_t ticks, uint8_t mask)
{
    static const struct wave_number ordinary = {STRENGTH_FULL, WAVE_UNTOLD};
    const struct wave_number *number =
        form->last_number == 0 ? &ordinary : &form->numbers[mask >> form->first_bit & form->last_number];
    struct wave_half half = {.row = wave_row_of(form, track, ticks, number->row),
                             .level = (uint8_t)(mask >> form->output & 1u),
                             .reciprocal = ((1ull << 48) - 1u) / ticks};
    const struct wave_speed rested = {form->rows[half.row].knee_ticks, ticks};
    const uint32_t height = wave_height(form, track->kept.ticks != 0 ? &track->kept : &rested);
    half.height = (uint16_t)(height * number->strength / STRENGTH_FULL);
    return half;
}

struct wave_droop wave_droop_of(const struct wave_form *form, uint32_t code_ticks)
{
    uint64_t share = form->corner_ticks == 0 ? 0 : ((uint64_t)code_ticks << DROOP_BITS) / form->corner_ticks;
    uint32_t rate = share < RATE_LARGEST ? (uint32_t)share : RATE_LARGEST;
    return (struct wave_droop){.rate = (int32_t)rate, .fade = (int32_t)(1u + rate / FADE_SLOWER)};
}

/* Returns the code of a voltage, given from the middle, with what was lost before it added, and takes note of it. GCC shifts
   a negative sum with its sign, which rounds down. */
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
