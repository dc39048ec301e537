#include "usb.h"

#include "interrupts.h"      /* usb_interrupt */
#include "registers.h"       /* USB_SIE_CTRL and its kin */
#include "usb_descriptors.h" /* usb_descriptor */

/* The controller's own memory: registers of the endpoints, then packet buffers. */
#define DPRAM32(offset) REGISTER(USB_DPRAM + (offset))
#define DPRAM8(offset) ((volatile uint8_t *)USB_DPRAM + (offset))
#define DPRAM_BYTES 4096u
#define ENDPOINT_IN(ep) DPRAM32(8u * (ep))
#define ENDPOINT_OUT(ep) DPRAM32(8u * (ep) + 4u)
#define BUFFER_IN(ep) DPRAM32(0x80u + 8u * (ep))
#define BUFFER_OUT(ep) DPRAM32(0x84u + 8u * (ep))
#define BYTES_CONTROL 0x100u
#define BYTES_NOTIFY 0x180u
#define BYTES_OUT 0x1C0u
#define BYTES_IN 0x200u

#define ENDPOINT_ENABLE BIT(31)
#define ENDPOINT_INTERRUPT_EACH BIT(29)
#define ENDPOINT_BULK (2u << 26)
#define ENDPOINT_INTERRUPT (3u << 26)

#define BUFFER_AVAILABLE BIT(10)
#define BUFFER_STALL BIT(11)
#define BUFFER_DATA1 BIT(13)
#define BUFFER_FULL BIT(15)
#define BUFFER_SIZE 0x3FFu

#define NOTIFY 1u
#define SERIAL 2u
#define DONE_IN(ep) BIT(2u * (ep))
#define DONE_OUT(ep) BIT(2u * (ep) + 1u)

#define INT_BUFF_STATUS BIT(4)
#define INT_BUS_RESET BIT(12)
#define INT_SETUP BIT(16)
#define SIE_STATUS_SETUP BIT(17)
#define SIE_STATUS_BUS_RESET BIT(19)
#define SIE_CTRL_PULLUP BIT(16)
#define SIE_CTRL_EP0_INTERRUPT_EACH BIT(29)
#define MUXING_TO_PHY BIT(0)
#define MUXING_SOFTCON BIT(3)
#define PWR_VBUS_DETECT BIT(3)
#define PWR_VBUS_OVERRIDE BIT(2)
#define EP0_STALL_BOTH 3u

/* Requests, USB 2.0 table 9-4 and CDC PSTN 1.2 table 13 */
enum {
    GET_STATUS = 0,
    CLEAR_FEATURE = 1,
    SET_FEATURE = 3,
    SET_ADDRESS = 5,
    GET_DESCRIPTOR = 6,
    GET_CONFIGURATION = 8,
    SET_CONFIGURATION = 9,
    GET_INTERFACE = 10,
    SET_INTERFACE = 11,
    SET_LINE_CODING = 0x20,
    GET_LINE_CODING = 0x21,
    SET_CONTROL_LINE_STATE = 0x22,
    SEND_BREAK = 0x23
};
#define REQUEST_IN 0x80u
#define REQUEST_CLASS 0x20u
#define REQUEST_KIND 0x60u
#define LINE_CODING_BYTES 7u

struct setup {
    uint8_t kind;
    uint8_t request;
    uint16_t value;
    uint16_t length;
};

static struct {
    const uint8_t *next; /* what the control endpoint has still to send */
    uint32_t left;
    bool ends_with_empty;
    bool wants_line_coding;
    bool data1;
    bool asked_to_send; /* the request in hand goes to the host */
    uint8_t new_address;
    uint8_t configured;
    bool out_data1;
    bool in_data1;
    uint8_t answer[8];
    uint8_t line_coding[LINE_CODING_BYTES];
} usb = {.line_coding = {0x00, 0xC2, 0x01, 0x00, 0, 0, 8}}; /* 115,200 baud, 8 bits */

/* Gives a buffer to the controller; its clock is slower, so that everything else must be there some cycles before. */
static void usb_give(volatile uint32_t *buffer, uint32_t control)
{
    *buffer = control;
    __asm volatile("nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop");
    *buffer = control | BUFFER_AVAILABLE;
}

