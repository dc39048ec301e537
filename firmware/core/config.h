/* Sizes of every array of the core. A board or a test may give its own on the compiler's command line. */
#ifndef CORE_CONFIG_H
#define CORE_CONFIG_H

#define PROTOCOL_MAJOR 1u
#define PROTOCOL_MINOR 2u

/* Largest decoded frame. Below 254, so that no COBS group is ever longer than one code byte can say. */
#define FRAME_LARGEST 250u

/* Most transitions that one EDGES frame may hold. */
#define EDGES_LARGEST 512u

/* Room for the stream as it came, in the unit of credit; a power of two. */
#ifndef STREAM_BYTES
#define STREAM_BYTES 131072u
#endif

/* Decoded transitions remembered; a power of two. */
#ifndef HISTORY_SLOTS
#define HISTORY_SLOTS 8192u
#endif

/* What a block may look back on: the slots less the frame that is being decoded and the one being handed over. */
#define HISTORY_DEPTH (HISTORY_SLOTS - 2u * EDGES_LARGEST)

/* Captured changes waiting for the host; a power of two. */
#ifndef CAPTURE_SLOTS
#define CAPTURE_SLOTS 1024u
#endif

#endif
