/**
 * An RP2040 that steps by cycles: processor, PIO, DMA, timer and USB on one clock of 8 ns. Runs the image as it lies in
 * flash, from the boot block's own code on.
 */
import { RP2040 } from 'rp2040js';
import { mendChip } from './models.mjs';
import { NEVER, mendPio } from './pio.mjs';
import { PulseWidths } from './pwm.mjs';
import { Finding, fatalLogger, gateResets, slowClocks, strictUsb } from './strict.mjs';

export const HZ = 125_000_000;
const NANOS = 8;
const OUTPUTS = 0xff;
const FIRST_INPUT = 8;
const BOOT2_RAM = 0x20041f00;
const LED = 25;

export class Chip {
  /** `rom`, if given, is a boot ROM that the firmware may call. */
  constructor(image, { uniqueId = Buffer.from('E66138528350AB21', 'hex'), rom = null, skip = true } = {}) {
    Object.assign(this, { image, uniqueId, rom, skip });
    this.cycle = 0;
    this.resets = 0;
    this.asleep = 0;
    this.halted = false;
    this.edges = { cycles: [], masks: [] };
    this.led = [];
    this.voltages = [];
    this.words = [];
    this.inputs = [];
    this.loop = new Map();
    this.onWake = () => {};
    this.wake();
  }

  /** Power-up, or a reset by the watchdog: everything anew but the cycle count and what drives the inputs. */
  wake() {
    const rp = (this.rp = new RP2040());
    const begin = this.cycle;
    rp.logger = fatalLogger;
    const now = () => begin + Math.round(rp.clock.nanos / NANOS);
    this.now = now;
    if (this.rom) rp.bootrom.set(this.rom);
    rp.flash.set(this.image);
    mendChip(rp, { now, uniqueId: this.uniqueId });
    for (const pio of rp.pio) {
      mendPio(pio, { now, skip: this.skip, pinsMoved: (cycle) => this.pinsMoved(cycle) });
      pio.cycle = this.cycle;
    }
    rp.peripherals[0x40050] = new PulseWidths(rp, now, (...change) => this.voltages.push(change));
    gateResets(rp);
    slowClocks(rp, now);
    strictUsb(rp);
    const watchdog = rp.peripherals[0x40058];
    watchdog.onWatchdogTrigger = () => {
      watchdog.timer.enable = false; // or its alarm would go off at this same moment for ever
      this.resetDue = true;
    };
    rp.onBreak = (code) => {
      throw new Finding(`the firmware stopped at breakpoint ${code}`);
    };
    for (let pin = 0; pin < FIRST_INPUT; pin++) rp.gpio[pin].addListener(() => (this.pinsDirty = true));
    rp.gpio[LED].addListener((value) => this.led.push([now(), value === 1 ? 1 : 0]));
    for (let pin = FIRST_INPUT; pin < 2 * FIRST_INPUT; pin++) rp.gpio[pin].rawInputValue = !!(this.inputLevels >> pin & 1);
    this.resetDue = false;
    this.halted = false;
    this.mask = null;
    this.inputAlarm = rp.clock.createAlarm(() => this.moveInputs());
    this.planInputs();
    this.enterBoot2();
    this.pinsMoved(this.cycle);
    this.resets++;
    this.onWake(rp);
  }

  /** Does what the boot ROM does: copies the first 256 bytes of flash to RAM and runs them. */
  enterBoot2() {
    const { core } = this.rp;
    this.rp.sram.set(this.image.subarray(0, 256), BOOT2_RAM - 0x20000000);
    core.reset();
    core.registers[13] = BOOT2_RAM;
    core.registers[14] = 0;
    core.registers[15] = BOOT2_RAM;
  }

  /** Notes what the outputs are at this cycle; a pin that nobody drives is low by its pull-down. */
  pinsMoved(cycle) {
    this.pinsDirty = false;
    let mask = 0;
    let driven = 0;
    for (let pin = 0; pin < FIRST_INPUT; pin++) {
      const value = this.rp.gpio[pin].value;
      if (value === 1) mask |= 1 << pin;
      if (value <= 1) driven |= 1 << pin;
    }
    const both = mask | (driven << 8);
    if (both === this.mask) return;
    for (const [out, input] of this.loop) {
      if (((this.mask ?? 0) ^ both) >> out & 1) this.drive(FIRST_INPUT + input, (mask >> out) & 1);
    }
    this.mask = both;
    this.edges.cycles.push(cycle);
    this.edges.masks.push(both);
  }

  /** Has inputs change: `[cycle, input, level]`, in order. */
  schedule(changes) {
    this.inputs.push(...changes);
    this.planInputs();
  }

  planInputs() {
    if (this.inputs.length) this.inputAlarm.schedule(Math.max(0, this.inputs[0][0] - this.now()) * NANOS);
  }

  moveInputs() {
    const now = this.now();
    let count = 0;
    while (count < this.inputs.length && this.inputs[count][0] <= now) {
      const [, input, level] = this.inputs[count++];
      this.setInput(input, level);
    }
    this.inputs.splice(0, count);
    this.planInputs();
  }

  /** Changes an input now. */
  setInput(input, level) {
    for (const pio of this.rp.pio) pio.catchUp(this.now());
    this.drive(FIRST_INPUT + input, level);
    for (const pio of this.rp.pio) if (!pio.busy) pio.plan();
  }

  drive(pin, level) {
    this.inputLevels = level ? (this.inputLevels ?? 0) | (1 << pin) : (this.inputLevels ?? 0) & ~(1 << pin);
    this.rp.gpio[pin].setInputValue(!!level);
  }

  /** How long the processor would sleep if nobody disturbed it. */
  sleepCycles(most) {
    const { clock, pio } = this.rp;
    let cycles = Math.min(most, pio[0].next - this.cycle, pio[1].next - this.cycle);
    if (clock.nextAlarm) cycles = Math.min(cycles, Math.ceil((clock.nextAlarm.nanos - clock.nanos) / NANOS));
    return Math.max(cycles, 1);
  }

  /** Lets so many cycles pass. */
  run(cycles) {
    const end = this.cycle + cycles;
    while (this.cycle < end) {
      const { core, clock, pio } = this.rp;
      let step;
      if (core.waiting || this.halted) {
        step = this.sleepCycles(end - this.cycle);
        this.asleep += step;
      } else {
        step = core.executeInstruction();
        if (core.waiting && core.pendingInterrupts & core.enabledInterrupts) core.waiting = false;
      }
      this.cycle += step;
      clock.tick(step * NANOS);
      if (this.cycle >= pio[0].next) pio[0].catchUp(this.cycle);
      if (this.cycle >= pio[1].next) pio[1].catchUp(this.cycle);
      if (this.pinsDirty) this.pinsMoved(this.cycle);
      if (this.resetDue) this.wake();
    }
    for (const pio of this.rp.pio) pio.catchUp(this.cycle);
  }

  /** Keeps every word that the generator's FIFO gets from now on. */
  spy() {
    const [machine] = this.rp.pio[0].machines;
    const write = machine.writeFIFO.bind(machine);
    machine.writeFIFO = (word) => {
      this.words.push(word >>> 0);
      write(word);
    };
  }

  /** Gives the changes of the outputs since the last call: cycles, and masks with the driven pins in bits 8 to 15. */
  takeEdges() {
    const taken = this.edges;
    this.edges = { cycles: [], masks: [] };
    return taken;
  }
}

export { NEVER, OUTPUTS };
