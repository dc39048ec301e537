#include "sampler.h"

#include "pio.h"       /* pio_load, pio_start, MACHINE_CAPTURE */
#include "programs.h"  /* CAPTURE_PROGRAM */
#include "registers.h" /* DMA_TRANS_COUNT and its kin */
#include "timebase.h"  /* timebase_now */

#define MACHINE MACHINE_CAPTURE
#define DMA_CAPTURE 2u
#define RING_BITS 12u
#define RING_WORDS (1u << (RING_BITS - 2u))
#define TRANSFERS 0xFFFFFFFFu
#define RXSTALL BIT(MACHINE)

__attribute__((section(".ring_capture"), aligned(1u << RING_BITS))) static volatile uint32_t ring[RING_WORDS];

static struct {
    uint64_t start_tick; /* of the machine */
    uint64_t changes;    /* words taken since then */
    uint32_t taken;      /* words taken of the present DMA transfer */
    uint32_t lost;
    uint64_t looks_now; /* about the looks the machine has taken; made anew when the ring was found empty */
    bool looks_known;
} sampler;

/* Starts the machine and the DMA from nothing. */
static void sampler_start(void)
{
    CLEAR(PIO_CTRL) = PIO_CTRL_ENABLE(MACHINE);
    DMA_AL1_CTRL(DMA_CAPTURE) = DMA_CHAIN_TO(DMA_CAPTURE);
    DMA_CHAN_ABORT = BIT(DMA_CAPTURE);
    while (DMA_CHAN_ABORT != 0) {
    }
    PIO_SM_SHIFTCTRL(MACHINE) = 0;
    PIO_SM_SHIFTCTRL(MACHINE) = PIO_SHIFTCTRL_JOIN_RX | PIO_SHIFTCTRL_AUTOPUSH;
    SET(PIO_CTRL) = PIO_CTRL_RESTART(MACHINE);
    PIO_SM_INSTR(MACHINE) = EXECUTE_MOV_OSR_ONES;
    PIO_SM_INSTR(MACHINE) = EXECUTE_JMP(CAPTURE_SLOT);
    PIO_FDEBUG = RXSTALL;
    DMA_READ_ADDR(DMA_CAPTURE) = (uint32_t)(uintptr_t)&PIO_RXF(MACHINE);
    DMA_WRITE_ADDR(DMA_CAPTURE) = (uint32_t)(uintptr_t)ring;
    DMA_TRANS_COUNT(DMA_CAPTURE) = TRANSFERS;
    DMA_CTRL_TRIG(DMA_CAPTURE) = DMA_ENABLE | DMA_WORDS | DMA_INCR_WRITE | DMA_RING_WRITE(RING_BITS) |
                                 DMA_CHAIN_TO(DMA_CAPTURE) | DMA_TREQ(DMA_TREQ_PIO0_RX(MACHINE)) | DMA_QUIET;
    sampler.changes = 0;
    sampler.taken = 0;
    sampler.looks_known = false;
    sampler.start_tick = timebase_of(pio_start(MACHINE));
}

void sampler_wake(void)
{
    for (uint32_t pin = PIN_INPUTS; pin < PIN_INPUTS + 8u; pin++) {
        /* Pulled down, so that a line that nobody drives does not fill the ring. */
        PAD(pin) = PAD_INPUT_ENABLE | PAD_PULL_DOWN | PAD_SCHMITT;
        IO_CTRL(pin) = IO_FUNCTION_SIO;
    }
    pio_load(CAPTURE_SLOT, CAPTURE_PROGRAM, CAPTURE_LENGTH);
    PIO_SM_CLKDIV(MACHINE) = 1u << 16;
    PIO_SM_EXECCTRL(MACHINE) = ((CAPTURE_SLOT + CAPTURE_WRAP) << 12) | ((CAPTURE_SLOT + CAPTURE_WRAP_TARGET) << 7);
    PIO_SM_PINCTRL(MACHINE) = PIN_INPUTS << 15;
    sampler.lost = 0;
    sampler_start();
}

uint8_t sampler_begin(void)
{
    sampler.lost = 0;
    sampler_start();
    return (uint8_t)(SIO_GPIO_IN >> PIN_INPUTS);
}

/* Returns about how many looks the machine has taken by now. */
static uint64_t sampler_looks(void)
{
    uint64_t cycles = timebase_now() - sampler.start_tick - CAPTURE_CHANGE_CYCLES * sampler.changes;
    return cycles / CAPTURE_LOOK_CYCLES;
}

/* Skips what the ring has lost by now: the older half, so that the rest can be read before it is lost too. */
static void sampler_skip(uint32_t written)
{
    uint32_t waiting = written - sampler.taken;
    if (waiting > RING_WORDS - 8u) {
        uint32_t skipped = waiting - RING_WORDS / 2u;
        sampler.taken += skipped;
        sampler.changes += skipped;
        sampler.lost += skipped;
    }
}

bool sampler_next(uint64_t *tick, uint8_t *levels)
{
    if ((PIO_FDEBUG & RXSTALL) != 0) {
        /* The machine has waited, so its count is no time any more. */
        sampler.lost++;
        sampler_start();
        return false;
    }
    uint32_t written = TRANSFERS - DMA_TRANS_COUNT(DMA_CAPTURE);
    if (written == sampler.taken) {
        sampler.looks_known = false;
        if (written > TRANSFERS / 2u) {
            sampler_start();
        }
        return false;
    }
    sampler_skip(written);
    if (!sampler.looks_known) {
        sampler.looks_now = sampler_looks();
        sampler.looks_known = true;
    }
    uint32_t word = ring[sampler.taken % RING_WORDS];
    /* The look nearest to the present that ends in these 24 bits: they come round every 0.9 s. */
    int32_t off = (int32_t)((~word - (uint32_t)sampler.looks_now) << 8) >> 8;
    uint64_t look = sampler.looks_now + (uint64_t)(int64_t)off;
    *tick = sampler.start_tick + CAPTURE_LOOK_CYCLES * (look - 1u) + CAPTURE_CHANGE_CYCLES * sampler.changes +
            CAPTURE_SAMPLE_CYCLES;
    *levels = (uint8_t)(word >> 24);
    sampler.taken++;
    sampler.changes++;
    return true;
}

uint32_t sampler_lost(void)
{
    return sampler.lost;
}
