// The engine for the browser and the program give the same answers, to the last digit.
//
//     node engine.mjs               asks both
//     node engine.mjs --figures     and says how long they take, on one thread each

import { file, inside, serve } from './program.mjs';

const figures = process.argv.includes('--figures');
const served = await serve([], { RAYON_NUM_THREADS: '1' });
const engine = await inside();
let bad = 0;
let good = 0;

async function both(name, question) {
  const began = performance.now();
  const theirs = await served.ask(question);
  const native = performance.now() - began;
  const again = performance.now();
  const ours = engine.ask(question);
  const browser = performance.now() - again;
  const same = ours === theirs;
  if (same) good += 1;
  else bad += 1;
  let at = 0;
  while (!same && ours[at] === theirs[at]) at += 1;
  console.log(`${same ? 'ok' : 'not ok'}  ${name}`);
  if (!same) console.log(`        program: ${theirs.slice(at - 80, at + 80)}\n        browser: ${ours.slice(at - 80, at + 80)}`);
  if (figures) console.log(`        program ${(native / 1000).toFixed(2)} s, browser ${(browser / 1000).toFixed(2)} s, ratio ${(native / browser).toFixed(2)}`);
  return JSON.parse(ours);
}

try {
  const fields = await both('fields', { ask: 'fields' });
  if (fields.fields.length < 60) throw new Error('an answer that says nothing proves nothing');
  for (const name of ['granite-parked', 'granite-turned', 'iron-metric', 'granite-carried', 'fresh-careful']) {
    const about = { setup: file(`budgets/${name}.json`) };
    const bench = await both(`${name}: bench`, { ask: 'bench', about });
    await both(`${name}: lesson`, { ask: 'lesson', about, at: 1.5, depth: 2 });
    if (name === 'fresh-careful') continue;
    await both(`${name}: check`, { ask: 'check', about, n_trials: 2000 });
    let readings = bench.walk.map(({ row }, i) => ({ ...row, reading: row.reading || String(((i * 7) % 5) - 2) }));
    if (name !== 'granite-carried') {
      const opened = await both(`${name}: open`, { ask: 'open', about, file: file(`budgets/${name}.readings.csv`) });
      readings = opened.readings;
    }
    await both(`${name}: look`, { ask: 'look', about, readings });
    await both(`${name}: first look`, { ask: 'judge', about, readings, draws: 'few' });
    const judged = await both(`${name}: verdict`, { ask: 'judge', about, readings });
    if (figures) console.log(`        ${Math.round(judged.effective_draws)} independent draws of ${judged.n_readings} readings`);
    if (!judged.result.flatness.mean) throw new Error('a verdict without an estimate proves nothing');
    await both(`${name}: report`, { ask: 'report', about, readings, date: '3 May', checked_by: 'A. Keeper' });
  }
  await both('a fault', { ask: 'bench', about: { setup: '{"plate": {"length": "36"}}' } });
  await both('no question', { ask: 'nothing' });
} finally {
  served.stop();
}
if (figures) console.log(`module ${engine.size} bytes, memory ${(engine.memory() / 2 ** 20).toFixed(0)} MiB`);
console.log(`${good} passed, ${bad} failed`);
process.exitCode = bad ? 1 : 0;
