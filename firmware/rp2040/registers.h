/*
 * The registers of the RP2040 that this firmware touches, by their names in the datasheet. Always written whole; SET()
 * and CLEAR() name the aliases that change single bits without a read.
 */
#ifndef RP2040_REGISTERS_H
#define RP2040_REGISTERS_H

#include <stdint.h> /* uint32_t */

#define REGISTER(address) (*(volatile uint32_t *)(address))
#define SET(reg) REGISTER((uintptr_t) & (reg) + 0x2000u)
#define CLEAR(reg) REGISTER((uintptr_t) & (reg) + 0x3000u)
#define BIT(n) (1u << (n))

/* Resets, section 2.14 */
#define RESETS_RESET REGISTER(0x4000C000u)
#define RESETS_RESET_DONE REGISTER(0x4000C008u)
#define RESET_DMA BIT(2)
#define RESET_IO_BANK0 BIT(5)
#define RESET_PADS_BANK0 BIT(8)
#define RESET_PIO0 BIT(10)
#define RESET_PLL_SYS BIT(12)
#define RESET_PLL_USB BIT(13)
#define RESET_PWM BIT(14)
#define RESET_TIMER BIT(21)
#define RESET_USBCTRL BIT(24)

/* Power-on state machine, section 2.13 */
#define PSM_WDSEL REGISTER(0x40010008u)

/* Clocks, sections 2.15 to 2.18 */
#define CLK_REF_CTRL REGISTER(0x40008030u)
#define CLK_REF_SELECTED REGISTER(0x40008038u)
#define CLK_SYS_CTRL REGISTER(0x4000803Cu)
#define CLK_SYS_DIV REGISTER(0x40008040u)
#define CLK_SYS_SELECTED REGISTER(0x40008044u)
#define CLK_USB_CTRL REGISTER(0x40008054u)
#define CLK_USB_DIV REGISTER(0x40008058u)
#define CLK_SYS_RESUS_CTRL REGISTER(0x40008078u)
#define XOSC_CTRL REGISTER(0x40024000u)
#define XOSC_STATUS REGISTER(0x40024004u)
#define XOSC_STARTUP REGISTER(0x4002400Cu)
#define PLL_SYS 0x40028000u
#define PLL_USB 0x4002C000u
#define PLL_CS(pll) REGISTER((pll) + 0x0u)
#define PLL_PWR(pll) REGISTER((pll) + 0x4u)
#define PLL_FBDIV_INT(pll) REGISTER((pll) + 0x8u)
#define PLL_PRIM(pll) REGISTER((pll) + 0xCu)

/* Watchdog, section 4.7, and timer, section 4.6 */
#define WATCHDOG_CTRL REGISTER(0x40058000u)
#define WATCHDOG_LOAD REGISTER(0x40058004u)
#define WATCHDOG_TICK REGISTER(0x4005802Cu)
#define TIMER_ALARM0 REGISTER(0x40054010u)
#define TIMER_TIMERAWH REGISTER(0x40054024u)
#define TIMER_TIMERAWL REGISTER(0x40054028u)
#define TIMER_INTR REGISTER(0x40054034u)
#define TIMER_INTE REGISTER(0x40054038u)

/* Pins, sections 2.19 and 2.3.1 */
#define IO_CTRL(pin) REGISTER(0x40014004u + 8u * (pin))
#define IO_FUNCTION_PWM 4u
#define IO_FUNCTION_SIO 5u
#define IO_FUNCTION_PIO0 6u
#define PAD(pin) REGISTER(0x4001C004u + 4u * (pin))
#define PAD_SCHMITT BIT(1)
#define PAD_PULL_DOWN BIT(2)
#define PAD_DRIVE_4MA BIT(4)
#define PAD_INPUT_ENABLE BIT(6)
#define SIO_GPIO_IN REGISTER(0xD0000004u)
#define SIO_GPIO_OUT_SET REGISTER(0xD0000014u)
#define SIO_GPIO_OUT_CLR REGISTER(0xD0000018u)
#define SIO_GPIO_OE_SET REGISTER(0xD0000024u)
#define IO_QSPI_SS_CTRL REGISTER(0x4001800Cu)

/* Flash interface, section 4.10 */
#define SSI_CTRLR0 REGISTER(0x18000000u)
#define SSI_CTRLR1 REGISTER(0x18000004u)
#define SSI_SSIENR REGISTER(0x18000008u)
#define SSI_SER REGISTER(0x18000010u)
#define SSI_SR REGISTER(0x18000028u)
#define SSI_DR0 REGISTER(0x18000060u)

/* Pulse widths, section 4.5 */
#define PWM_CTR(slice) REGISTER(0x40050008u + 20u * (slice))
#define PWM_CC(slice) REGISTER(0x4005000Cu + 20u * (slice))
#define PWM_TOP(slice) REGISTER(0x40050010u + 20u * (slice))
#define PWM_EN REGISTER(0x400500A0u)

