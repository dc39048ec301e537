/**
 * The emulator under somebody's hand: one JSON request a line on standard input, one JSON answer a line on standard
 * output. Time passes only as requests say. See kit/emulator.py for the other end.
 *
 *     node lockstep.mjs IMAGE.bin [--rom FILE] [--no-skip]
 */
import fs from 'node:fs';
import readline from 'node:readline';
import { Chip, HZ } from './chip.mjs';
import { UsbHost } from './usb_host.mjs';

const STEP = 2_500;
const options = process.argv.slice(3);
const romFile = options.includes('--rom') ? options[options.indexOf('--rom') + 1] : null;
const rom = romFile ? new Uint32Array(new Uint8Array(fs.readFileSync(romFile)).buffer) : null;
const chip = new Chip(fs.readFileSync(process.argv[2]), { rom, skip: !options.includes('--no-skip') });
const host = new UsbHost(chip);
const breathe = () => new Promise(setImmediate);

/** Runs in small steps, giving the USB host's control transfers their turns, until something is so. */
async function runUntil(done, most) {
  const end = chip.cycle + most;
  while (!done() && chip.cycle < end) {
    chip.run(STEP);
    await breathe();
  }
}

async function setLine(line) {
  let over = false;
  host.setLine(line).then(() => (over = true));
  await runUntil(() => over, HZ / 10);
}

function bytesOf(array) {
  return Buffer.from(array.buffer, array.byteOffset, array.byteLength).toString('base64');
}

async function carryOut(request) {
  if (request.connect) await runUntil(() => host.connected, HZ);
  if (request.line) await setLine(request.line);
  if (request.loop) chip.loop = new Map(request.loop);
  if (request.inputs) chip.schedule(request.inputs);
  if (request.cut !== undefined) host.setCut(request.cut);
  if (request.spy) chip.spy();
  if (request.halt !== undefined) chip.halted = request.halt;
  if (request.write) host.write(Buffer.from(request.write, 'base64'));
  if (request.run) chip.run(request.run);
  const edges = chip.takeEdges();
  const led = chip.led.splice(0);
  return {
    cycle: chip.cycle,
    received: host.take().toString('base64'),
    cycles: bytesOf(Float64Array.from(edges.cycles)),
    masks: bytesOf(Uint16Array.from(edges.masks)),
    led,
    voltages: chip.voltages.splice(0),
    words: chip.words.splice(0),
    queued: host.queued,
    device: host.device,
    connected: host.connected,
    resets: chip.resets,
    asleep: chip.asleep,
    clock: chip.rp.clkSys,
    pc: chip.rp.core.PC,
  };
}

for await (const line of readline.createInterface({ input: process.stdin })) {
  try {
    process.stdout.write(`${JSON.stringify(await carryOut(JSON.parse(line)))}\n`);
  } catch (error) {
    process.stdout.write(`${JSON.stringify({ error: error.stack })}\n`);
  }
}
