/** What the silicon would punish and the stock emulator forgives. Every finding stops the emulator. */

export class Finding extends Error {}

/** A log that takes nothing lightly. */
export const fatalLogger = {
  debug() {},
  info() {},
  warn(component, text) {
    throw new Finding(`${component}: ${text}`);
  },
  error(component, text) {
    throw new Finding(`${component}: ${text}`);
  },
};

/** Peripherals by address and their bit in RESETS, RP2040 datasheet section 2.14.3. */
const RESET_BITS = {
  0x40014: 5, 0x40018: 6, 0x4001c: 8, 0x40020: 9, 0x40028: 12, 0x4002c: 13, 0x40030: 1, 0x40034: 22, 0x40038: 23,
  0x4003c: 16, 0x40040: 17, 0x40044: 3, 0x40048: 4, 0x4004c: 0, 0x40050: 14, 0x40054: 21, 0x4005c: 15, 0x50000: 2,
  0x50110: 24, 0x50200: 10, 0x50300: 11,
};
/** What the boot ROM has taken out of reset when it enters the second stage: IO_QSPI and PADS_QSPI. */
const AFTER_ROM = 0x01ffffff & ~((1 << 6) | (1 << 9));
const USBCTRL = 1 << 24;

/** Refuses to let a peripheral be touched that is still in reset. */
export function gateResets(rp) {
  const resets = rp.peripherals[0x4000c];
  resets.reset = AFTER_ROM;
  Object.defineProperty(resets, 'reset_done', { get: () => ~resets.reset & 0x01ffffff });
  for (const [page, bit] of Object.entries(RESET_BITS)) {
    const peripheral = rp.peripherals[page];
    for (const access of ['readUint32', 'writeUint32Atomic']) {
      const plain = peripheral[access].bind(peripheral);
      peripheral[access] = (offset, ...rest) => {
        if (resets.reset & (1 << bit)) throw new Finding(`${peripheral.name} is used while it is in reset`);
        return plain(offset, ...rest);
      };
    }
  }
  const usb = rp.usbCtrl;
  const updated = usb.DPRAMUpdated.bind(usb);
  usb.DPRAMUpdated = (offset, value) => {
    if (resets.reset & USBCTRL) throw new Finding('USB memory is used while the controller is in reset');
    updated(offset, value);
  };
}

/** Lets crystal and PLLs take their time, and the timer stand still until the watchdog gives it a tick. */
export function slowClocks(rp, now) {
  const since = new Map();
  const ready = (key, cycles) => since.has(key) && now() - since.get(key) >= cycles;
  const watch = (page, key, offset, wants) => {
    const peripheral = rp.peripherals[page];
    const plain = peripheral.writeUint32.bind(peripheral);
    peripheral.writeUint32 = (at, value) => {
      if (at === offset && wants(value)) since.set(key, now());
      plain(at, value);
    };
  };
  const hide = (page, key, offset, bit, cycles) => {
    const peripheral = rp.peripherals[page];
    const plain = peripheral.readUint32.bind(peripheral);
    peripheral.readUint32 = (at) => {
      const value = plain(at);
      return at === offset && !ready(key, cycles) ? (value & ~(1 << bit)) >>> 0 : value;
    };
  };
  watch(0x40024, 'xosc', 0, (value) => (value & 0xfff000) === 0xfab000);
  hide(0x40024, 'xosc', 4, 31, 125_000);
  for (const page of [0x40028, 0x4002c]) {
    watch(page, page, 4, (value) => (value & 0x21) === 0);
    hide(page, page, 0, 31, 12_500);
  }
  watch(0x40058, 'tick', 0x2c, (value) => (value & 0x200) !== 0);
  const timer = rp.peripherals[0x40054];
  const read = timer.readUint32.bind(timer);
  timer.readUint32 = (offset) => {
    if (!since.has('tick')) throw new Finding('the timer is read before the watchdog gives it a tick');
    return read(offset);
  };
}

/** Checks what a USB host would see go wrong: data toggles, and buffers that become available too soon. */
export function strictUsb(rp) {
  const usb = rp.usbCtrl;
  const prepared = new Map();
  const toggles = new Map();
  const setup = usb.sendSetupPacket.bind(usb);
  usb.sendSetupPacket = (packet) => {
    toggles.set('0in', 1).set('0out', 1);
    if (packet[0] === 0 && packet[1] === 9) for (const key of toggles.keys()) if (key[0] !== '0') toggles.set(key, 0);
    setup(packet);
  };
  const updated = usb.DPRAMUpdated.bind(usb);
  usb.DPRAMUpdated = (offset, value) => {
    if (offset >= 0x80 && offset < 0x100) checkBuffer(rp, prepared, toggles, offset, value);
    updated(offset, value);
  };
}

const AVAILABLE = 0x400;
const FULL = 0x8000;
/** Cycles of the processor in which the 48 MHz side of the controller surely has seen the rest of the word. */
const SETTLE_CYCLES = 12;

function checkBuffer(rp, prepared, toggles, offset, value) {
  const cycles = rp.core.cycles;
  const rest = value & ~AVAILABLE;
  const out = (offset & 4) !== 0;
  const key = `${(offset - 0x80) >> 3}${out ? 'out' : 'in'}`;
  if (value & AVAILABLE) {
    const before = prepared.get(offset);
    if (!before || before.rest !== rest) throw new Finding(`USB ${key}: available without its word written first`);
    if (cycles - before.cycles < SETTLE_CYCLES) throw new Finding(`USB ${key}: available too soon after its word`);
    const toggle = (value >> 13) & 1;
    const want = toggles.get(key) ?? 0;
    if (toggle !== want) throw new Finding(`USB ${key}: DATA${toggle} where DATA${want} is due`);
    if (!out && !(value & FULL)) throw new Finding(`USB ${key}: sends a buffer that is not full`);
    toggles.set(key, toggle ^ 1);
  }
  prepared.set(offset, { rest, cycles });
}
