// The page at the plate in a browser: a new user from an empty page to a signed report, by mouse, by keyboard alone and on a
// telephone; served by the program and as one file from a disk.
//
//     npm ci && node walk.mjs                  with target/release/howflat and target/howflat.html
//     node walk.mjs --screens DIR              keeps pictures of the rooms, to be looked at
//     node walk.mjs --served                   without the file
//     node walk.mjs --figures                  says how long things take

import { execFileSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import puppeteer from 'puppeteer-core';
import { file, program, root, serve } from './program.mjs';

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const option = (name) => process.argv.indexOf(name);
const screens = option('--screens') >= 0 ? process.argv[option('--screens') + 1] : null;
if (screens) mkdirSync(screens, { recursive: true });
const figures = option('--figures') >= 0;
const saved = join(root, 'target/howflat.html');

const ROOMS = ['plate', 'check', 'readings', 'report', 'lesson'];
/** A beginner's plate, by the page's own fields, and what was read on the shipped one. */
const ANSWERS = [
  ['plate.length', '36 in'],
  ['plate.width', '24 in'],
  ['plate.grade', 'US A'],
  ['stand.feet.front_apart', '5 in'],
  ['stand.feet.front_to_rear', '6 in'],
  ['indicator.graduation', '0.0001 in'],
];
const SETUP = {
  plate: { length: '36 in', width: '24 in', grade: 'US A' },
  stand: { feet: { front_apart: '5 in', front_to_rear: '6 in' } },
  indicator: { graduation: '0.0001 in' },
};
const READ = ['0', '-4', '1.6', '2.6', '-2.2', '-1', '3.8', '1.8', '0.6'];

let good = 0;
let bad = 0;
function say(name, is, why = '') {
  if (is) good += 1;
  else bad += 1;
  console.log(`${is ? 'ok' : 'not ok'}  ${name}${is ? '' : `: ${why}`}`);
}

/** What the commands give for the same. */
function expected() {
  const desk = mkdtempSync(join(tmpdir(), 'howflat-walk-'));
  try {
    writeFileSync(join(desk, 'mine.json'), JSON.stringify(SETUP));
    const sheet = execFileSync(program, ['sheet', join(desk, 'mine.json')], { encoding: 'utf8' });
    let i = -2;
    const lines = sheet.split('\n').filter((line) => line !== '' && !line.startsWith('#'));
    const filled = lines.map((line) => {
      i += 1;
      if (i < 0) return line;
      const cells = line.split(',');
      cells[3] = READ[i];
      return cells.join(',');
    });
    writeFileSync(join(desk, 'mine.csv'), filled.join('\n'));
    const run = (words) => {
      try {
        return JSON.parse(execFileSync(program, words, { encoding: 'utf8', maxBuffer: 1 << 28 }));
      } catch (error) {
        // A verdict of undecided ends with 1.
        return JSON.parse(error.stdout);
      }
    };
    return {
      judge: run(['judge', join(desk, 'mine.json'), join(desk, 'mine.csv'), '--json']),
      simulate: run(['simulate', join(desk, 'mine.json'), '--trials', '2000', '--judged', '0', '--json']),
    };
  } finally {
    rmSync(desk, { recursive: true });
  }
}

/** A page of its own, whose messages and requests are kept. */
async function open(browser, address, viewport) {
  const context = await browser.createBrowserContext();
  const page = await context.newPage();
  await page.setViewport(viewport);
  page.heard = [];
  page.asked = [];
  page.on('console', (message) => page.heard.push(message.text()));
  page.on('pageerror', (error) => page.heard.push(error.message));
  page.on('dialog', (dialog) => dialog.accept());
  page.on('request', (request) => page.asked.push(request.url()));
  await page.goto(address);
  await page.waitForSelector('#questions .field');
  return page;
}

const HAND = {
  /** Everything with the mouse, but for letters. */
  mouse: {
    viewport: { width: 1280, height: 900 },
    async go(page, room) {
      await page.click(`nav [data-to="${room}"]`);
    },
    async into(page, selector) {
      await page.click(selector);
    },
    async press(page, selector) {
      await page.click(selector);
    },
  },
  /** Nothing but the keyboard. */
  keyboard: {
    viewport: { width: 1280, height: 900 },
    async go(page, room) {
      await tabTo(page, `nav [data-to="${room}"]`);
      await page.keyboard.press('Enter');
    },
    async into(page, selector) {
      await tabTo(page, selector);
    },
    async press(page, selector) {
      await tabTo(page, selector);
      await page.keyboard.press('Enter');
    },
  },
  /** A telephone, by touch. */
  telephone: {
    viewport: { width: 390, height: 844, isMobile: true, hasTouch: true, deviceScaleFactor: 2 },
    async go(page, room) {
      await page.tap(`nav [data-to="${room}"]`);
    },
    async into(page, selector) {
      await page.tap(selector);
    },
    async press(page, selector) {
      await page.tap(selector);
    },
  },
};

/** Goes on with the tab key until the element has the focus. */
async function tabTo(page, selector) {
  for (let i = 0; i < 400; i += 1) {
    if (await page.evaluate((wanted) => document.activeElement.matches(wanted), selector)) return;
    await page.keyboard.press('Tab');
  }
  throw new Error(`the tab key never comes to ${selector}`);
}

const text = (page, selector) => page.$eval(selector, (element) => element.textContent);
const inRoom = (page, room) => page.waitForSelector(`[data-room="${room}"]:not([hidden])`, { timeout: 5000 });

async function fillIn(page, hand) {
  for (const [path, answer] of ANSWERS) {
    await hand.into(page, `#questions [data-path="${path}"] input`);
    await page.keyboard.type(answer);
  }
  await page.waitForSelector('#setup-plate svg');
}

async function readAll(page, hand) {
  await hand.into(page, '#walk-plate input[data-row="0"]');
  for (const value of READ) {
    await page.keyboard.down('Control');
    await page.keyboard.press('a');
    await page.keyboard.up('Control');
    await page.keyboard.type(value);
    if (hand === HAND.telephone) await page.tap('#key-next');
    else await page.keyboard.press('Enter');
  }
}

async function accessible(page, name) {
  for (const scheme of ['light', 'dark']) {
    await page.emulateMediaFeatures([{ name: 'prefers-color-scheme', value: scheme }]);
    await page.evaluate(axe);
    const { violations, passes } = await page.evaluate(() => globalThis.axe.run(document, { iframes: false }));
    const said = violations.flatMap((v) => v.nodes.map((n) => `${v.id}: ${n.html.slice(0, 140)}`));
    say(`${name}: no fault by axe, ${scheme}`, said.length === 0 && passes.length >= 15, said.slice(0, 6).join('\n        ') || 'hardly looked at');
    if (screens) await page.screenshot({ path: join(screens, `${name.replaceAll(/\W+/g, '-')}-${scheme}.png`), fullPage: true });
  }
  await page.emulateMediaFeatures([]);
}

async function walk(browser, address, how, results, where) {
  const hand = HAND[how];
  const name = `${where}, ${how}`;
  const page = await open(browser, address, hand.viewport);
  await page.waitForFunction(() => document.querySelector('#setup-said').textContent !== '');
  say(`${name}: an empty page asks for what is needed`, (await text(page, '#setup-said')).startsWith('Still needed'), await text(page, '#setup-said'));
  await fillIn(page, hand);
  say(`${name}: the setup is sound`, (await text(page, '#setup-said')).startsWith('Sound:'), await text(page, '#setup-said'));

  await hand.go(page, 'check');
  await inRoom(page, 'check');
  await page.waitForSelector('#check-shown[data-trials]', { timeout: 60_000 });
  const answer = await text(page, '#check-shown .answer p');
  if ((await page.$eval('#check-shown', (e) => e.dataset.trials)) === '2000') {
    say(`${name}: the check's answer is the command's`, answer === results.simulate.answer, `${answer} / ${results.simulate.answer}`);
  }
  if (how !== 'keyboard') await accessible(page, `${name}, check`);

  await hand.go(page, 'readings');
  await inRoom(page, 'readings');
  await readAll(page, hand);
  const last = Date.now();
  await page.waitForSelector('#verdict[data-draws="few"], #verdict[data-draws="full"]', { timeout: 60_000 });
  const first = Date.now() - last;
  await page.waitForFunction(() => document.querySelector('#verdict').dataset.draws === 'full' && /All of the walk/.test(document.querySelector('#verdict').textContent), { timeout: 60_000 });
  if (figures) console.log(`        first look ${first} ms after the last key, full verdict ${Date.now() - last} ms`);
  const flatness = JSON.parse(await page.$eval('#verdict', (e) => e.dataset.flatness));
  say(`${name}: flatness is that of judge --json`, JSON.stringify(flatness) === JSON.stringify(results.judge.flatness), JSON.stringify(flatness));
  say(`${name}: the verdict is that of judge --json`, (await text(page, '#verdict .answer p')) === results.judge.answer, await text(page, '#verdict .answer p'));
  if (how !== 'keyboard') await accessible(page, `${name}, readings`);

  await page.goBack();
  await inRoom(page, 'check');
  await page.goForward();
  await inRoom(page, 'readings');
  say(`${name}: back and forward go from room to room`, true);

  await page.reload();
  await page.waitForSelector('#walk-plate input[data-row="8"]');
  const kept = await page.$$eval('#walk-plate input', (inputs) => inputs.toSorted((a, b) => a.dataset.row - b.dataset.row).map((input) => input.value));
  say(`${name}: what was typed survives`, JSON.stringify(kept) === JSON.stringify(READ), JSON.stringify(kept));

  await hand.go(page, 'report');
  await inRoom(page, 'report');
  await hand.into(page, '#checked-by');
  await page.keyboard.type('A. Keeper <b>');
  await hand.press(page, '#make-report');
  const frame = await (await page.waitForSelector('#report-frame iframe', { timeout: 60_000 })).contentFrame();
  await frame.waitForSelector('.facts');
  const report = await frame.$eval('body', (body) => body.innerText);
  say(`${name}: the report is signed, with the command's answer`, report.includes('A. Keeper <b>') && report.includes(results.judge.answer.slice(0, 60)), report.slice(0, 300));
  const painted = await frame.$eval('.answer', (box) => getComputedStyle(box).borderLeftWidth);
  say(`${name}: the report has its looks`, painted === '5px', painted);
  if (how !== 'keyboard') await accessible(page, `${name}, report`);

  await hand.go(page, 'lesson');
  await inRoom(page, 'lesson');
  await page.waitForSelector('#lesson-words[data-reading]');
  await hand.press(page, '#lesson-keys button:nth-child(2)');
  await page.waitForFunction(() => Number(document.querySelector('#lesson-words').dataset.reading) > 1.9);
  say(`${name}: the lesson follows its handles`, true);
  if (how !== 'keyboard') await accessible(page, `${name}, lesson`);

  await hand.go(page, 'plate');
  await inRoom(page, 'plate');
  if (how !== 'keyboard') await accessible(page, `${name}, plate`);
  for (const room of ROOMS) {
    await page.evaluate((to) => (location.hash = to), room);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth);
    say(`${name}: ${room} is no wider than the screen`, wide <= hand.viewport.width, `${wide} px`);
  }
  say(`${name}: no message`, page.heard.length === 0, page.heard.join('; '));
  const origin = new URL(address).origin;
  const elsewhere = page.asked.filter((url) => !(url.startsWith('blob:') || url === address.split('#')[0] || (origin !== 'null' && url.startsWith(`${origin}/`)) || url.startsWith(`${address.split('#')[0]}#`)));
  say(`${name}: nothing else was asked for`, elsewhere.length === 0, elsewhere.join(' '));
  await page.browserContext().close();
}