/* Sends the next packet of the answer on the control endpoint. */
static void usb_control_continue(void)
{
    uint32_t size = usb.left < USB_PACKET ? usb.left : USB_PACKET;
    for (uint32_t i = 0; i < size; i++) {
        DPRAM8(BYTES_CONTROL)[i] = usb.next[i];
    }
    usb.next += size;
    usb.left -= size;
    usb_give(&BUFFER_IN(0), size | BUFFER_FULL | (usb.data1 ? BUFFER_DATA1 : 0u));
    usb.data1 = !usb.data1;
}

/* Answers a request with data, of which the host takes at most `wanted` bytes. */
static void usb_control_send(const uint8_t *bytes, uint32_t size, uint32_t wanted)
{
    usb.ends_with_empty = size < wanted && size > 0 && size % USB_PACKET == 0;
    usb.next = bytes;
    usb.left = size < wanted ? size : wanted;
    usb.data1 = true;
    usb_control_continue();
}

/* Answers a request that asks for no data. */
static void usb_control_accept(void)
{
    usb.left = 0;
    usb.ends_with_empty = false;
    usb_give(&BUFFER_IN(0), BUFFER_FULL | BUFFER_DATA1);
}

/* Refuses a request. */
static void usb_control_refuse(void)
{
    SET(USB_EP_STALL_ARM) = EP0_STALL_BOTH;
    BUFFER_IN(0) = BUFFER_STALL;
    BUFFER_OUT(0) = BUFFER_STALL;
}

/* Opens the endpoints of the serial port. */
static void usb_configure(uint8_t configuration)
{
    usb.configured = configuration;
    usb.out_data1 = false;
    usb.in_data1 = false;
    uint32_t common = ENDPOINT_ENABLE | ENDPOINT_INTERRUPT_EACH;
    ENDPOINT_IN(NOTIFY) = common | ENDPOINT_INTERRUPT | BYTES_NOTIFY;
    ENDPOINT_OUT(SERIAL) = common | ENDPOINT_BULK | BYTES_OUT;
    ENDPOINT_IN(SERIAL) = common | ENDPOINT_BULK | BYTES_IN;
}

/* Answers a request with up to two bytes. */
static void usb_control_send_number(uint8_t first, uint32_t size, uint32_t wanted)
{
    usb.answer[0] = first;
    usb.answer[1] = 0;
    usb_control_send(usb.answer, size, wanted);
}

/* Carries out a standard request. */
static void usb_standard_request(const struct setup *setup)
{
    uint32_t size;
    const uint8_t *descriptor;
    switch (setup->request) {
    case GET_DESCRIPTOR:
        descriptor = usb_descriptor((uint8_t)(setup->value >> 8), (uint8_t)setup->value, &size);
        if (descriptor) {
            usb_control_send(descriptor, size, setup->length);
        } else {
            usb_control_refuse();
        }
        break;
    case SET_ADDRESS:
        /* It counts from the end of this request on. */
        usb.new_address = (uint8_t)setup->value;
        usb_control_accept();
        break;
    case SET_CONFIGURATION:
        usb_configure((uint8_t)setup->value);
        usb_control_accept();
        serial_configured();
        break;
    case GET_CONFIGURATION:
        usb_control_send_number(usb.configured, 1, setup->length);
        break;
    case GET_STATUS:
        usb_control_send_number(0, 2, setup->length);
        break;
    case GET_INTERFACE:
        usb_control_send_number(0, 1, setup->length);
        break;
    case CLEAR_FEATURE:
    case SET_FEATURE:
    case SET_INTERFACE:
        usb_control_accept();
        break;
    default:
        usb_control_refuse();
    }
}

/* Carries out a request of the serial port. */
static void usb_class_request(const struct setup *setup)
{
    switch (setup->request) {
    case SET_LINE_CODING:
        usb.wants_line_coding = true;
        usb_give(&BUFFER_OUT(0), USB_PACKET | BUFFER_DATA1);
        break;
    case GET_LINE_CODING:
        usb_control_send(usb.line_coding, LINE_CODING_BYTES, setup->length);
        break;
    case SET_CONTROL_LINE_STATE:
        usb_control_accept();
        serial_opened((setup->value & 1u) != 0);
        break;
    case SEND_BREAK:
        usb_control_accept();
        break;
    default:
        usb_control_refuse();
    }
}

