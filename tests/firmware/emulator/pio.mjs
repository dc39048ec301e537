/**
 * PIO blocks on the clock of the chip. The stock emulator runs them on a timer of their own, without delays, dividers or
 * joined FIFOs; here every machine takes one step a cycle, and stretches in which nothing can happen are skipped at once.
 */
import { FIFO, RPPIO, StateMachine } from 'rp2040js';

/** So far in the future that it never comes. */
export const NEVER = 1e15;

const WAIT_RX_FIFO = 2;
const WAIT_TX_FIFO = 3;
const WAIT_OUT = 5;
const SHIFTCTRL = 8;
const CLKDIV = 0;
const stockWait = StateMachine.prototype.checkWait;
const stockWrite = StateMachine.prototype.writeUint32;

/** Carries out the instruction at the program counter, or looks again whether a stall has ended. */
function stepInstruction(sm) {
  if (sm.waiting) {
    stockWait.call(sm);
    if (!sm.waiting) sm.delayLeft = Math.max(sm.waitDelay, 0);
    return;
  }
  const before = sm.cycles;
  sm.updatePC = true;
  sm.executeInstruction(sm.pio.instructions[sm.pc]);
  if (sm.waiting) {
    stockWait.call(sm);
    if (!sm.waiting) sm.delayLeft = Math.max(sm.waitDelay, 0);
  } else {
    if (sm.updatePC) sm.nextPC();
    sm.delayLeft = sm.cycles - before - 1;
  }
}

/** One cycle of the chip for one machine: its divider, its delay, its instruction. */
function stepMachine(sm) {
  if (sm.divider !== 256) {
    sm.dividerSum += 256;
    if (sm.dividerSum < sm.divider) return;
    sm.dividerSum -= sm.divider;
  }
  if (sm.delayLeft > 0) sm.delayLeft--;
  else stepInstruction(sm);
}

/*
 * The sampling loop, cycle by cycle: mov x,osr / jmp x-- / mov osr,x / mov isr,null / in pins,8 / mov x,isr / jmp x!=y.
 * As long as the pins are what Y holds, only the counter in OSR changes, by one in seven cycles.
 */
const SAMPLING = [0xa027, 0x0040, 0xa0e1, 0xa0c3, 0x4008, 0xa026, 0x00a0];
const IS_JUMP = [false, true, false, false, false, false, true];

/** Where in the sampling loop a machine stands, or -1 if it is not in one or about to leave it. */
function samplingPhase(sm) {
  const begin = sm.wrapBottom;
  const phase = sm.pc - begin;
  if (phase < 0 || phase > 6 || sm.wrapTop !== begin + 6) return -1;
  const code = sm.pio.instructions;
  for (let i = 0; i < 7; i++) {
    const want = IS_JUMP[i] ? SAMPLING[i] | (begin + i + 1) : SAMPLING[i];
    if (code[begin + i] !== want) return -1;
  }
  if ((sm.inPins & 0xff) !== sm.y) return -1;
  if (phase >= 5 && sm.inputShiftReg !== sm.y) return -1;
  if (phase >= 6 && sm.x !== sm.y) return -1;
  return phase;
}

/** Puts a machine so many cycles further in its sampling loop. */
function skipSampling(sm, cycles) {
  const phase = sm.pc - sm.wrapBottom;
  const counter = phase <= 2 ? sm.outputShiftReg : sm.outputShiftReg + 1;
  const total = phase + cycles;
  const now = (counter - Math.floor(total / 7)) >>> 0;
  const at = total % 7;
  const next = (now - 1) >>> 0;
  sm.pc = sm.wrapBottom + at;
  sm.outputShiftReg = at <= 2 ? now : next;
  if (at > 2 || total >= 7) sm.outputShiftCount = 0;
  if (at === 1) sm.x = now;
  else if (at >= 2 && at <= 5) sm.x = next;
  else sm.x = sm.y;
  sm.inputShiftReg = at === 4 ? 0 : sm.y;
  sm.inputShiftCount = at === 4 ? 0 : 8;
}

