#include "voltage.h"

#include "cpu.h"       /* cpu_interrupts_off */
#include "registers.h" /* PWM_CC and its kin */
#include "timebase.h"  /* timebase_now */

#include <stdbool.h> /* bool */

/* Slices 0 and 1 make the pulses on these pins and the three after; slice 2 has no pin and paces the DMA. */
#define PIN_VOLTAGES 16u
#define SLICE_PACE 2u
#define SLICES (BIT(0) | BIT(1) | BIT(SLICE_PACE))
#define DMA_VOLTAGE 3u

#define PULSE_CYCLES 256u
/* The DMA writes in the middle of a pulse's period, so that what it wrote counts from the next period's first cycle on. */
#define PACE_AHEAD (PULSE_CYCLES / 2u)
/* No transfer is started nearer to the pace than this. */
#define PACE_MARGIN 256u
/* From reading SysTick to the first cycle of the slices: a constant of the instructions in between. */
#define START_CYCLES 2u

#define RING_BITS 11u
#define RING_WORDS (1u << (RING_BITS - 2u))
#define RING_SPARE 8u
#define TRANSFERS 0xFFFFFFFFu
/* A run begins with so many middle codes, 1 ms, in which the first frames are looked through. */
#define LEAD_CODES 128u
#define MIDDLE 0x80u

__attribute__((section(".ring_voltage"), aligned(1u << RING_BITS))) static volatile uint32_t
    rings[VOLTAGE_WAVES][RING_WORDS];

static struct {
    uint64_t begin; /* when the slices began */
    uint64_t first; /* the code that the first transfer brings, in codes since then */
    uint32_t put;   /* transfers for which there is a code */
    bool overtaken; /* one of them came before its code */
} voltage;

/* Stops the transfers for good. */
static void voltage_stop_dma(void)
{
    for (uint32_t wave = 0; wave < VOLTAGE_WAVES; wave++) {
        DMA_AL1_CTRL(DMA_VOLTAGE + wave) = DMA_CHAIN_TO(DMA_VOLTAGE + wave);
    }
    DMA_CHAN_ABORT = BIT(DMA_VOLTAGE) | BIT(DMA_VOLTAGE + 1u);
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
    for (uint32_t wave = 0; wave < VOLTAGE_WAVES; wave++) {
        DMA_READ_ADDR(DMA_VOLTAGE + wave) = (uint32_t)(uintptr_t)rings[wave];
        DMA_WRITE_ADDR(DMA_VOLTAGE + wave) = (uint32_t)(uintptr_t)&PWM_CC(wave);
        DMA_TRANS_COUNT(DMA_VOLTAGE + wave) = TRANSFERS;
        DMA_AL1_CTRL(DMA_VOLTAGE + wave) = DMA_ENABLE | DMA_WORDS | DMA_INCR_READ | DMA_RING_READ(RING_BITS) |
                                           DMA_CHAIN_TO(DMA_VOLTAGE + wave) | DMA_TREQ(DMA_TREQ_PWM_WRAP(SLICE_PACE)) |
                                           DMA_QUIET;
    }
    cpu_interrupts_off();
    uint64_t since;
    do {
        since = timebase_now() - voltage.begin + PACE_AHEAD;
    } while (since % VOLTAGE_CODE_CYCLES > VOLTAGE_CODE_CYCLES - PACE_MARGIN || since % VOLTAGE_CODE_CYCLES < PACE_MARGIN);
    DMA_MULTI_CHAN_TRIGGER = BIT(DMA_VOLTAGE) | BIT(DMA_VOLTAGE + 1u);
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
    cpu_interrupts_off();
    uint32_t stamp = timebase_stamp();
    PWM_EN = SLICES;
    cpu_interrupts_on();
    voltage.begin = timebase_of(stamp + START_CYCLES);
    voltage_rest();
}

/* Returns how many transfers there were. */
static uint32_t voltage_done(void)
{
    return TRANSFERS - DMA_TRANS_COUNT(DMA_VOLTAGE);
}

void voltage_start(void)
{
    for (uint32_t i = 0; i < LEAD_CODES; i++) {
        rings[0][i] = MIDDLE;
        rings[1][i] = MIDDLE;
    }
    voltage.put = LEAD_CODES;
    voltage.overtaken = false;
    voltage_restart();
}

uint32_t voltage_room(uint64_t *tick)
{
    uint32_t done = voltage_done();
    *tick = voltage.begin + (voltage.first + voltage.put) * VOLTAGE_CODE_CYCLES + VOLTAGE_CODE_CYCLES / 2u;
    if (voltage.overtaken || done >= voltage.put || done == TRANSFERS) {
        return VOLTAGE_OVERTAKEN;
    }
    return RING_WORDS - RING_SPARE - (voltage.put - done);
}

void voltage_put(const uint16_t *codes)
{
    for (uint32_t wave = 0; wave < VOLTAGE_WAVES; wave++) {
        rings[wave][voltage.put % RING_WORDS] = (uint32_t)(codes[wave] >> 8) | ((uint32_t)(codes[wave] & 0xFFu) << 16);
    }
    voltage.overtaken = voltage.overtaken || voltage_done() > voltage.put;
    voltage.put++;
}
