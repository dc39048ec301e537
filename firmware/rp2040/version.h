/* The firmware's version, for people; the protocol has its own. */
#ifndef RP2040_VERSION_H
#define RP2040_VERSION_H

#define FIRMWARE_VERSION "0.1.0"

#endif
