/** Parts of the chip that the stock emulator has not, or has wrong. */
import { BasePeripheral } from 'rp2040js';

const CHAN_ABORT = 0x444;
const SYST_CSR = 0x10;
const SYST_RVR = 0x14;
const SYST_CVR = 0x18;
const STATUS_READY = 0x0e;

/** The flash chip behind the SSI: it answers the command for its unique number, one byte for each byte. */
class FlashInterface extends BasePeripheral {
  constructor(rp, uniqueId) {
    super(rp, 'SSI');
    this.registers = new Map();
    this.uniqueId = uniqueId;
    this.sent = [];
    this.answer = 0;
  }

  /** The chip select line fell or rose: a command begins. */
  select() {
    this.sent = [];
  }

  readUint32(offset) {
    if (offset === 0x28) return STATUS_READY;
    if (offset === 0x60) return this.answer;
    return this.registers.get(offset) ?? 0;
  }

  writeUint32(offset, value) {
    if (offset !== 0x60) {
      this.registers.set(offset, value);
      return;
    }
    this.sent.push(value & 0xff);
    const place = this.sent.length - 6;
    this.answer = this.sent[0] === 0x4b && place >= 0 ? this.uniqueId[place] : 0xff;
  }
}

/** The pins of the flash chip; only the select line is looked at. */
class FlashPins extends BasePeripheral {
  constructor(rp, flash) {
    super(rp, 'IO_QSPI');
    this.flash = flash;
  }

  readUint32() {
    return 0;
  }

  writeUint32(offset) {
    if (offset === 0x0c) this.flash.select();
  }
}

/** SysTick as 24 bits that count cycles down; the reload value must be all ones. */
function mendSystick(rp, now) {
  const ppb = rp.ppb;
  const read = ppb.readUint32.bind(ppb);
  const write = ppb.writeUint32.bind(ppb);
  let zero = 0;
  let enabled = false;
  ppb.readUint32 = (offset) => {
    if (offset !== SYST_CVR) return read(offset);
    return enabled ? (zero - now()) & 0xffffff : 0;
  };
  ppb.writeUint32 = (offset, value) => {
    if (offset === SYST_RVR && value !== 0xffffff) throw new Error('SysTick is modelled for 24 bits only');
    if (offset === SYST_CVR || (offset === SYST_CSR && !enabled)) zero = now();
    if (offset === SYST_CSR) enabled = (value & 1) !== 0;
    else if (offset !== SYST_CVR && offset !== SYST_RVR) write(offset, value);
  };
}

/** Interrupts end a sleep whether or not they may be served, and one that waits already keeps the core awake. */
function mendSleep(core) {
  core.setInterrupt = function (irq, on) {
    const bit = 1 << irq;
    if (!on) {
      this.pendingInterrupts &= ~bit;
      return;
    }
    if (!(this.pendingInterrupts & bit)) {
      this.pendingInterrupts |= bit;
      this.interruptsUpdated = true;
    }
    if (this.pendingInterrupts & this.enabledInterrupts) this.waiting = false;
  };
}

/** The word of all inputs, kept instead of gathered from thirty pins at every look. */
function cacheInputs(rp) {
  const gather = Object.getOwnPropertyDescriptor(Object.getPrototypeOf(rp), 'gpioValues').get;
  let word = null;
  Object.defineProperty(rp, 'gpioValues', { get: () => (word ??= gather.call(rp)) });
  for (const pin of rp.gpio) {
    const set = pin.setInputValue.bind(pin);
    pin.setInputValue = (value) => {
      word = null;
      set(value);
    };
  }
  for (const page of [0x40014, 0x4001c]) {
    const peripheral = rp.peripherals[page];
    const write = peripheral.writeUint32.bind(peripheral);
    peripheral.writeUint32 = (offset, value) => {
      word = null;
      write(offset, value);
    };
  }
}

/** Puts all of it into a stock chip. */
export function mendChip(rp, { now, uniqueId }) {
  const flash = new FlashInterface(rp, uniqueId);
  rp.peripherals[0x18000] = flash;
  rp.peripherals[0x40018] = new FlashPins(rp, flash);
  const readDma = rp.dma.readUint32.bind(rp.dma);
  rp.dma.readUint32 = (offset) => (offset === CHAN_ABORT ? 0 : readDma(offset));
  for (const pin of rp.gpio) pin.padValue = 0x56;
  mendSystick(rp, now);
  mendSleep(rp.core);
  cacheInputs(rp);
}