/** Broken files, questions about odd values, and what is cleared. */
async function trouble(browser, address, where) {
  const page = await open(browser, address, HAND.mouse.viewport);
  const desk = mkdtempSync(join(tmpdir(), 'howflat-walk-'));
  const put = (name, content) => {
    const path = join(desk, name);
    writeFileSync(path, content);
    return path;
  };
  try {
    const upload = async (selector, ...paths) => (await page.$(selector)).uploadFile(...paths);
    await upload('#open-setup', put('broken.json', '{\n  "plate": { "length": "36" }\n}\n'));
    await page.waitForFunction(() => /was not taken/.test(document.querySelector('#setup-said').textContent));
    say(`${where}: a broken setup is refused with its line`, /line 2/.test(await text(page, '#setup-said')), await text(page, '#setup-said'));
    const evil = SETUP.plate.grade;
    await upload('#open-setup', put('mine.json', JSON.stringify({ ...SETUP, title: '<img src=x onerror=alert(1)><script>alert(2)</script>', plate: { ...SETUP.plate, grade: evil } })));
    await page.waitForSelector('#setup-plate svg');
    await page.evaluate(() => (location.hash = 'readings'));
    await page.waitForSelector('#walk-plate input');
    say(`${where}: what is typed is text`, (await page.$$('img, main script')).length === 0 && (await text(page, '#readings-said')).includes('<img'));
    await upload('#open-readings', put('broken.csv', 'placement,target,pass,reading\nfront left,back right,1,high\n'));
    await page.waitForFunction(() => /was not taken/.test(document.querySelector('#readings-said').textContent));
    say(`${where}: a broken readings file is refused with its line`, /line 2/.test(await text(page, '#readings-said')), await text(page, '#readings-said'));
    await upload('#open-readings', put('fine.csv', file('budgets/granite-parked.readings.csv')));
    await page.waitForFunction(() => /9 readings from/.test(document.querySelector('#readings-said').textContent));
    const shown = await page.$eval('#walk-plate input[data-row="1"]', (input) => input.value);
    say(`${where}: the command's readings file is opened`, shown === '-4', shown);
    await page.click('#walk-plate input[data-row="1"]', { count: 3 });
    await page.keyboard.type('140');
    await page.waitForFunction(() => /140 graduations/.test(document.querySelector('#doubts').textContent), { timeout: 10_000 });
    say(`${where}: a value that cannot be meant is asked about`, true);
    await page.click('#key-sign');
    await page.click('#key-plus');
    const stepped = await page.$eval('#walk-plate input[data-row="1"]', (input) => input.value);
    say(`${where}: the keys for the thumb`, stepped === '-139.8', stepped);
    await page.evaluate(() => {
      const input = document.querySelector('#walk-plate input[data-row="1"]');
      const data = new DataTransfer();
      data.setData('text', '-4\n1.6\n2.6\n');
      input.dispatchEvent(new ClipboardEvent('paste', { clipboardData: data, bubbles: true, cancelable: true }));
    });
    const pasted = await page.$$eval('#walk-plate input', (inputs) => inputs.toSorted((a, b) => a.dataset.row - b.dataset.row).slice(1, 4).map((input) => input.value));
    say(`${where}: a column from a spreadsheet is pasted`, pasted.join() === '-4,1.6,2.6', pasted.join());
    await page.waitForFunction(() => document.querySelector('#verdict').dataset.draws === 'full' && document.querySelector('#verdict-parts button'), { timeout: 60_000 });
    const before = await page.$$eval('#groups button', (buttons) => buttons.length);
    await page.click('#verdict-parts button');
    await page.waitForFunction((n) => document.querySelectorAll('#groups button').length > n, {}, before);
    say(`${where}: what to read next is added to the walk`, true);
    await page.evaluate(() => (location.hash = 'plate'));
    await page.click('#clear');
    await page.waitForFunction(() => /Still needed/.test(document.querySelector('#setup-said').textContent));
    const left = await page.evaluate(() => localStorage.length);
    say(`${where}: all is cleared`, left === 0, `${left} left`);
    say(`${where}: no message in trouble`, page.heard.length === 0, page.heard.join('; '));
  } finally {
    rmSync(desk, { recursive: true });
    await page.browserContext().close();
  }
}

