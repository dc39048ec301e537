/* From reset to main: copies the image to RAM, clears the rest, and names the interrupts. */
#include "registers.h" /* VTOR */
#include "interrupts.h" /* the handlers */

extern uint32_t image_begin[], image_end[], image_load[], bss_begin[], bss_end[], stack_top[];

int main(void);

/* Copies the image to RAM, clears what has no value, and goes on in RAM. Runs from flash. */
__attribute__((section(".start"), noreturn, used)) void start_reset(void);

/* Stops for good: the watchdog wakes the board again. */
static void start_hang(void)
{
    for (;;) {
    }
}

typedef void (*vector)(void);

/* What boot2 finds: the stack and the entry. */
__attribute__((section(".start_vectors"), used)) static const vector start_vectors[2] = {
    (vector)(uintptr_t)stack_top,
    start_reset,
};

#define VECTOR_OF(irq) (16u + (irq))

__attribute__((section(".vectors"), used)) static const vector vectors[48] = {
    [0] = (vector)(uintptr_t)stack_top,
    [1] = start_reset,
    [2] = start_hang,  /* NMI */
    [3] = start_hang,  /* hard fault */
    [11] = start_hang, /* SVCall */
    [14] = start_hang, /* PendSV */
    [15] = start_hang, /* SysTick */
    [VECTOR_OF(IRQ_TIMER_0)] = alarm_interrupt,
    [VECTOR_OF(IRQ_USBCTRL)] = usb_interrupt,
    [VECTOR_OF(IRQ_PIO0_0)] = generator_interrupt,
};

void start_reset(void)
{
    const volatile uint32_t *from = image_load;
    for (volatile uint32_t *to = image_begin; to < image_end; to++) {
        *to = *from++;
    }
    for (volatile uint32_t *to = bss_begin; to < bss_end; to++) {
        *to = 0;
    }
    VTOR = (uint32_t)(uintptr_t)image_begin;
    /* A call through a pointer reaches RAM from flash, which a plain branch does not. */
    int (*volatile go)(void) = main;
    go();
    for (;;) {
    }
}
