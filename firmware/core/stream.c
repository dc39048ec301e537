#include "stream.h"

#include "block.h"  /* block_decode */
#include "bytes.h"  /* bytes_get16 */
#include "config.h" /* STREAM_BYTES */

/* What a frame costs beside its payload: its length, kept in front of it. */
#define LENGTH_BYTES 2u
/* Set in the length of the first frame of a course: the lag begins at 0 there. */
#define LENGTH_COURSE 0x8000u

static struct {
    uint8_t bytes[STREAM_BYTES];
    uint32_t head; /* counts bytes put in, and wraps */
    uint32_t tail; /* counts bytes taken out, and wraps */
    uint64_t returned;

    uint64_t known;      /* transitions queued or decoded since the run began */
    uint32_t known_tick; /* run tick of the last of them, low bits */
    bool course_begins;  /* the next frame queued is the first of its course */

    struct block_cursor cursor; /* behind the last transition decoded */
    struct block_cursor before; /* before the frame it belongs to */

    struct block_cursor look; /* behind the last transition decoded ahead of its time */
    uint32_t look_place;      /* the frame to decode next so */
    bool look_ends;           /* that one does not fit, which is a matter for its time */

    bool closed;
    uint64_t last_tick;
} stream;

/* What the head of a frame in the queue says. */
struct piece {
    uint32_t cost;
    bool course_begins;
    uint32_t count;
    uint32_t end_tick;
};

/* Begins anew to look ahead of what is decoded. */
static void stream_look_anew(void)
{
    stream.look = stream.cursor;
    stream.look_place = stream.tail;
    stream.look_ends = false;
}

void stream_open(uint32_t first_tick, uint32_t shortest_ticks)
{
    stream.head = 0;
    stream.tail = 0;
    stream.returned = 0;
    stream.known = 0;
    stream.known_tick = 0;
    stream.course_begins = true;
    stream.cursor = (struct block_cursor){.shortest = shortest_ticks, .first = first_tick};
    stream.before = stream.cursor;
    stream.closed = false;
    stream.last_tick = 0;
    stream_look_anew();
}

/* Puts bytes behind the head. */
static void stream_put(const uint8_t *bytes, uint32_t size)
{
    uint32_t head = stream.head;
    for (const uint8_t *end = bytes + size; bytes < end; bytes++) {
        stream.bytes[head++ & (STREAM_BYTES - 1u)] = *bytes;
    }
    stream.head = head;
}

/* Returns the byte at a place of the queue. */
static uint8_t stream_at(uint32_t place)
{
    return stream.bytes[place & (STREAM_BYTES - 1u)];
}

enum stream_verdict stream_push(const uint8_t *payload, uint32_t size)
{
    uint32_t count = bytes_get16(payload + 1);
    if (size + LENGTH_BYTES > STREAM_BYTES - stream_queued()) {
        return STREAM_OVERRUN;
    }
    if (stream.closed || count == 0 || count > EDGES_LARGEST || bytes_get32(payload + 3) != (uint32_t)stream.known) {
        return STREAM_MISFIT;
    }
    uint32_t length = size | (stream.course_begins ? LENGTH_COURSE : 0u);
    stream_put((const uint8_t[]){(uint8_t)length, (uint8_t)(length >> 8)}, LENGTH_BYTES);
    stream_put(payload, size);
    stream.course_begins = false;
    stream.known += count;
    stream.known_tick = bytes_get32(payload + 7);
    return STREAM_GOOD;
}

void stream_ignore(uint32_t size)
{
    stream.returned += size + LENGTH_BYTES;
}

void stream_drop(void)
{
    stream.returned += stream_queued();
    stream.tail = stream.head;
}

bool stream_close(uint64_t count, uint64_t last_tick)
{
    if (count != stream.known || (uint32_t)last_tick != stream.known_tick) {
        return false;
    }
    if (stream.cursor.index == stream.known && stream.cursor.tick != last_tick) {
        return false;
    }
    stream.closed = true;
    stream.last_tick = last_tick;
    return true;
}

/* Returns the little-endian number of so many bytes at a place of the queue. */
static uint32_t stream_number(uint32_t place, uint32_t bytes)
{
    uint32_t value = 0;
    for (uint32_t i = 0; i < bytes; i++) {
        value |= (uint32_t)stream_at(place + i) << (8u * i);
    }
    return value;
}

