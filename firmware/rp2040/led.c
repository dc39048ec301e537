#include "led.h"

#include "clocks.h"    /* CLOCK_HZ */
#include "registers.h" /* SIO_GPIO_OUT_SET */
#include "state.h"     /* STATE_IDLE and its kin */

#define PIN_LED 25u
#define MS(n) ((n) * (CLOCK_HZ / 1000u))

/* How long the light is on in each period, and the period. */
static const struct {
    uint32_t on;
    uint32_t period;
} LOOKS[] = {
    [STATE_IDLE] = {MS(50u), MS(2000u)},
    [STATE_ARMED] = {MS(500u), MS(1000u)},
    [STATE_RUNNING] = {MS(1000u), MS(1000u)},
    [STATE_HOLDING] = {MS(1950u), MS(2000u)},
    [STATE_FAULTED] = {MS(100u), MS(200u)},
};

void led_wake(void)
{
    IO_CTRL(PIN_LED) = IO_FUNCTION_SIO;
    PAD(PIN_LED) = PAD_DRIVE_4MA | PAD_SCHMITT | PAD_INPUT_ENABLE;
    SIO_GPIO_OE_SET = BIT(PIN_LED);
}

uint64_t led_show(uint32_t state, uint64_t now)
{
    uint32_t phase = (uint32_t)(now % LOOKS[state].period);
    if (phase < LOOKS[state].on) {
        SIO_GPIO_OUT_SET = BIT(PIN_LED);
        return now + (LOOKS[state].on - phase);
    }
    SIO_GPIO_OUT_CLR = BIT(PIN_LED);
    return now + (LOOKS[state].period - phase);
}