function chromium() {
  for (const name of [process.env.CHROMIUM, 'chromium', 'chromium-browser'].filter(Boolean)) {
    try {
      return execFileSync('sh', ['-c', 'command -v -- "$1"', 'sh', name], { encoding: 'utf8' }).trim();
    } catch {
      // Try the next name.
    }
  }
  throw new Error('no Chromium here: install the package chromium, or name the program in CHROMIUM');
}

const results = expected();
const served = await serve();
const browser = await puppeteer.launch({ executablePath: chromium(), args: ['--no-sandbox', '--disable-gpu', '--force-color-profile=srgb'] });
try {
  const places = [[served.address, 'served']];
  if (option('--served') < 0) {
    if (!existsSync(saved)) throw new Error(`there is no ${saved}: howflat page --save writes it`);
    places.push([pathToFileURL(saved).href, 'file']);
  }
  for (const [address, where] of places) {
    for (const how of Object.keys(HAND)) {
      await walk(browser, address, how, results, where).catch((error) => say(`${where}, ${how}`, false, error.stack));
    }
    await trouble(browser, address, where).catch((error) => say(`${where}: trouble`, false, error.stack));
  }
} finally {
  await browser.close();
  served.stop();
}
console.log(`${good} passed, ${bad} failed`);
process.exitCode = bad ? 1 : 0;
