/* The core's port on this chip. */
#include "port.h"

#include "chip.h"      /* chip_wants_bootloader */
#include "clocks.h"    /* CLOCK_HZ */
#include "generator.h" /* the output stage */
#include "identity.h"  /* identity */
#include "sampler.h"   /* the inputs */
#include "serial.h"    /* serial_write */
#include "timebase.h"  /* timebase_now */
#include "version.h"   /* FIRMWARE_VERSION */
#include "voltage.h"   /* the voltages of VR sensors */

#define BOARD_RP2040 2u
#define FEATURE_BOOTLOADER 1u
#define HANDOVER_CYCLES (CLOCK_HZ / 50u)
_Static_assert(VOLTAGE_AHEAD_CYCLES < HANDOVER_CYCLES, "a new course would come amid half-waves that are codes already");

static struct port_facts facts = {
    .board = BOARD_RP2040,
    .tick_hz = CLOCK_HZ,
    .shortest_hold_ticks = GENERATOR_SHORTEST,
    .longest_hold_ticks = GENERATOR_LONGEST,
    .handover_ticks = HANDOVER_CYCLES,
    .first_tick = CLOCK_HZ / 100000u,
    .outputs = 8,
    .waves = VOLTAGE_WAVES,
    .code_ticks = VOLTAGE_CODE_CYCLES,
    .inputs = 8,
    .features = FEATURE_BOOTLOADER,
    .firmware = FIRMWARE_VERSION,
};

static bool wants_bootloader;

void chip_wake(void)
{
    for (uint32_t i = 0; i < sizeof facts.id; i++) {
        facts.id[i] = identity()[i];
    }
}

bool chip_wants_bootloader(void)
{
    return wants_bootloader;
}

const struct port_facts *port_facts(void)
{
    return &facts;
}

uint64_t port_now(void)
{
    return timebase_now();
}

void port_arm(uint8_t mask)
{
    generator_arm(mask);
}

uint32_t port_room(void)
{
    return generator_room();
}

void port_hand(uint32_t ticks, uint8_t mask)
{
    generator_hand(ticks, mask);
}

void port_wait(uint32_t ticks)
{
    generator_wait(ticks);
}

void port_commit(void)
{
    generator_commit();
}

uint64_t port_start(void)
{
    return timebase_of(generator_start());
}

void port_hold(void)
{
    generator_hold();
}

bool port_is_dry(void)
{
    return generator_is_dry();
}

struct port_progress port_progress(void)
{
    struct port_progress progress;
    generator_progress(&progress.played, &progress.last_tick);
    return progress;
}

void port_set(uint8_t mask)
{
    generator_set(mask);
}

void port_wave_start(void)
{
    voltage_start();
}

uint32_t port_wave_room(uint64_t *tick)
{
    return voltage_room(tick);
}

void port_wave_put(const uint16_t *const codes[], uint32_t count)
{
    voltage_put(codes, count);
}

void port_wave_rest(void)
{
    voltage_rest();
}

uint8_t port_capture_begin(void)
{
    return sampler_begin();
}

bool port_capture_next(struct port_change *change)
{
    return sampler_next(&change->tick, &change->levels);
}

uint32_t port_capture_lost(void)
{
    return sampler_lost();
}

bool port_send(const uint8_t *bytes, uint32_t size)
{
    return serial_write(bytes, size);
}

void port_bootloader(void)
{
    wants_bootloader = true;
}
