// The program that serves the page, and a way to ask it what the page asks.

import { spawn } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';

export const root = resolve(dirname(fileURLToPath(import.meta.url)), '../..');
export const program = process.env.HOWFLAT ?? join(root, 'target/release/howflat');
export const file = (name) => readFileSync(join(root, name), 'utf8');

/** Serves the page: its address, a way to ask, and a way to stop it. */
export async function serve(given = [], environment = {}) {
  const child = spawn(program, ['page', ...given], {
    stdio: ['ignore', 'pipe', 'ignore'],
    env: { ...process.env, ...environment },
  });
  const address = await new Promise((found, failed) => {
    child.stdout.once('data', (data) => found(String(data).trim()));
    child.once('error', failed);
    child.once('exit', (code) => failed(new Error(`${program} ended with ${code}`)));
  });
  const origin = new URL(address).origin;
  return {
    address,
    pid: child.pid,
    stop: () => child.kill(),
    async ask(question) {
      const response = await fetch(`${address}ask`, {
        method: 'POST',
        headers: { 'Content-Type': 'application/json', Origin: origin },
        body: JSON.stringify(question),
      });
      if (!response.ok) throw new Error(`${response.status}: ${await response.text()}`);
      return response.text();
    },
  };
}

/** The engine for the browser, in this process. */
export async function inside() {
  const bytes = readFileSync(join(root, 'target/wasm32-unknown-unknown/browser/howflat.wasm'));
  const module = await WebAssembly.compile(bytes);
  const { exports } = await WebAssembly.instantiate(module, {});
  return {
    size: bytes.length,
    memory: () => exports.memory.buffer.byteLength,
    ask(question) {
      const text = new TextEncoder().encode(JSON.stringify(question));
      // Making room may grow the memory, and its buffer is another one then.
      const room = exports.question_room(text.length);
      new Uint8Array(exports.memory.buffer, room, text.length).set(text);
      const length = exports.answer_question();
      const place = exports.answer_place();
      return new TextDecoder().decode(new Uint8Array(exports.memory.buffer, place, length));
    },
  };
}
