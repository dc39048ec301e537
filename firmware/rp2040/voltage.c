#include "voltage.h"

#include "cpu.h"       /* cpu_interrupts_off */
#include "registers.h" /* PWM_CC and its kin */
#include "timebase.h"  /* timebase_now */

#include <stdbool.h> /* bool */

/* Slices 0 and 1 make the pulses on these pins and the three after; slice 2 has no pin and paces the DMA. */
#define PIN_VOLTAGES 16u
#define SLICE_PACE 2u
#define SLICES (BIT(0) | BIT(1) | BIT(SLICE_PACE))
/* Each wave has two channels, which take turns for ever: one begins as the other ends, at the ring's beginning. */
#define DMA_VOLTAGE(wave, turn) (3u + VOLTAGE_WAVES * (turn) + (wave))
#define TURNS 2u
#define DMA_FIRST_TURN (BIT(DMA_VOLTAGE(0u, 0u)) | BIT(DMA_VOLTAGE(1u, 0u)))
#define DMA_SECOND_TURN (BIT(DMA_VOLTAGE(0u, 1u)) | BIT(DMA_VOLTAGE(1u, 1u)))

#define PULSE_CYCLES 256u
/* The DMA writes in the middle of a pulse's period, so that what it wrote counts from the next period's first cycle on. */
#define PACE_AHEAD (PULSE_CYCLES / 2u)
/* No transfer is started nearer to the pace than this. */
#define PACE_MARGIN 256u
#define RING_BITS 11u
_Static_assert(VOLTAGE_RING_CODES * sizeof(uint32_t) == 1u << RING_BITS, "the DMA's ring holds the codes");
#define RING_SPARE 8u
/* Transfers of one turn, 67 ms: whole rings, and more than pass between two looks at them. */
#define TURN_TRANSFERS (16u * VOLTAGE_RING_CODES)
/* A run begins with so many middle codes, 1 ms, in which the first frames are looked through. */
#define LEAD_CODES 128u
#define MIDDLE 0x80u

__attribute__((section(".ring_voltage"), aligned(1u << RING_BITS))) static volatile uint32_t
    rings[VOLTAGE_WAVES][VOLTAGE_RING_CODES];

static struct {
    uint64_t begin; /* when the slices began */
    uint64_t first; /* the code that the first transfer brings, in codes since then */
    uint64_t put;   /* transfers for which there is a code */
    uint64_t done;  /* transfers seen to be over */
    bool overtaken; /* one of them came before its code */
} voltage;

/* Stops the transfers for good. */
static void voltage_stop_dma(void)
{
    for (uint32_t channel = DMA_VOLTAGE(0u, 0u); channel < DMA_VOLTAGE(0u, TURNS); channel++) {
        DMA_AL1_CTRL(channel) = DMA_CHAIN_TO(channel);
    }
    DMA_CHAN_ABORT = DMA_FIRST_TURN | DMA_SECOND_TURN;
    while (DMA_CHAN_ABORT != 0) {
    }
}

void voltage_rest(void)
{
    voltage_stop_dma();
    for (uint32_t wave = 0; wave < VOLTAGE_WAVES; wave++) {
        PWM_CC(wave) = MIDDLE;
    }
}

