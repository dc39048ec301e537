/**
 * Pulse widths on the clock of the chip, as far as the firmware uses them: slices that count every cycle from a value up to
 * TOP, whose compare values count from the next wrap on, and wraps that ask the DMA for one transfer each. The stock
 * emulator asks once and never takes it back.
 */
import { BasePeripheral } from 'rp2040js';

const NANOS = 8;
const STRIDE = 0x14;
const EN = 0xa0;
const DREQ_WRAP = 24;
const FUNCTION_PWM = 4;
const FIRST_PIN = 16;

export class PulseWidths extends BasePeripheral {
  /** `changed(cycle, slice, upper, lower)` is told from which cycle on a slice's pins have which widths. */
  constructor(rp, now, changed) {
    super(rp, 'PWM');
    Object.assign(this, { rp, now, changed, enabled: 0 });
    this.paced = new Map();
    const { dma } = rp;
    const write = dma.writeUint32.bind(dma);
    dma.writeUint32 = (offset, value) => {
      write(offset, value);
      this.slices.forEach((_, number) => this.pace(number));
    };
    this.slices = Array.from({ length: 8 }, () => ({ ctr: 0, cc: 0, top: 0xffff, zero: 0, shown: null }));
  }

  readUint32(offset) {
    if (offset === EN) return this.enabled;
    throw new Error(`PWM register ${offset.toString(16)} is not modelled for reading`);
  }

  writeUint32(offset, value) {
    const slice = this.slices[Math.floor(offset / STRIDE)];
    if (offset === EN) this.enable(value);
    else if (offset % STRIDE === 0x08) slice.ctr = value;
    else if (offset % STRIDE === 0x0c) this.compare(this.slices.indexOf(slice), value);
    else if (offset % STRIDE === 0x10) slice.top = value;
    else throw new Error(`PWM register ${offset.toString(16)} is not modelled`);
  }

  enable(mask) {
    if (this.enabled) throw new Error('the slices are started once');
    this.enabled = mask;
    this.slices.forEach((slice, number) => {
      if (!(mask >> number & 1)) return;
      slice.zero = this.now() - slice.ctr;
      this.show(number, this.now());
    });
  }

  /** The first cycle after now at which a slice begins anew. */
  wrapAfter(slice) {
    const period = slice.top + 1;
    return slice.zero + (Math.floor((this.now() - slice.zero) / period) + 1) * period;
  }

  compare(number, value) {
    const slice = this.slices[number];
    slice.cc = value;
    if (this.enabled >> number & 1) this.show(number, this.wrapAfter(slice));
  }

  show(number, cycle) {
    const { cc } = this.slices[number];
    const driven = [0, 1].every((k) => this.rp.gpio[FIRST_PIN + 2 * number + k].functionSelect === FUNCTION_PWM);
    if (driven) this.changed(cycle, number, cc & 0xffff, cc >>> 16);
  }

  /** The channels that wait for the wraps of a slice. */
  asking(number) {
    return this.rp.dma.channels.filter((one) => one.treq === DREQ_WRAP + number && one.active);
  }

  /** Has the wraps of a slice serve the channels, as long as there are any. */
  pace(number) {
    if (this.paced.has(number) || !this.asking(number).length || !(this.enabled >> number & 1)) return;
    const alarm = this.rp.clock.createAlarm(() => {
      for (const channel of this.asking(number)) channel.transfer();
      if (this.asking(number).length) plan();
      else this.paced.delete(number);
    });
    const plan = () => alarm.schedule((this.wrapAfter(this.slices[number]) - this.now()) * NANOS);
    this.paced.set(number, alarm);
    plan();
  }
}
