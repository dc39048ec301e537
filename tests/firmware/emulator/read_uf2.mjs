/** What the npm package uf2 finds in a file: families, bytes and their hash, as JSON. */
import crypto from 'node:crypto';
import fs from 'node:fs';
import { decodeBlock } from 'uf2';

const file = fs.readFileSync(process.argv[2]);
const families = new Set();
const payloads = [];
for (let at = 0; at < file.length; at += 512) {
  const block = decodeBlock(file.subarray(at, at + 512));
  families.add((block.boardFamily >>> 0).toString(16));
  payloads.push(block.payload);
}
const all = Buffer.concat(payloads);
const sha256 = crypto.createHash('sha256').update(all).digest('hex');
console.log(JSON.stringify({ families: [...families], bytes: all.length, sha256 }));
