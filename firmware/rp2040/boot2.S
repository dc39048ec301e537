/*
 * The second stage that the boot ROM loads from the first 256 bytes of flash, checks, and runs in RAM. It sets the flash
 * interface to plain 03h reads, which every SPI NOR flash understands, and goes on in the image behind it. That is slow,
 * and does not matter: the image copies itself to RAM.
 */
        .syntax unified
        .cpu    cortex-m0plus
        .thumb

        .equ    SSI_BASE, 0x18000000
        .equ    SSI_CTRLR0, 0x00
        .equ    SSI_CTRLR1, 0x04
        .equ    SSI_SSIENR, 0x08
        .equ    SSI_BAUDR, 0x14
        .equ    SSI_SPI_CTRLR0, 0xF4
        .equ    IMAGE, 0x10000100
        .equ    VTOR, 0xE000ED08

        .section .boot2, "ax"
        .global boot2
        .thumb_func
boot2:
        ldr     r0, =SSI_BASE
        movs    r1, #0
        str     r1, [r0, #SSI_SSIENR]
        movs    r2, #4                  /* clk_sys / 4 */
        str     r2, [r0, #SSI_BAUDR]
        ldr     r2, =0x001F0300         /* 32-bit frames, read after command and address */
        str     r2, [r0, #SSI_CTRLR0]
        str     r1, [r0, #SSI_CTRLR1]   /* one frame a read */
        ldr     r2, =0x03000218         /* command 03h of 8 bits, 24 bits of address, one line */
        movs    r3, #SSI_SPI_CTRLR0
        str     r2, [r0, r3]
        movs    r1, #1
        str     r1, [r0, #SSI_SSIENR]

        ldr     r0, =IMAGE
        ldr     r1, =VTOR
        str     r0, [r1]
        ldmia   r0, {r0, r1}            /* stack and entry */
        msr     msp, r0
        bx      r1
        .pool
