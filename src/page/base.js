// What all rooms use: elements, what is kept, and which room is shown.

const SVG = 'http://www.w3.org/2000/svg';
const by = (id) => document.getElementById(id);

function fill(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    if (name.startsWith('on')) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? '' : value);
  }
  // What is no element is text, whatever it says.
  element.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined));
  return element;
}
const el = (name, attributes = {}, ...children) => fill(document.createElement(name), attributes, children);
const draw = (name, attributes = {}, ...children) => fill(document.createElementNS(SVG, name), attributes, children);

/** Markup of the engine's own: a table or a picture, in which what users typed is inert. */
function markup(text) {
  const parsed = new DOMParser().parseFromString(text, 'text/html');
  return [...parsed.body.childNodes];
}

/** After a pause, and only the last of several calls. */
function later(pause, act) {
  let timer;
  return (...given) => {
    clearTimeout(timer);
    timer = setTimeout(() => act(...given), pause);
  };
}

const number = (value, digits = 2) => {
  const text = Math.abs(value).toFixed(digits);
  return Number(text) === 0 ? text : `${value < 0 ? '\u2212' : ''}${text}`;
};
const signed = (value, digits = 2) => (value > 0 && Number(value.toFixed(digits)) !== 0 ? '+' : '') + number(value, digits);

function download(name, text, kind) {
  const address = URL.createObjectURL(new Blob([text], { type: kind }));
  const link = el('a', { href: address, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}

// What was typed, kept in this browser.

const KEPT = 'howflat at the plate';
const EMPTY = { setup: {}, files: {}, readings: [], checkedBy: '', date: '' };
const typed = structuredClone(EMPTY);

function recall() {
  try {
    const kept = JSON.parse(localStorage.getItem(KEPT) ?? '{}');
    for (const name of Object.keys(EMPTY)) {
      if (typeof kept[name] === typeof EMPTY[name] && kept[name] !== null) typed[name] = kept[name];
    }
    if (!Array.isArray(typed.readings)) typed.readings = [];
  } catch {
    // A browser that keeps nothing, or something that is not ours: begin anew.
  }
}
const keep = () => {
  try {
    localStorage.setItem(KEPT, JSON.stringify(typed));
  } catch {
    // Nothing is kept where the browser does not let us.
  }
};

const about = () => ({ setup: `${JSON.stringify(typed.setup, null, 2)}\n`, files: typed.files });

// Rooms. A room is told when it is entered, and when the setup has changed.

const rooms = {};
let bench = null;
const room = () => {
  const asked = location.hash.slice(1);
  return rooms[asked] ? asked : 'plate';
};

function enter(byHand) {
  const now = room();
  for (const section of document.querySelectorAll('[data-room]')) section.hidden = section.dataset.room !== now;
  for (const link of document.querySelectorAll('[data-to]')) {
    if (link.dataset.to === now) link.setAttribute('aria-current', 'page');
    else link.removeAttribute('aria-current');
  }
  const heading = document.querySelector(`[data-room="${now}"] h1`);
  document.title = `${heading.textContent} \u2013 howflat`;
  if (byHand) {
    scrollTo(0, 0);
    heading.focus({ preventScroll: true });
  }
  rooms[now].enter();
}

/** The engine's parts of a report, as elements. */
function shown(parts) {
  return parts.map((part) => {
    switch (part.part) {
      case 'heading':
        return el('h2', {}, part.text);
      case 'words':
        return el('p', {}, part.text);
      case 'caution':
        return el('p', { class: 'caution' }, part.text);
      case 'list':
        return el('ul', {}, part.items.map((item) => el('li', {}, item)));
      case 'table':
        return el(
          'div',
          { class: part.card ? 'table card' : 'table', role: 'region', tabindex: 0, 'aria-label': part.caption },
          markup(part.html),
        );
      default:
        return el('figure', { 'data-picture': part.name }, markup(part.svg), el('figcaption', {}, part.caption));
    }
  });
}

function answerBox(shownAnswer, called) {
  const tone = shownAnswer.verdict;
  return el(
    'section',
    { class: `answer ${tone ?? ''}`, 'aria-label': called },
    el('h2', {}, tone ? { within: '\u25CF within', undecided: '\u25D0 undecided', out: '\u25CB out' }[tone] : called),
    shownAnswer.answer.map((said) => el('p', {}, said)),
  );
}
