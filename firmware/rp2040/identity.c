#include "identity.h"

#include "registers.h" /* SSI_CTRLR0 and its kin */

/* Read unique ID: the command of SPI NOR flash chips, then four bytes that mean nothing, then eight of the number. */
#define COMMAND_UNIQUE_ID 0x4Bu
#define COMMAND_SKIP 4u

/* 8-bit frames, one out for each one in */
#define SSI_BYTES (7u << 16)
#define SSI_NOT_FULL BIT(1)
#define SSI_NOT_EMPTY BIT(3)
#define SS_FORCE_LOW (2u << 8)
#define SS_FORCE_HIGH (3u << 8)

static uint8_t unique[IDENTITY_BYTES];

/* Sends a byte to the flash chip and returns the one that came back. */
static uint8_t identity_exchange(uint8_t byte)
{
    while ((SSI_SR & SSI_NOT_FULL) == 0) {
    }
    SSI_DR0 = byte;
    while ((SSI_SR & SSI_NOT_EMPTY) == 0) {
    }
    return (uint8_t)SSI_DR0;
}

void identity_wake(void)
{
    SSI_SSIENR = 0;
    SSI_CTRLR0 = SSI_BYTES;
    SSI_CTRLR1 = 0;
    SSI_SER = 1;
    SSI_SSIENR = 1;
    IO_QSPI_SS_CTRL = SS_FORCE_LOW;
    identity_exchange(COMMAND_UNIQUE_ID);
    for (uint32_t i = 0; i < COMMAND_SKIP; i++) {
        identity_exchange(0);
    }
    for (uint32_t i = 0; i < IDENTITY_BYTES; i++) {
        unique[i] = identity_exchange(0);
    }
    IO_QSPI_SS_CTRL = SS_FORCE_HIGH;
}

const uint8_t *identity(void)
{
    return unique;
}