/** For how many cycles a machine can do nothing that anybody could see. */
function quietCycles(sm) {
  if (!sm.enabled) return NEVER;
  if (sm.divider !== 256) return 0;
  if (sm.delayLeft > 0) return sm.delayLeft;
  if (sm.waiting) {
    if (sm.waitType === WAIT_OUT || sm.waitType === WAIT_TX_FIFO) return sm.txFIFO.empty ? NEVER : 0;
    if (sm.waitType === WAIT_RX_FIFO) return sm.rxFIFO.full ? NEVER : 0;
    return 0;
  }
  const code = sm.pio.instructions[sm.pc];
  if (code === (0x0040 | sm.pc)) return sm.x;
  if (code === sm.pc) return NEVER;
  return samplingPhase(sm) >= 0 ? NEVER : 0;
}

/** Takes a machine through cycles in which it is quiet. */
function skipMachine(sm, cycles) {
  if (!sm.enabled || sm.waiting) return;
  const code = sm.pio.instructions[sm.pc];
  if (sm.delayLeft > 0) sm.delayLeft -= cycles;
  else if (code === (0x0040 | sm.pc)) sm.x = (sm.x - cycles) >>> 0;
  else if (code !== sm.pc) skipSampling(sm, cycles);
}

/** Keeps the divider, and gives a machine that joins its FIFOs the longer one, empty. */
function writeMachine(offset, value) {
  const before = this.shiftCtrl;
  stockWrite.call(this, offset, value);
  if (offset === CLKDIV) this.divider = ((value >>> 16) || 65536) * 256 + ((value >>> 8) & 0xff);
  if (offset === SHIFTCTRL && (before ^ value) >>> 30) {
    const joinTx = (value >>> 30) & 1;
    const joinRx = (value >>> 31) & 1;
    this.txFIFO = new FIFO(joinRx ? 0 : joinTx ? 8 : 4);
    this.rxFIFO = new FIFO(joinTx ? 0 : joinRx ? 8 : 4);
    this.updateDMARx();
    this.updateDMATx();
  }
}

/** Gives a stock machine what it lacks. */
function mendMachine(sm) {
  sm.delayLeft = 0;
  sm.divider = 256;
  sm.dividerSum = 0;
  sm.outputShiftCount = 32;
  sm.checkWait = () => {};
  sm.writeUint32 = writeMachine;
}

/** Puts a stock PIO block on the clock of the chip: `now()` gives its cycle, `pinsMoved(cycle)` is told of changes. */
export function mendPio(pio, { now, pinsMoved, skip }) {
  pio.run = () => {};
  pio.cycle = 0;
  pio.next = NEVER;
  pio.busy = false;
  pio.machines.forEach(mendMachine);
  const machines = pio.machines;

  const quietAll = () => {
    let least = NEVER;
    for (let i = 0; i < 4 && least > 0; i++) least = Math.min(least, quietCycles(machines[i]));
    return least;
  };

  pio.plan = () => {
    const quiet = quietAll();
    pio.next = quiet >= NEVER ? NEVER : pio.cycle + quiet + 1;
  };

  pio.catchUp = (target) => {
    if (pio.busy) return;
    pio.busy = true;
    while (pio.cycle < target) {
      const quiet = skip ? Math.min(quietAll(), target - pio.cycle) : 0;
      if (quiet > 0) {
        for (let i = 0; i < 4; i++) skipMachine(machines[i], quiet);
        pio.cycle += quiet;
        continue;
      }
      for (let i = 0; i < 4; i++) if (machines[i].enabled) stepMachine(machines[i]);
      pio.cycle++;
      if (pio.oldPinValues ^ pio.pinValues || pio.oldPinDirections ^ pio.pinDirections) {
        pio.checkChangedPins();
        pinsMoved(pio.cycle);
      }
    }
    pio.busy = false;
    pio.plan();
  };

  pio.readUint32 = function (offset) {
    pio.catchUp(now());
    const value = RPPIO.prototype.readUint32.call(this, offset);
    if (!pio.busy) pio.plan();
    return value;
  };
  pio.writeUint32 = function (offset, value) {
    pio.catchUp(now());
    RPPIO.prototype.writeUint32.call(this, offset, value);
    pio.checkChangedPins();
    if (!pio.busy) pio.plan();
  };
}
