// Every shipped page of HTML: valid, accessible by day and by night, no wider than the screen, asking for nothing outside
// itself, and printed on A4 and Letter without anything cut.
//
//     npm ci && node check.mjs [FOLDER or FILE ...]
//
// With --pdf DIR the printed pages are kept there, and pictures of the screens, for a person to look at.

import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync, readdirSync, statSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join, relative, resolve } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { HtmlValidate } from 'html-validate';
import puppeteer from 'puppeteer-core';

const here = dirname(fileURLToPath(import.meta.url));
const root = resolve(here, '../..');
const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

/** Paper sizes and the margins of the pages' own style sheets, in px of 1/96 in. */
const MM = 96 / 25.4;
const PAPERS = { A4: [210 * MM, 297 * MM], Letter: [8.5 * 96, 11 * 96] };
/** No shipped report needs more sheets than this; a page that runs away does. */
const MOST_SHEETS = 16;
/** Dates for plates are read at the machine; what is behind them waits in the annex until it is asked for. */
const MOST_OF_DATES = 4;
/** A sheet to be filled in is one page, two at most. */
const MOST_TO_FILL_IN = 2;

const validator = new HtmlValidate({
  extends: ['html-validate:recommended'],
  rules: {
    // How a page is written, not whether it is right.
    'no-inline-style': 'off',
    'long-title': 'off',
    'void-style': 'off',
    'doctype-style': 'off',
    'attr-case': 'off',
    'no-trailing-whitespace': 'off',
    // A table that scrolls sideways is a region that a keyboard can reach.
    'prefer-native-element': ['error', { exclude: ['region'] }],
  },
});

function pages(path) {
  if (statSync(path).isFile()) return path.endsWith('.html') ? [path] : [];
  return readdirSync(path).sort().flatMap((name) => pages(join(path, name)));
}

function chromium() {
  const named = process.env.CHROMIUM ? [process.env.CHROMIUM] : [];
  for (const name of [...named, 'chromium', 'chromium-browser']) {
    try {
      return execFileSync('sh', ['-c', 'command -v -- "$1"', 'sh', name], { encoding: 'utf8' }).trim();
    } catch {
      // Try the next name.
    }
  }
  throw new Error('no Chromium here: install the package chromium, or name the program in CHROMIUM');
}

async function valid(file) {
  const report = await validator.validateFile(file);
  return report.results.flatMap((result) =>
    result.messages.map((m) => `line ${m.line}: ${m.message} (${m.ruleId})`),
  );
}

async function accessible(page, scheme) {
  await page.emulateMediaFeatures([{ name: 'prefers-color-scheme', value: scheme }]);
  await page.evaluate(axe);
  // Only colours differ by night.
  const rules = scheme === 'dark' ? { runOnly: { type: 'rule', values: ['color-contrast'] } } : {};
  const { violations, passes } = await page.evaluate((some) => globalThis.axe.run(document, some), rules);
  // A run that looked at nothing must not count as a good one.
  const least = scheme === 'dark' ? 1 : 15;
  const looked = passes.length < least ? [`only ${passes.length} rules of axe applied`] : [];
  return looked.concat(
    violations.flatMap((v) => v.nodes.map((n) => `${scheme}: ${v.id}: ${v.help}: ${n.html.slice(0, 120)}`)),
  );
}

/** What sticks out of the page at this width, in px. */
async function fits(page, width) {
  await page.setViewport({ width, height: 1000 });
  const wide = await page.evaluate(() => document.documentElement.scrollWidth);
  return wide > width ? [`${wide} px wide on a screen of ${width} px`] : [];
}

/** What is cut when the page is printed, and the sheets of paper it takes. */
async function printed(page, paper, most, keep) {
  const [width, height] = PAPERS[paper];
  await page.emulateMediaType('print');
  const faults = [];
  const margins = 28 * MM;
  await page.setViewport({ width: Math.floor(width - margins), height: 1000 });
  const sizes = await page.evaluate(() => ({
    room: document.documentElement.clientWidth,
    parts: [...document.querySelectorAll('table, figure, svg')].map((part) => {
      const box = part.getBoundingClientRect();
      const said = part.querySelector('caption, figcaption, title')?.textContent ?? part.textContent;
      return { name: `${part.tagName} ${said.slice(0, 60)}`, right: box.right, height: box.height, kept: part.tagName !== 'TABLE' };
    }),
  }));
  for (const part of sizes.parts) {
    if (part.right > sizes.room + 1) faults.push(`${paper}: cut at the right: ${part.name}`);
    if (part.kept && part.height > height - 34 * MM) faults.push(`${paper}: higher than a sheet: ${part.name}`);
  }
  await page.emulateMediaType(null);
  const pdf = Buffer.from(await page.pdf({ format: paper, printBackground: true, preferCSSPageSize: false }));
  if (keep) writeFileSync(`${keep}-${paper}.pdf`, pdf);
  const sheets = (pdf.toString('latin1').match(/\/Type\s*\/Page\b/g) ?? []).length;
  if (sheets < 1 || sheets > most) faults.push(`${paper}: ${sheets} sheets`);
  return { faults, sheets };
}

async function check(browser, file, keep) {
  const page = await browser.newPage();
  const asked = [];
  page.on('request', (request) => asked.push(request.url()));
  const own = pathToFileURL(file).href;
  await page.goto(own, { waitUntil: 'load' });
  const faults = await valid(file);
  for (const width of [390, 820]) faults.push(...(await fits(page, width)));
  for (const scheme of ['light', 'dark']) {
    faults.push(...(await accessible(page, scheme)));
    if (keep) {
      await page.setViewport({ width: 820, height: 1000 });
      writeFileSync(`${keep}-${scheme}.png`, await page.screenshot({ fullPage: true }));
    }
  }
  await page.emulateMediaFeatures([]);
  const sheets = [];
  for (const paper of Object.keys(PAPERS)) {
    const few = file.includes('/recall/') ? MOST_OF_DATES : MOST_SHEETS;
    const most = file.endsWith('sheet.html') ? MOST_TO_FILL_IN : few;
    const print = await printed(page, paper, most, keep);
    faults.push(...print.faults);
    sheets.push(`${print.sheets} ${paper}`);
  }
  faults.push(...asked.filter((url) => url !== own).map((url) => `asks for ${url.slice(0, 80)}`));
  if ((await page.$$('script')).length) faults.push('holds a script');
  await page.close();
  return { faults, sheets };
}

const args = process.argv.slice(2);
const pdf = args.indexOf('--pdf');
const keep = pdf >= 0 ? resolve(args.splice(pdf, 2)[1]) : undefined;
if (keep) mkdirSync(keep, { recursive: true });
const files = (args.length ? args.map((arg) => resolve(arg)) : [join(root, 'reports')]).flatMap(pages);
if (!files.length) throw new Error('no page to check');

const browser = await puppeteer.launch({
  executablePath: chromium(),
  args: ['--no-sandbox', '--disable-gpu', '--force-color-profile=srgb'],
});
let bad = 0;
try {
  for (const file of files) {
    const name = relative(root, file);
    const { faults, sheets } = await check(browser, file, keep && join(keep, name.replaceAll(/[/.]/g, '-')));
    console.log(`${faults.length ? 'not ok' : 'ok'}  ${name}: ${sheets.join(', ')} sheets`);
    for (const fault of new Set(faults)) console.log(`        ${fault}`);
    bad += faults.length ? 1 : 0;
  }
} finally {
  await browser.close();
}
console.log(`${files.length} pages, ${bad} with faults`);
process.exitCode = bad ? 1 : 0;
