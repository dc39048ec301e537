/**
 * A USB host at full speed: enumerates the board, opens its serial port, and moves packets over one shared bus. A packet
 * takes the time of its bits, both directions share the bus, and the board's NAK costs nothing.
 */

const CONTROL = 0;
const SERIAL = 2;
const PACKET = 64;
/** Token, handshake, sync, CRC and gaps of a bulk transaction, in byte times. */
const OVERHEAD_BYTES = 16;
const US_PER_BYTE = 8 / 12;

export class UsbHost {
  constructor(chip) {
    this.chip = chip;
    this.queue = [];
    this.queued = 0;
    this.received = [];
    this.lineState = 0;
    this.cut = false;
    chip.onWake = (rp) => this.attach(rp);
    this.attach(chip.rp);
  }

  /** Watches the controller of a chip that has just woken. */
  attach(rp) {
    this.usb = rp.usbCtrl;
    this.rp = rp;
    this.connected = false;
    this.enumerating = false;
    this.askedFor = 0;
    this.busFreeAt = 0;
    const { usb } = this;
    const ready = usb.indicateBufferReady.bind(usb);
    const alarms = new Map();
    usb.indicateBufferReady = (endpoint, out) => {
      if (out) return ready(endpoint, true);
      const size = rp.usbDPRAMView.getUint32(0x80 + 8 * endpoint, true) & 0x3ff;
      const us = this.transactionUs(size);
      usb.writeDelayMicroseconds = us;
      if (!alarms.has(endpoint)) alarms.set(endpoint, rp.clock.createAlarm(() => ready(endpoint, false)));
      return alarms.get(endpoint).schedule(us * 1000);
    };
    usb.onUSBEnabled = () => usb.resetDevice();
    usb.onResetReceived = () => {
      if (!this.enumerating) {
        this.enumerating = true;
        this.enumerate();
      }
    };
    usb.onEndpointWrite = (endpoint, bytes) => {
      if (endpoint === CONTROL) this.onControlIn?.(Buffer.from(bytes));
      else if (endpoint === SERIAL && !this.cut) this.received.push(Buffer.from(bytes));
    };
    usb.onEndpointRead = (endpoint, size) => {
      if (endpoint === SERIAL) {
        this.askedFor = size;
        this.pump();
      } else if (endpoint === CONTROL) this.controlOut();
    };
  }

  /** Takes the bus for one transaction; returns the microseconds until it is over. */
  transactionUs(size) {
    const now = this.rp.clock.nanos / 1000;
    this.busFreeAt = Math.max(now, this.busFreeAt) + (size + OVERHEAD_BYTES) * US_PER_BYTE;
    return this.busFreeAt - now;
  }

  /** Sends the next packet if the board asks for one. */
  pump() {
    if (!this.askedFor || !this.queued || this.cut || !this.connected) return;
    const packet = new Uint8Array(Math.min(this.askedFor, this.queued, PACKET));
    let filled = 0;
    while (filled < packet.length) {
      const head = this.queue[0];
      const part = head.subarray(0, packet.length - filled);
      packet.set(part, filled);
      filled += part.length;
      if (part.length === head.length) this.queue.shift();
      else this.queue[0] = head.subarray(part.length);
    }
    this.queued -= packet.length;
    this.askedFor = 0;
    this.usb.endpointReadDone(SERIAL, packet, this.transactionUs(packet.length));
  }

  write(bytes) {
    if (!bytes.length) return;
    this.queue.push(bytes);
    this.queued += bytes.length;
    this.pump();
  }

  /** Gives what the board sent since the last call. */
  take() {
    const all = Buffer.concat(this.received);
    this.received = [];
    return all;
  }

  /** Pulls the cable, or plugs it in again; the board sees only that nothing comes. */
  setCut(cut) {
    this.cut = cut;
    this.pump();
  }

  controlOut() {
    if (this.outData) {
      const data = this.outData;
      this.outData = null;
      this.usb.endpointReadDone(CONTROL, data, this.transactionUs(data.length));
    } else if (this.onStatus) {
      this.usb.endpointReadDone(CONTROL, new Uint8Array(0), this.transactionUs(0));
      const done = this.onStatus;
      this.onStatus = null;
      done();
    }
  }

  setup(kind, request, value, index, length) {
    this.usb.sendSetupPacket(
      Uint8Array.of(kind, request, value & 255, value >> 8, index & 255, index >> 8, length & 255, length >> 8),
    );
  }

  controlRead(kind, request, value, index, length) {
    return new Promise((resolve) => {
      let all = Buffer.alloc(0);
      this.onControlIn = (bytes) => {
        all = Buffer.concat([all, bytes]);
        if (all.length < length && bytes.length === PACKET) return;
        this.onControlIn = null;
        this.onStatus = () => resolve(all);
      };
      this.setup(kind, request, value, index, length);
    });
  }

  controlWrite(kind, request, value, index, data = null) {
    return new Promise((resolve) => {
      this.onControlIn = () => {
        this.onControlIn = null;
        resolve();
      };
      this.outData = data && Uint8Array.from(data);
      this.setup(kind, request, value, index, data?.length ?? 0);
    });
  }

  /** Sets rate and DTR of the serial port, as opening and closing it does. */
  async setLine({ baud = 115200, dtr }) {
    const rate = [baud & 255, (baud >> 8) & 255, (baud >> 16) & 255, 0, 0, 0, 8];
    await this.controlWrite(0x21, 0x20, 0, 0, rate);
    await this.controlWrite(0x21, 0x22, dtr ? 3 : 0, 0);
  }

  async enumerate() {
    await this.controlRead(0x80, 6, 0x0100, 0, 8);
    await this.controlWrite(0x00, 5, 7, 0);
    const device = await this.controlRead(0x80, 6, 0x0100, 0, 18);
    const head = await this.controlRead(0x80, 6, 0x0200, 0, 9);
    const configuration = await this.controlRead(0x80, 6, 0x0200, 0, head.readUInt16LE(2));
    const strings = [];
    for (const number of device.subarray(14, 17)) {
      const text = await this.controlRead(0x80, 6, 0x0300 + number, 0x0409, 255);
      strings.push(text.subarray(2).toString('utf16le'));
    }
    await this.controlWrite(0x00, 9, 1, 0);
    this.device = {
      vendor: device.readUInt16LE(8),
      product: device.readUInt16LE(10),
      strings,
      device: device.toString('hex'),
      configuration: configuration.toString('hex'),
      address: this.usb.addrEndp,
    };
    this.connected = true;
    this.pump();
  }
}
