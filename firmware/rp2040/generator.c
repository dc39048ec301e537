#include "generator.h"

#include "cpu.h"        /* cpu_write_barrier */
#include "interrupts.h" /* generator_interrupt */
#include "pio.h"        /* pio_load, pio_start, MACHINE_GENERATOR */
#include "programs.h"   /* GENERATOR_PROGRAM */
#include "registers.h"  /* DMA_READ_ADDR and its kin */

#define MACHINE MACHINE_GENERATOR
#define DMA_DATA 0u
#define DMA_LIST 1u

#define RING_BITS 15u
#define RING_WORDS (1u << (RING_BITS - 2u))
#define LIST_BITS 11u
#define LIST_WORDS (1u << (LIST_BITS - 2u))
#define FIFO_WORDS 8u
/* Never filled, so that a place some words too low can be told from one far ahead. */
#define RING_SPARE 16u

#define WORD_MASK_SHIFT 23u
#define WORD_WAITS BIT(31)
#define WORD_CYCLES_MASK 0x7FFFFFu

__attribute__((section(".ring_holds"), aligned(1u << RING_BITS))) static volatile uint32_t ring[RING_WORDS];
__attribute__((section(".ring_blocks"), aligned(1u << LIST_BITS))) static volatile uint32_t list[LIST_WORDS];

/* Places in ring and list count up and wrap at their ends. */
static struct {
    uint32_t head;      /* next word to write */
    uint32_t committed; /* next word the DMA does not know */
    uint32_t list_head; /* the zero that ends the list */
    uint32_t walked;    /* next word whose end is not yet counted in played and tick */
    uint64_t tick;      /* run tick at which word `walked` begins */
    uint64_t played;
    uint64_t last_tick;
    uint8_t mask; /* after the last transition handed over */
    bool held;
} stage;

/* Sets up the way of the words; neither channel runs yet. */
static void generator_wire_dma(void)
{
    DMA_READ_ADDR(DMA_DATA) = (uint32_t)(uintptr_t)ring;
    DMA_WRITE_ADDR(DMA_DATA) = (uint32_t)(uintptr_t)&PIO_TXF(MACHINE);
    DMA_AL1_CTRL(DMA_DATA) = DMA_ENABLE | DMA_WORDS | DMA_INCR_READ | DMA_RING_READ(RING_BITS) |
                             DMA_CHAIN_TO(DMA_LIST) | DMA_TREQ(DMA_TREQ_PIO0_TX(MACHINE)) | DMA_QUIET;
    DMA_READ_ADDR(DMA_LIST) = (uint32_t)(uintptr_t)list;
    DMA_WRITE_ADDR(DMA_LIST) = (uint32_t)(uintptr_t)&DMA_AL1_TRANS_COUNT_TRIG(DMA_DATA);
    DMA_TRANS_COUNT(DMA_LIST) = 1;
    DMA_AL1_CTRL(DMA_LIST) = DMA_ENABLE | DMA_WORDS | DMA_INCR_READ | DMA_RING_READ(LIST_BITS) |
                             DMA_CHAIN_TO(DMA_LIST) | DMA_TREQ(DMA_TREQ_ALWAYS) | DMA_QUIET;
}

/* Returns whether the DMA has a block in hand. */
static bool generator_dma_busy(void)
{
    return ((DMA_AL1_CTRL(DMA_DATA) | DMA_AL1_CTRL(DMA_LIST)) & DMA_BUSY) != 0;
}

/* Stops both channels for good; disabled first, so that none triggers the other while it is aborted. */
static void generator_stop_dma(void)
{
    DMA_AL1_CTRL(DMA_LIST) = DMA_CHAIN_TO(DMA_LIST);
    DMA_AL1_CTRL(DMA_DATA) = DMA_CHAIN_TO(DMA_DATA);
    DMA_CHAN_ABORT = BIT(DMA_DATA) | BIT(DMA_LIST);
    while (DMA_CHAN_ABORT != 0) {
    }
}

/* Has the machine carry out one instruction. */
static void generator_execute(uint32_t instruction)
{
    PIO_SM_INSTR(MACHINE) = instruction;
}

