#include "block.h"

#include "bytes.h"   /* bytes_get16 */
#include "history.h" /* history, history_slot */

struct history history;

enum predictor { LITERAL = 0, REPEAT = 1, TREND = 2, NEVER = 3 };

#define HEADER_MASKS (1u << 12)
#define HEADER_LAG (1u << 13)
#define HEADER_RESERVED (3u << 14)

/* One block: its header taken apart, and where its parts lie. */
struct block {
    uint32_t predictor;
    uint32_t count;
    uint32_t width;
    const uint8_t *residuals;
    const uint8_t *masks; /* null: predicted */
    const uint8_t *end;
};

/* Bits not yet taken, low bit first. */
struct bits {
    const uint8_t *next;
    uint32_t held;
    uint32_t count;
};

/* Takes up to 16 bits. */
static inline uint32_t bits_take_few(struct bits *bits, uint32_t width)
{
    while (bits->count < width) {
        bits->held |= (uint32_t)*bits->next++ << bits->count;
        bits->count += 8u;
    }
    uint32_t value = bits->held & ((1u << width) - 1u);
    bits->held >>= width;
    bits->count -= width;
    return value;
}

/* Takes up to 32 bits. */
static inline uint32_t bits_take(struct bits *bits, uint32_t width)
{
    if (width <= 16u) {
        return bits_take_few(bits, width);
    }
    uint32_t low = bits_take_few(bits, 16u);
    return low | (bits_take_few(bits, width - 16u) << 16);
}

/* Returns 0, -1, 1, -2 ... for 0, 1, 2, 3 ... */
static inline int32_t bits_unzigzag(uint32_t value)
{
    return (int32_t)((value >> 1) ^ (0u - (value & 1u)));
}

/* Takes a header apart and moves the cursor's lag; returns false if it does not fit into `size` bytes or breaks a rule. */
static bool block_open(struct block *block, struct block_cursor *cursor, const uint8_t *bytes, uint32_t size)
{
    if (size < 2u) {
        return false;
    }
    uint32_t header = bytes_get16(bytes);
    uint32_t used = 2u;
    block->predictor = header & 3u;
    block->count = ((header >> 2) & 15u) + 1u;
    block->width = (header >> 6) & 63u;
    if ((header & HEADER_RESERVED) != 0 || block->predictor == NEVER || block->width > 32u) {
        return false;
    }
    if ((header & HEADER_LAG) != 0) {
        if (size < 4u) {
            return false;
        }
        cursor->lag = bytes_get16(bytes + 2);
        used = 4u;
    }
    block->residuals = bytes + used;
    used += (block->count * block->width + 7u) / 8u;
    block->masks = (header & HEADER_MASKS) != 0 ? bytes + used : 0;
    used += block->masks ? block->count : 0u;
    block->end = bytes + used;
    return used <= size;
}

/* Returns whether all that the block looks back on is there. */
static bool block_reaches(const struct block *block, const struct block_cursor *cursor)
{
    if (block->predictor == LITERAL && block->masks) {
        return true;
    }
    uint32_t reach = cursor->lag + (block->predictor == TREND ? 1u : 0u);
    return cursor->lag != 0 && reach <= HISTORY_DEPTH && reach <= cursor->index;
}

/* Returns the delta that the predictor expects for the transition with this index. */
static inline int64_t block_predict(uint32_t predictor, uint32_t index, uint32_t lag)
{
    int64_t expected = history.deltas[history_slot(index - lag)];
    if (predictor == TREND) {
        expected += history.deltas[history_slot(index - 1u)];
        expected -= history.deltas[history_slot(index - 1u - lag)];
    }
    return expected;
}

/* Writes the deltas of one block into the history and sums them up; returns false if one is out of bounds. */
static bool block_deltas(const struct block *block, struct block_cursor *cursor)
{
    struct bits bits = {block->residuals, 0, 0};
    uint32_t index = (uint32_t)cursor->index;
    uint32_t least = cursor->index == 0 ? cursor->first : cursor->shortest;
    for (uint32_t end = index + block->count; index != end; index++) {
        uint32_t residual = bits_take(&bits, block->width);
        int64_t delta = residual;
        if (block->predictor != LITERAL) {
            delta = block_predict(block->predictor, index, cursor->lag) + bits_unzigzag(residual);
        }
        if (delta < least || delta > UINT32_MAX) {
            return false;
        }
        history.deltas[history_slot(index)] = (uint32_t)delta;
        cursor->tick += (uint32_t)delta;
        least = cursor->shortest;
    }
    return true;
}

/* Writes the masks of one block into the history. */
static void block_masks(const struct block *block, const struct block_cursor *cursor)
{
    uint32_t index = (uint32_t)cursor->index;
    for (uint32_t i = 0; i < block->count; i++, index++) {
        uint8_t mask = block->masks ? block->masks[i] : history.masks[history_slot(index - cursor->lag)];
        history.masks[history_slot(index)] = mask;
    }
}

bool block_decode(struct block_cursor *cursor, const uint8_t *bytes, uint32_t size, uint32_t count)
{
    const uint8_t *end = bytes + size;
    while (bytes != end) {
        struct block block;
        if (!block_open(&block, cursor, bytes, (uint32_t)(end - bytes)) || block.count > count ||
            !block_reaches(&block, cursor) || !block_deltas(&block, cursor)) {
            return false;
        }
        block_masks(&block, cursor);
        cursor->index += block.count;
        count -= block.count;
        bytes = block.end;
    }
    return count == 0;
}
