#include "usb_descriptors.h"

#include "identity.h" /* identity */

enum { DEVICE = 1, CONFIGURATION = 2, STRING = 3 };

/* The test number of a registry of open devices: a product that is sold needs one of its own. */
#define VENDOR 0x1209u
#define PRODUCT 0x0001u
#define RELEASE 0x0100u

#define LOW(n) ((n) & 0xFFu)
#define HIGH(n) ((n) >> 8)
#define PACKET 64u

static const uint8_t device[] = {
    18,   DEVICE,
    0x00, 0x02, /* USB 2.0 */
    0xEF, 0x02, 0x01, /* functions are grouped by association descriptors */
    PACKET,
    LOW(VENDOR), HIGH(VENDOR), LOW(PRODUCT), HIGH(PRODUCT), LOW(RELEASE), HIGH(RELEASE),
    1, 2, 3, /* strings: maker, product, number */
    1, /* one configuration */
};

static const uint8_t configuration[] = {
    9, CONFIGURATION, 75, 0, 2, 1, 0, 0x80, 50, /* two interfaces, fed by the bus, 100 mA */
    8, 11, 0, 2, 0x02, 0x02, 0x00, 0,           /* association: both are one serial port */
    9, 4, 0, 0, 1, 0x02, 0x02, 0x00, 0,         /* control interface */
    5, 0x24, 0x00, 0x10, 0x01,                  /* CDC 1.10 */
    5, 0x24, 0x01, 0x00, 1,                     /* no call management */
    4, 0x24, 0x02, 0x02,                        /* line coding and line state are understood */
    5, 0x24, 0x06, 0, 1,                        /* union of both interfaces */
    7, 5, 0x81, 3, 8, 0, 16,                    /* notifications, never used */
    9, 4, 1, 0, 2, 0x0A, 0x00, 0x00, 0,         /* data interface */
    7, 5, 0x02, 2, PACKET, 0, 0,
    7, 5, 0x82, 2, PACKET, 0, 0,
};
_Static_assert(sizeof configuration == 75, "the configuration says its own length");

static const uint8_t languages[] = {4, STRING, 0x09, 0x04}; /* English */

#define NUMBER_STRING 3u
#define STRING_LARGEST (2u + 2u * 24u)
static const char *const texts[] = {0, "edgewheel", "edgewheel RP2040"};

/* Writes a text as UTF-16 behind the head of a string descriptor; returns the size of it all. */
static uint32_t usb_string(uint8_t *out, const char *text)
{
    uint32_t size = 2u;
    for (; *text != 0 && size < STRING_LARGEST; text++) {
        out[size++] = (uint8_t)*text;
        out[size++] = 0;
    }
    out[0] = (uint8_t)size;
    out[1] = STRING;
    return size;
}

/* Writes the board's unique number in hexadecimal. */
static void usb_number(char *out)
{
    for (uint32_t i = 0; i < IDENTITY_BYTES; i++) {
        *out++ = "0123456789ABCDEF"[identity()[i] >> 4];
        *out++ = "0123456789ABCDEF"[identity()[i] & 15u];
    }
    *out = 0;
}

const uint8_t *usb_descriptor(uint8_t type, uint8_t number, uint32_t *size)
{
    static uint8_t string[STRING_LARGEST];
    if (type == DEVICE) {
        *size = sizeof device;
        return device;
    }
    if (type == CONFIGURATION) {
        *size = sizeof configuration;
        return configuration;
    }
    if (type != STRING || number > NUMBER_STRING) {
        return 0;
    }
    if (number == 0) {
        *size = sizeof languages;
        return languages;
    }
    char hex[2u * IDENTITY_BYTES + 1u];
    usb_number(hex);
    *size = usb_string(string, number == NUMBER_STRING ? hex : texts[number]);
    return string;
}