/* Takes a setup packet, whatever was under way before. */
static void usb_setup(void)
{
    const volatile uint8_t *bytes = DPRAM8(0);
    struct setup setup = {
        .kind = bytes[0],
        .request = bytes[1],
        .value = (uint16_t)(bytes[2] | (bytes[3] << 8)),
        .length = (uint16_t)(bytes[6] | (bytes[7] << 8)),
    };
    usb.asked_to_send = (setup.kind & REQUEST_IN) != 0;
    usb.wants_line_coding = false;
    usb.left = 0;
    if ((setup.kind & REQUEST_KIND) == 0) {
        usb_standard_request(&setup);
    } else if ((setup.kind & REQUEST_KIND) == REQUEST_CLASS) {
        usb_class_request(&setup);
    } else {
        usb_control_refuse();
    }
}

/* A control packet was taken by the host. */
static void usb_control_sent(void)
{
    if (usb.new_address != 0) {
        USB_ADDR_ENDP = usb.new_address;
        usb.new_address = 0;
    }
    if (usb.left > 0) {
        usb_control_continue();
    } else if (usb.ends_with_empty) {
        usb.ends_with_empty = false;
        usb_control_continue();
    } else if (usb.asked_to_send) {
        usb.asked_to_send = false;
        usb_give(&BUFFER_OUT(0), BUFFER_DATA1);
    }
}

/* A control packet came: the line coding, or the empty one that ends a request. */
static void usb_control_received(void)
{
    if (!usb.wants_line_coding) {
        return;
    }
    usb.wants_line_coding = false;
    for (uint32_t i = 0; i < LINE_CODING_BYTES; i++) {
        usb.line_coding[i] = DPRAM8(BYTES_CONTROL)[i];
    }
    serial_rate(usb.line_coding[0] | ((uint32_t)usb.line_coding[1] << 8) | ((uint32_t)usb.line_coding[2] << 16));
    usb_control_accept();
}

/* Looks after every buffer that the controller is done with. */
static void usb_buffers(void)
{
    uint32_t done = USB_BUFF_STATUS;
    CLEAR(USB_BUFF_STATUS) = done;
    if ((done & DONE_IN(0)) != 0) {
        usb_control_sent();
    }
    if ((done & DONE_OUT(0)) != 0) {
        usb_control_received();
    }
    if ((done & DONE_IN(SERIAL)) != 0) {
        serial_transmitted();
    }
    if ((done & DONE_OUT(SERIAL)) != 0) {
        serial_received(DPRAM8(BYTES_OUT), BUFFER_OUT(SERIAL) & BUFFER_SIZE);
    }
}

void usb_interrupt(void)
{
    uint32_t pending = USB_INTS;
    if ((pending & INT_BUS_RESET) != 0) {
        CLEAR(USB_SIE_STATUS) = SIE_STATUS_BUS_RESET;
        USB_ADDR_ENDP = 0;
        usb.configured = 0;
        usb.new_address = 0;
        serial_gone();
    }
    if ((pending & INT_SETUP) != 0) {
        CLEAR(USB_SIE_STATUS) = SIE_STATUS_SETUP;
        usb_setup();
    }
    if ((pending & INT_BUFF_STATUS) != 0) {
        usb_buffers();
    }
}

void usb_receive(void)
{
    usb_give(&BUFFER_OUT(SERIAL), USB_PACKET | (usb.out_data1 ? BUFFER_DATA1 : 0u));
    usb.out_data1 = !usb.out_data1;
}

void usb_transmit(const uint8_t *bytes, uint32_t size)
{
    for (uint32_t i = 0; i < size; i++) {
        DPRAM8(BYTES_IN)[i] = bytes[i];
    }
    usb_give(&BUFFER_IN(SERIAL), size | BUFFER_FULL | (usb.in_data1 ? BUFFER_DATA1 : 0u));
    usb.in_data1 = !usb.in_data1;
}

void usb_wake(void)
{
    for (uint32_t offset = 0; offset < DPRAM_BYTES; offset += 4u) {
        DPRAM32(offset) = 0;
    }
    USB_MUXING = MUXING_TO_PHY | MUXING_SOFTCON;
    USB_PWR = PWR_VBUS_DETECT | PWR_VBUS_OVERRIDE;
    USB_MAIN_CTRL = 1;
    USB_SIE_CTRL = SIE_CTRL_EP0_INTERRUPT_EACH;
    USB_INTE = INT_BUFF_STATUS | INT_BUS_RESET | INT_SETUP;
    NVIC_ICPR = BIT(IRQ_USBCTRL);
    NVIC_ISER = BIT(IRQ_USBCTRL);
    SET(USB_SIE_CTRL) = SIE_CTRL_PULLUP;
}

void usb_leave(void)
{
    CLEAR(USB_SIE_CTRL) = SIE_CTRL_PULLUP;
}
