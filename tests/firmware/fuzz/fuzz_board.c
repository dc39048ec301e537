/*
 * Throws bytes at the core, as libFuzzer makes them up. An input is a list of steps: a byte says what to do, a byte how
 * long its data are. Raw bytes go in as they are; frames get the CRC, the stuffing and mostly the number they should
 * have, so that the fuzzer gets behind the door. Frames are cut, repeated and swapped. Time passes, inputs move, the
 * sender finds no room.
 */
#include "board.h"  /* the core's face */
#include "bytes.h"  /* bytes_put32 */
#include "crc.h"    /* crc_of */
#include "feed.h"   /* feed_handed */
#include "frame.h"  /* FRAME_LARGEST */
#include "run.h"    /* run_now */
#include "sequence.h" /* sequence_next */
#include "sim.h"    /* the chip made of memory */
#include "stream.h" /* stream_queued */

#include <stdio.h>  /* fprintf */
#include <stdlib.h> /* abort */
#include <string.h> /* memcpy */

enum step { RAW, FRAME, FRAME_WRONG_SEQ, FRAME_CUT, FRAME_TWICE, FRAME_SWAPPED, TIME, DEAF, INPUT, DROP, STEPS };

static uint64_t parser_bytes;
static uint64_t now;
static uint8_t held_back[FRAME_WIRE_LARGEST];
static uint32_t held_size;

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* Says how many bytes the parser has taken. */
__attribute__((destructor)) static void say_total(void)
{
    fprintf(stderr, "parser steps: %llu\n", (unsigned long long)parser_bytes);
}

/* Gives bytes to the board. */
static void give(const uint8_t *bytes, uint32_t size)
{
    parser_bytes += size;
    board_receive(bytes, size);
}

/* Makes a frame of type and payload; returns its length on the wire. */
static uint32_t wrap(const uint8_t *data, uint32_t size, uint8_t seq, uint8_t *out)
{
    uint8_t plain[FRAME_LARGEST];
    uint32_t payload = size - 1u < FRAME_PAYLOAD_LARGEST ? size - 1u : FRAME_PAYLOAD_LARGEST;
    plain[0] = data[0];
    plain[1] = seq;
    memcpy(plain + 2, data + 1, payload);
    bytes_put32(plain + 2 + payload, crc_of(plain, payload + 2u));
    uint8_t *code = out;
    uint8_t *at = out + 1;
    for (uint32_t i = 0; i < payload + 6u; i++) {
        if (plain[i] != 0) {
            *at++ = plain[i];
        } else {
            *code = (uint8_t)(at - code);
            code = at++;
        }
    }
    *code = (uint8_t)(at - code);
    *at++ = 0;
    return (uint32_t)(at - out);
}

/* Gives a frame in one of the ways in which a link spoils it. */
static void give_frame(enum step step, const uint8_t *data, uint32_t size)
{
    uint8_t wire[FRAME_WIRE_LARGEST];
    uint8_t off = step == FRAME_WRONG_SEQ ? data[size - 1] : 0;
    uint32_t length = wrap(data, size, (uint8_t)(sequence_next() + off), wire);
    if (step == FRAME_SWAPPED && held_size == 0) {
        memcpy(held_back, wire, length);
        held_size = length;
        return;
    }
    give(wire, step == FRAME_CUT ? length / 2u : length);
    if (step == FRAME_TWICE) {
        give(wire, length);
    }
    if (step == FRAME_SWAPPED) {
        give(held_back, held_size);
        held_size = 0;
    }
}

/* What must be so whatever came. */
static void check(void)
{
    const struct run *run = run_now();
    if (run->state > STATE_FAULTED || run->played > feed_handed() || stream_queued() > STREAM_BYTES ||
        stream_credit() < STREAM_BYTES) {
        abort();
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static uint8_t sent[1 << 20];
    sim_wake();
    board_wake();
    now = 1;
    held_size = 0;
    while (size >= 2) {
        enum step step = data[0] % STEPS;
        uint32_t length = data[1];
        data += 2;
        size -= 2;
        if (length > size) {
            length = (uint32_t)size;
        }
        if (step == RAW) {
            give(data, length);
        } else if (step == TIME) {
            now += length * 40000u;
            sim_time(now);
            length = 0;
        } else if (step == DEAF) {
            sim_deaf(length & 1u);
            length = 0;
        } else if (step == INPUT) {
            sim_input(now, (uint8_t)length);
            length = 0;
        } else if (step == DROP) {
            board_dropped();
            length = 0;
        } else if (length > 0) {
            give_frame(step, data, length);
        }
        (void)board_poll();
        check();
        data += length;
        size -= length;
    }
    (void)sim_take_sent(sent);
    return 0;
}