/* Sets the pins of a stopped machine through its own empty FIFO, as only it may drive them. */
static void generator_pins(uint8_t mask)
{
    /* Joining the FIFOs anew empties them. */
    PIO_SM_SHIFTCTRL(MACHINE) = PIO_SHIFTCTRL_OUT_RIGHT;
    PIO_SM_SHIFTCTRL(MACHINE) = PIO_SHIFTCTRL_OUT_RIGHT | PIO_SHIFTCTRL_JOIN_TX;
    PIO_TXF(MACHINE) = mask;
    generator_execute(EXECUTE_PULL);
    generator_execute(EXECUTE_OUT_PINS_8);
}

void generator_wake(void)
{
    pio_load(GENERATOR_SLOT, GENERATOR_PROGRAM, GENERATOR_LENGTH);
    PIO_SM_CLKDIV(MACHINE) = 1u << 16;
    PIO_SM_EXECCTRL(MACHINE) = ((GENERATOR_SLOT + GENERATOR_WRAP) << 12) | ((GENERATOR_SLOT + GENERATOR_WRAP_TARGET) << 7);
    PIO_SM_PINCTRL(MACHINE) = (8u << 20) | PIN_OUTPUTS;
    generator_arm(0);
    generator_execute(EXECUTE_MOV_OSR_ONES);
    generator_execute(EXECUTE_OUT_PINDIRS_8);
    for (uint32_t pin = PIN_OUTPUTS; pin < PIN_OUTPUTS + 8u; pin++) {
        PAD(pin) = PAD_DRIVE_4MA | PAD_SCHMITT | PAD_INPUT_ENABLE;
        IO_CTRL(pin) = IO_FUNCTION_PIO0;
    }
    NVIC_ISER = BIT(IRQ_PIO0_0);
}

void generator_arm(uint8_t mask)
{
    CLEAR(PIO_CTRL) = PIO_CTRL_ENABLE(MACHINE);
    generator_stop_dma();
    generator_pins(mask);
    SET(PIO_CTRL) = PIO_CTRL_RESTART(MACHINE);
    generator_execute(EXECUTE_MOV_OSR_ONES);
    generator_execute(EXECUTE_OUT_Y_23);
    generator_execute(EXECUTE_MOV_X_ONES);
    generator_execute(EXECUTE_JMP(GENERATOR_SLOT));
    stage.head = 0;
    stage.committed = 0;
    stage.list_head = 0;
    stage.walked = 0;
    stage.tick = 0;
    stage.played = 0;
    stage.last_tick = 0;
    stage.mask = mask;
    stage.held = false;
    list[0] = 0;
    generator_wire_dma();
    PIO_IRQ = BIT(0);
    PIO_IRQ0_INTE = BIT(8);
}

/* Returns the place in the ring that the DMA reads next. */
static uint32_t generator_read_place(void)
{
    return (DMA_READ_ADDR(DMA_DATA) - (uint32_t)(uintptr_t)ring) / 4u;
}

/* Returns the place in the list that the DMA reads next. */
static uint32_t generator_list_place(void)
{
    return (DMA_READ_ADDR(DMA_LIST) - (uint32_t)(uintptr_t)list) / 4u;
}

uint32_t generator_room(void)
{
    uint32_t list_room = (generator_list_place() - stage.list_head - 3u) % LIST_WORDS;
    /* Words stay until they are counted, not only until they are read. */
    uint32_t used = (stage.head - stage.walked) % RING_WORDS;
    return list_room > LIST_WORDS / 8u ? RING_WORDS - RING_SPARE - used : 0u;
}

/* Writes a word behind the last. */
static void generator_put(uint32_t word)
{
    ring[stage.head] = word;
    stage.head = (stage.head + 1u) % RING_WORDS;
}

void generator_hand(uint32_t cycles, uint8_t mask)
{
    stage.mask = mask;
    generator_put((cycles - GENERATOR_SHORTEST) | ((uint32_t)mask << WORD_MASK_SHIFT));
}

void generator_wait(uint32_t cycles)
{
    generator_put((cycles - GENERATOR_SHORTEST) | ((uint32_t)stage.mask << WORD_MASK_SHIFT) | WORD_WAITS);
}