/* PIO block 0, section 3.7 */
#define PIO_CTRL REGISTER(0x50200000u)
#define PIO_FDEBUG REGISTER(0x50200008u)
#define PIO_FLEVEL REGISTER(0x5020000Cu)
#define PIO_TXF(sm) REGISTER(0x50200010u + 4u * (sm))
#define PIO_RXF(sm) REGISTER(0x50200020u + 4u * (sm))
#define PIO_IRQ REGISTER(0x50200030u)
#define PIO_INSTR_MEM(slot) REGISTER(0x50200048u + 4u * (slot))
#define PIO_SM_CLKDIV(sm) REGISTER(0x502000C8u + 24u * (sm))
#define PIO_SM_EXECCTRL(sm) REGISTER(0x502000CCu + 24u * (sm))
#define PIO_SM_SHIFTCTRL(sm) REGISTER(0x502000D0u + 24u * (sm))
#define PIO_SM_ADDR(sm) REGISTER(0x502000D4u + 24u * (sm))
#define PIO_SM_INSTR(sm) REGISTER(0x502000D8u + 24u * (sm))
#define PIO_SM_PINCTRL(sm) REGISTER(0x502000DCu + 24u * (sm))
#define PIO_IRQ0_INTE REGISTER(0x5020012Cu)
#define PIO_CTRL_ENABLE(sm) BIT(sm)
#define PIO_CTRL_RESTART(sm) BIT(4u + (sm))
#define PIO_CTRL_CLKDIV_RESTART(sm) BIT(8u + (sm))
#define PIO_SHIFTCTRL_AUTOPUSH BIT(16)
#define PIO_SHIFTCTRL_OUT_RIGHT BIT(19)
#define PIO_SHIFTCTRL_JOIN_TX BIT(30)
#define PIO_SHIFTCTRL_JOIN_RX BIT(31)

/* DMA, section 2.5 */
#define DMA_READ_ADDR(ch) REGISTER(0x50000000u + 64u * (ch))
#define DMA_WRITE_ADDR(ch) REGISTER(0x50000004u + 64u * (ch))
#define DMA_TRANS_COUNT(ch) REGISTER(0x50000008u + 64u * (ch))
#define DMA_CTRL_TRIG(ch) REGISTER(0x5000000Cu + 64u * (ch))
#define DMA_AL1_CTRL(ch) REGISTER(0x50000010u + 64u * (ch))
#define DMA_AL1_TRANS_COUNT_TRIG(ch) REGISTER(0x5000001Cu + 64u * (ch))
#define DMA_MULTI_CHAN_TRIGGER REGISTER(0x50000430u)
#define DMA_CHAN_ABORT REGISTER(0x50000444u)
#define DMA_ENABLE BIT(0)
#define DMA_WORDS (2u << 2)
#define DMA_INCR_READ BIT(4)
#define DMA_INCR_WRITE BIT(5)
#define DMA_RING_READ(bits) ((uint32_t)(bits) << 6)
#define DMA_RING_WRITE(bits) (((uint32_t)(bits) << 6) | BIT(10))
#define DMA_CHAIN_TO(ch) ((uint32_t)(ch) << 11)
#define DMA_TREQ(source) ((uint32_t)(source) << 15)
#define DMA_TREQ_ALWAYS 0x3Fu
#define DMA_TREQ_PIO0_TX(sm) (sm)
#define DMA_TREQ_PIO0_RX(sm) (4u + (sm))
#define DMA_TREQ_PWM_WRAP(slice) (24u + (slice))
#define DMA_QUIET BIT(21)
#define DMA_BUSY BIT(24)

/* USB controller, section 4.1 */
#define USB_DPRAM 0x50100000u
#define USB_ADDR_ENDP REGISTER(0x50110000u)
#define USB_MAIN_CTRL REGISTER(0x50110040u)
#define USB_SIE_CTRL REGISTER(0x5011004Cu)
#define USB_SIE_STATUS REGISTER(0x50110050u)
#define USB_BUFF_STATUS REGISTER(0x50110058u)
#define USB_EP_STALL_ARM REGISTER(0x50110068u)
#define USB_MUXING REGISTER(0x50110074u)
#define USB_PWR REGISTER(0x50110078u)
#define USB_INTE REGISTER(0x50110090u)
#define USB_INTS REGISTER(0x50110098u)

/* The core's own, ARMv6-M */
#define SYST_CSR REGISTER(0xE000E010u)
#define SYST_RVR REGISTER(0xE000E014u)
#define SYST_CVR REGISTER(0xE000E018u)
#define NVIC_ISER REGISTER(0xE000E100u)
#define NVIC_ICPR REGISTER(0xE000E280u)
#define VTOR REGISTER(0xE000ED08u)
#define IRQ_TIMER_0 0u
#define IRQ_USBCTRL 5u
#define IRQ_PIO0_0 7u

#endif