/* Starts the transfers anew from the rings' beginnings. */
static void voltage_restart(void)
{
    voltage_stop_dma();
    for (uint32_t i = 0; i < TURNS * VOLTAGE_WAVES; i++) {
        uint32_t wave = i % VOLTAGE_WAVES;
        uint32_t channel = DMA_VOLTAGE(wave, i / VOLTAGE_WAVES);
        DMA_READ_ADDR(channel) = (uint32_t)(uintptr_t)rings[wave];
        DMA_WRITE_ADDR(channel) = (uint32_t)(uintptr_t)&PWM_CC(wave);
        DMA_TRANS_COUNT(channel) = TURN_TRANSFERS;
        DMA_AL1_CTRL(channel) = DMA_ENABLE | DMA_WORDS | DMA_INCR_READ | DMA_RING_READ(RING_BITS) |
                                DMA_CHAIN_TO(DMA_VOLTAGE(wave, 1u - i / VOLTAGE_WAVES)) |
                                DMA_TREQ(DMA_TREQ_PWM_WRAP(SLICE_PACE)) | DMA_QUIET;
    }
    cpu_interrupts_off();
    uint64_t since;
    do {
        since = timebase_now() - voltage.begin + PACE_AHEAD;
    } while (since % VOLTAGE_CODE_CYCLES > VOLTAGE_CODE_CYCLES - PACE_MARGIN || since % VOLTAGE_CODE_CYCLES < PACE_MARGIN);
    DMA_MULTI_CHAN_TRIGGER = DMA_FIRST_TURN;
    cpu_interrupts_on();
    voltage.first = since / VOLTAGE_CODE_CYCLES + 1u;
}

void voltage_wake(void)
{
    for (uint32_t pin = PIN_VOLTAGES; pin < PIN_VOLTAGES + 2u * VOLTAGE_WAVES; pin++) {
        PAD(pin) = PAD_DRIVE_4MA | PAD_SCHMITT | PAD_INPUT_ENABLE;
        IO_CTRL(pin) = IO_FUNCTION_PWM;
    }
    for (uint32_t slice = 0; slice <= SLICE_PACE; slice++) {
        PWM_TOP(slice) = (slice == SLICE_PACE ? VOLTAGE_CODE_CYCLES : PULSE_CYCLES) - 1u;
        PWM_CTR(slice) = slice == SLICE_PACE ? PACE_AHEAD : 0u;
        PWM_CC(slice) = slice == SLICE_PACE ? 0u : MIDDLE;
    }
    voltage.begin = timebase_of(timebase_set(&PWM_EN, SLICES));
    voltage_rest();
}

/* Returns how many transfers there were. A turn that ends while this looks has none left, which is as right; one that has
   not begun yet has none left either, which would be a turn too many. */
static uint64_t voltage_done(void)
{
    uint32_t turn = 0;
    while (turn < TURNS && (DMA_AL1_CTRL(DMA_VOLTAGE(0u, turn)) & DMA_BUSY) == 0) {
        turn++;
    }
    if (turn == TURNS) {
        return voltage.done;
    }
    uint32_t place = (turn + 1u) * TURN_TRANSFERS - DMA_TRANS_COUNT(DMA_VOLTAGE(0u, turn));
    voltage.done += (place - (uint32_t)voltage.done) % (TURNS * TURN_TRANSFERS);
    return voltage.done;
}

void voltage_start(void)
{
    for (uint32_t i = 0; i < LEAD_CODES; i++) {
        rings[0][i] = MIDDLE;
        rings[1][i] = MIDDLE;
    }
    voltage.put = LEAD_CODES;
    voltage.done = 0;
    voltage.overtaken = false;
    voltage_restart();
}

uint32_t voltage_room(uint64_t *tick)
{
    uint64_t done = voltage_done();
    *tick = voltage.begin + (voltage.first + voltage.put) * VOLTAGE_CODE_CYCLES + VOLTAGE_CODE_CYCLES / 2u;
    if (voltage.overtaken || done >= voltage.put) {
        return VOLTAGE_OVERTAKEN;
    }
    return VOLTAGE_RING_CODES - RING_SPARE - (uint32_t)(voltage.put - done);
}

void voltage_put(const uint16_t *const codes[], uint32_t count)
{
    for (uint32_t wave = 0; wave < VOLTAGE_WAVES; wave++) {
        uint32_t place = (uint32_t)voltage.put;
        for (uint32_t i = 0; i < count; i++, place++) {
            uint32_t code = codes[wave][i];
            rings[wave][place % VOLTAGE_RING_CODES] = code >> 8 | (code & 0xFFu) << 16;
        }
    }
    voltage.overtaken = voltage.overtaken || voltage_done() > voltage.put;
    voltage.put += count;
}