void generator_commit(void)
{
    uint32_t words = (stage.head - stage.committed) % RING_WORDS;
    if (words == 0) {
        return;
    }
    uint32_t place = stage.list_head;
    uint32_t next = (place + 1u) % LIST_WORDS;
    list[next] = 0;
    cpu_write_barrier();
    list[place] = words;
    cpu_write_barrier();
    uint32_t begin = stage.committed;
    stage.list_head = next;
    stage.committed = stage.head;
    /* A chain that has met the old zero stands still before this block; one that has not goes on by itself. */
    if (!generator_dma_busy() && generator_read_place() == begin && !generator_dma_busy()) {
        DMA_READ_ADDR(DMA_LIST) = (uint32_t)(uintptr_t)&list[place];
        DMA_MULTI_CHAN_TRIGGER = BIT(DMA_LIST);
    }
}

/* Returns how many words wait in the FIFO. */
static uint32_t generator_fifo_level(void)
{
    return PIO_FLEVEL & 0xFu;
}

uint32_t generator_start(void)
{
    while (stage.committed != 0 && generator_fifo_level() == 0) {
    }
    return pio_start(MACHINE);
}

bool generator_is_dry(void)
{
    return (PIO_IRQ & BIT(0)) != 0;
}

/* Returns whether a stopped machine has taken a word whose mask is not yet on the pins. */
static bool generator_has_word(void)
{
    uint32_t at = PIO_SM_ADDR(MACHINE) - GENERATOR_SLOT;
    if (at == GENERATOR_AT_OUT_X) {
        generator_execute(EXECUTE_OUT_X_23);
        at = GENERATOR_AT_COMPARE;
    }
    if (at == GENERATOR_AT_COMPARE) {
        /* It may have taken X for want of a word: let it go the one step that tells. */
        generator_execute(EXECUTE_JMP(GENERATOR_SLOT + GENERATOR_AT_IRQ));
        generator_execute(EXECUTE_JMP_X_NOT_Y(GENERATOR_SLOT + GENERATOR_AT_HOLD));
        at = PIO_SM_ADDR(MACHINE) - GENERATOR_SLOT;
    }
    return at >= GENERATOR_AT_HOLD;
}

/* Counts words up to this place of the ring as played. */
static void generator_walk(uint32_t place)
{
    if ((place - stage.walked) % RING_WORDS > (stage.head - stage.walked) % RING_WORDS) {
        return;
    }
    uint32_t walked = stage.walked;
    uint64_t tick = stage.tick;
    uint64_t last = stage.last_tick;
    uint32_t played = 0;
    while (walked != place) {
        uint32_t word = ring[walked];
        walked = (walked + 1u) % RING_WORDS;
        tick += (word & WORD_CYCLES_MASK) + GENERATOR_SHORTEST;
        if ((word & WORD_WAITS) == 0) {
            played++;
            last = tick;
        }
    }
    stage.walked = walked;
    stage.tick = tick;
    stage.last_tick = last;
    stage.played += played;
}

/* Counts what a stopped or dry machine has played. */
static void generator_settle(void)
{
    uint32_t place;
    uint32_t level;
    do {
        place = generator_read_place();
        level = generator_fifo_level();
    } while (level < FIFO_WORDS && generator_dma_busy());
    uint32_t pending = generator_has_word() ? 1u : 0u;
    generator_walk((place - level - pending) % RING_WORDS);
}

void generator_hold(void)
{
    if (stage.held) {
        return;
    }
    CLEAR(PIO_CTRL) = PIO_CTRL_ENABLE(MACHINE);
    generator_settle();
    generator_stop_dma();
    PIO_IRQ0_INTE = 0;
    stage.held = true;
}

void generator_progress(uint64_t *played, uint64_t *last_tick)
{
    if (!stage.held) {
        /* The word that is being held is not yet on the pins; the machine has taken it off the FIFO. */
        uint32_t place = generator_read_place();
        uint32_t level = generator_fifo_level();
        generator_walk((place - level - 1u) % RING_WORDS);
    }
    *played = stage.played;
    *last_tick = stage.last_tick;
}

void generator_set(uint8_t mask)
{
    generator_pins(mask);
}

void generator_interrupt(void)
{
    /* It only had to end the sleep; the flag stays for generator_is_dry(). */
    PIO_IRQ0_INTE = 0;
}
