/* Numbers of the frames, PROTOCOL.md section 1. */
#ifndef CORE_TYPES_H
#define CORE_TYPES_H

enum type {
    TYPE_HELLO = 0x01,
    TYPE_POLL = 0x02,
    TYPE_STOP = 0x03,
    TYPE_PARK = 0x04,
    TYPE_ARM = 0x10,
    TYPE_EDGES = 0x11,
    TYPE_START = 0x12,
    TYPE_SPLICE = 0x13,
    TYPE_END = 0x14,
    TYPE_BOOTLOADER = 0x15,
    TYPE_CONFIG = 0x16,
    TYPE_WELCOME = 0x81,
    TYPE_STATUS = 0x82,
    TYPE_PULSES = 0x83,
    TYPE_REFUSED = 0x84
};

/* Types from here on are ordered; those below act when they arrive. */
#define TYPE_ORDERED 0x10u
/* Types from here on go from board to host. */
#define TYPE_BOARD 0x80u

#endif
