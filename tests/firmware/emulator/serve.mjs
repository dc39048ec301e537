/**
 * The emulator running by itself, for programs that open a serial port: its port is a TCP socket, which pyserial opens as
 * socket://127.0.0.1:PORT. Prints one line of JSON with the ports, then runs.
 *
 *     node serve.mjs IMAGE.bin [--free] [--pins] [--quantum-us N]
 *
 * Runs at most as fast as the clock on the wall; --free lets it run as fast as it can. Opening the socket raises DTR and
 * closing it drops DTR, as opening and closing a port does.
 *
 * --pins opens a second socket for whatever hangs on the pins. In every quantum of time (default 100 us) the emulator
 * sends a line   {"tick": T, "transitions": [[tick, mask], ...]}   with what the outputs did up to T, and waits for
 * the answer     {"pulses": [[tick, input, level], ...]}           with what the inputs are to do, not before T.
 * With "halt": true in an answer the firmware stops as if it had crashed, until its watchdog resets the chip; the port
 * then goes away, as it does when a board leaves the bus, and can be opened again.
 * Ticks are cycles of the chip since power-up. Until somebody has connected, time passes without it.
 */
import fs from 'node:fs';
import net from 'node:net';
import { Chip, HZ, OUTPUTS } from './chip.mjs';
import { UsbHost } from './usb_host.mjs';

const SLICE_MS = 4;
const MOST_QUEUED = 1 << 16;
const options = process.argv.slice(3);
const free = options.includes('--free');
const withPins = options.includes('--pins');
const quantumUs = options.includes('--quantum-us') ? Number(options[options.indexOf('--quantum-us') + 1]) : 100;
const quantum = Math.round((quantumUs * HZ) / 1e6);

const chip = new Chip(fs.readFileSync(process.argv[2]));
const host = new UsbHost(chip);
let port = null;
let pins = null;
let lineWork = Promise.resolve();

/** Opens or closes the board's port, after whatever change of it is under way. */
function setLine(dtr) {
  lineWork = lineWork.then(async () => {
    while (!host.connected) await new Promise(setImmediate);
    await host.setLine({ dtr });
  });
}

const serial = net.createServer((socket) => {
  port?.destroy();
  port = socket;
  socket.setNoDelay(true);
  setLine(true);
  socket.on('data', (bytes) => {
    host.write(bytes);
    if (host.queued > MOST_QUEUED) socket.pause();
  });
  socket.on('error', () => {});
  socket.on('close', () => {
    if (port !== socket) return;
    port = null;
    setLine(false);
  });
});

const attach = chip.onWake;
chip.onWake = (rp) => {
  attach(rp);
  port?.destroy();
  port = null;
};

/** Whatever hangs on the pins: a line out, a line in. */
class PinPeer {
  constructor(socket) {
    this.socket = socket;
    this.text = '';
    socket.setNoDelay(true);
    socket.setEncoding('utf8');
    socket.on('data', (text) => this.hear(text));
    socket.on('error', () => {});
    socket.on('close', () => {
      if (pins === this) pins = null;
      this.answered?.({ pulses: [] });
    });
  }

  hear(text) {
    this.text += text;
    const end = this.text.indexOf('\n');
    if (end < 0) return;
    const line = this.text.slice(0, end);
    this.text = this.text.slice(end + 1);
    this.answered?.(JSON.parse(line));
  }

  exchange(message) {
    return new Promise((resolve) => {
      this.answered = resolve;
      this.socket.write(`${JSON.stringify(message)}\n`);
    });
  }
}

const pinServer = net.createServer((socket) => {
  pins = new PinPeer(socket);
});

/** Lets one quantum pass and tells the pins' peer. */
async function step() {
  chip.run(quantum);
  chip.led.length = 0;
  const { cycles, masks } = chip.takeEdges();
  if (!pins) return;
  const transitions = cycles.map((cycle, i) => [cycle, masks[i] & OUTPUTS]);
  const { pulses, halt } = await pins.exchange({ tick: chip.cycle, transitions });
  if (halt) chip.halted = true;
  if (pulses.length) chip.schedule(pulses);
}

function deliver() {
  const bytes = host.take();
  if (port && bytes.length) port.write(bytes);
  if (port?.isPaused() && host.queued < MOST_QUEUED / 4) port.resume();
}

async function run() {
  const begin = performance.now() - (chip.cycle / HZ) * 1000;
  for (;;) {
    const sliceEnd = performance.now() + SLICE_MS;
    let ahead = false;
    while (performance.now() < sliceEnd && !ahead) {
      await step();
      ahead = !free && (chip.cycle / HZ) * 1000 > performance.now() - begin;
    }
    deliver();
    await new Promise((resolve) => (ahead ? setTimeout(resolve, 1) : setImmediate(resolve)));
  }
}

const listen = (server) => new Promise((resolve) => server.listen(0, '127.0.0.1', () => resolve(server.address().port)));

while (!host.connected) {
  chip.run(2_500);
  await new Promise(setImmediate);
}
const ports = { serial: await listen(serial) };
if (withPins) ports.pins = await listen(pinServer);
console.log(JSON.stringify(ports));
process.stdin.on('end', () => process.exit(0)).resume();
await run();