/* Takes apart the head of the frame at a place of the queue. */
static void stream_peek(struct piece *piece, uint32_t place)
{
    uint32_t length = stream_number(place, LENGTH_BYTES);
    uint32_t payload = place + LENGTH_BYTES;
    piece->cost = (length & ~LENGTH_COURSE) + LENGTH_BYTES;
    piece->course_begins = (length & LENGTH_COURSE) != 0;
    piece->count = stream_number(payload + 1u, 2);
    piece->end_tick = stream_number(payload + 7u, 4);
}

/* Takes the run back to its first `known` transitions, the last of them at `tick`, the queue ending at `place`. */
static void stream_cut(uint64_t known, uint32_t tick, uint32_t place)
{
    stream.returned += stream.head - place;
    stream.head = place;
    stream.known = known;
    stream.known_tick = tick;
    stream.course_begins = true;
    stream.closed = false;
    stream_look_anew();
}

bool stream_splice(uint64_t first, uint64_t handed)
{
    if (first < handed || first > stream.known) {
        return false;
    }
    if (first == stream.before.index && first < stream.cursor.index) {
        stream.cursor = stream.before;
        stream_cut(first, (uint32_t)stream.cursor.tick, stream.tail);
        return true;
    }
    uint64_t index = stream.cursor.index;
    uint32_t tick = (uint32_t)stream.cursor.tick;
    uint32_t place = stream.tail;
    while (index < first && place != stream.head) {
        struct piece piece;
        stream_peek(&piece, place);
        index += piece.count;
        tick = piece.end_tick;
        place += piece.cost;
    }
    if (index != first) {
        return false;
    }
    stream_cut(first, tick, place);
    return true;
}

/* Decodes the frame at a place of the queue with a cursor; returns false if it is not what its head says. */
static bool stream_read(struct block_cursor *cursor, const struct piece *piece, uint32_t place)
{
    uint8_t blocks[FRAME_LARGEST];
    uint32_t size = piece->cost - LENGTH_BYTES - STREAM_HEAD;
    for (uint32_t i = 0; i < size; i++) {
        blocks[i] = stream_at(place + LENGTH_BYTES + STREAM_HEAD + i);
    }
    if (piece->course_begins) {
        cursor->lag = 0;
    }
    if (!block_decode(cursor, blocks, size, piece->count)) {
        return false;
    }
    if ((uint32_t)cursor->tick != piece->end_tick) {
        return false;
    }
    return !stream.closed || cursor->index != stream.known || cursor->tick == stream.last_tick;
}

/* Takes the oldest frame out of the queue and decodes it; returns false if it is not what its head says. */
static bool stream_decode(void)
{
    struct piece piece;
    uint32_t place = stream.tail;
    stream_peek(&piece, place);
    stream.tail += piece.cost;
    stream.returned += piece.cost;
    stream.before = stream.cursor;
    return stream_read(&stream.cursor, &piece, place);
}

uint64_t stream_look(void)
{
    if (stream.look.index <= stream.cursor.index) {
        stream_look_anew();
    }
    bool far = stream.look.index - stream.cursor.index >= EDGES_LARGEST;
    if (!far && !stream.look_ends && stream.look_place != stream.head) {
        struct piece piece;
        struct block_cursor before = stream.look;
        stream_peek(&piece, stream.look_place);
        if (stream_read(&stream.look, &piece, stream.look_place)) {
            stream.look_place += piece.cost;
        } else {
            stream.look = before;
            stream.look_ends = true;
        }
    }
    return stream.look.index;
}

uint32_t stream_supply(uint64_t handed)
{
    if (handed == stream.cursor.index && stream.tail != stream.head && !stream_decode()) {
        stream.cursor = stream.before;
        return STREAM_UNFIT;
    }
    return (uint32_t)(stream.cursor.index - handed);
}

uint64_t stream_known(void)
{
    return stream.known;
}

bool stream_closed(void)
{
    return stream.closed;
}

uint64_t stream_credit(void)
{
    return STREAM_BYTES + stream.returned;
}

uint32_t stream_queued(void)
{
    return stream.head - stream.tail;
}
