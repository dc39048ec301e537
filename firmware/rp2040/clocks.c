#include "clocks.h"

#include "registers.h" /* CLK_SYS_CTRL and its kin */

#define XOSC_RANGE_1_TO_15_MHZ 0xAA0u
#define XOSC_ENABLE (0xFABu << 12)
#define XOSC_STABLE BIT(31)
/* 1 ms in units of 256 cycles of 12 MHz */
#define XOSC_SETTLE 47u

#define PLL_PWR_PD BIT(0)
#define PLL_PWR_POSTDIVPD BIT(3)
#define PLL_PWR_VCOPD BIT(5)
#define PLL_LOCK BIT(31)

#define CLK_REF_SRC_XOSC 2u
#define CLK_SYS_SRC_AUX 1u
#define CLK_ENABLE BIT(11)
#define CLK_DIV_BY_1 0x100u

#define WATCHDOG_TICK_ENABLE BIT(9)

/* Takes peripherals out of reset and waits until they are. */
static void clocks_unreset(uint32_t mask)
{
    CLEAR(RESETS_RESET) = mask;
    while ((RESETS_RESET_DONE & mask) != mask) {
    }
}

/* Starts a PLL: 12 MHz times `multiple`, divided by both dividers. */
static void clocks_start_pll(uint32_t pll, uint32_t reset, uint32_t multiple, uint32_t divider1, uint32_t divider2)
{
    SET(RESETS_RESET) = reset;
    clocks_unreset(reset);
    PLL_CS(pll) = 1;
    PLL_FBDIV_INT(pll) = multiple;
    CLEAR(PLL_PWR(pll)) = PLL_PWR_PD | PLL_PWR_VCOPD;
    while ((PLL_CS(pll) & PLL_LOCK) == 0) {
    }
    PLL_PRIM(pll) = (divider1 << 16) | (divider2 << 12);
    CLEAR(PLL_PWR(pll)) = PLL_PWR_POSTDIVPD;
}

/* Starts the crystal, and moves everything off the PLLs before they are touched. */
static void clocks_start_crystal(void)
{
    CLK_SYS_RESUS_CTRL = 0;
    XOSC_STARTUP = XOSC_SETTLE;
    XOSC_CTRL = XOSC_ENABLE | XOSC_RANGE_1_TO_15_MHZ;
    while ((XOSC_STATUS & XOSC_STABLE) == 0) {
    }
    CLEAR(CLK_SYS_CTRL) = 1;
    while (CLK_SYS_SELECTED != BIT(0)) {
    }
    CLEAR(CLK_REF_CTRL) = 3;
    while (CLK_REF_SELECTED != BIT(0)) {
    }
}

void clocks_start(void)
{
    clocks_start_crystal();
    clocks_start_pll(PLL_SYS, RESET_PLL_SYS, 125, 6, 2);
    clocks_start_pll(PLL_USB, RESET_PLL_USB, 100, 5, 5);
    CLK_REF_CTRL = CLK_REF_SRC_XOSC;
    while (CLK_REF_SELECTED != BIT(CLK_REF_SRC_XOSC)) {
    }
    CLK_SYS_DIV = CLK_DIV_BY_1;
    CLK_SYS_CTRL = 0;
    CLK_SYS_CTRL = CLK_SYS_SRC_AUX;
    while (CLK_SYS_SELECTED != BIT(CLK_SYS_SRC_AUX)) {
    }
    CLK_USB_CTRL = 0;
    CLK_USB_DIV = CLK_DIV_BY_1;
    CLK_USB_CTRL = CLK_ENABLE;
    WATCHDOG_TICK = WATCHDOG_TICK_ENABLE | 12u;
    clocks_unreset(RESET_IO_BANK0 | RESET_PADS_BANK0 | RESET_DMA | RESET_PIO0 | RESET_PWM | RESET_TIMER | RESET_USBCTRL);
}
