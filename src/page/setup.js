// The room of the plate and the check: questions with pictures, every further field, and the setup file.

const setupRoom = (() => {
  const EXAMPLE = {
    title: 'An example: granite 36 x 24 in, stand parked in a corner',
    plate: { length: '36 in', width: '24 in', grade: 'US A' },
    stand: { feet: { front_apart: '5 in', front_to_rear: '6 in' } },
    indicator: { graduation: '0.0001 in' },
  };
  let fields = [];
  let touched = new Set();
  let faults = [];

  // A record that a word may stand for: wear and cleanliness by their state.
  const STANDS_FOR = ['wear', 'cleanliness'];

  function get(path) {
    let value = typed.setup;
    for (const name of path.split('.')) value = value?.[name];
    if (STANDS_FOR.includes(path) && typeof value === 'object' && value) value = value.state;
    if (path.endsWith('.state')) {
      const record = path.slice(0, -6);
      if (typeof typed.setup[record] === 'string') value = typed.setup[record];
    }
    return value;
  }

  function put(path, value) {
    const names = path.split('.');
    const last = names.pop();
    const trail = [];
    let record = typed.setup;
    for (const name of names) {
      // What a word stood for becomes a record with that word in it.
      if (typeof record[name] === 'string' && STANDS_FOR.includes(name)) record[name] = { state: record[name] };
      if (typeof record[name] !== 'object' || record[name] === null || Array.isArray(record[name])) {
        if (value === undefined) return;
        record[name] = {};
      }
      trail.push([record, name]);
      record = record[name];
    }
    if (STANDS_FOR.includes(path) && typeof record[last] === 'object' && record[last]) {
      put(`${path}.state`, value);
      return;
    }
    if (value === undefined) delete record[last];
    else record[last] = value;
    for (const [holder, name] of trail.reverse()) if (Object.keys(holder[name]).length === 0) delete holder[name];
  }

  /** What is typed, as it stands in a file. */
  function value(text, field) {
    const plain = text.trim();
    if (plain === '') return undefined;
    if (/^[[{]/.test(plain)) {
      try {
        return JSON.parse(plain);
      } catch {
        return plain;
      }
    }
    if (field.path !== 'title' && /^(true|false)$/.test(plain)) return plain === 'true';
    if (field.path !== 'title' && !field.unit && field.choices.length === 0 && /^-?\d+(\.\d+)?$/.test(plain)) return Number(plain);
    return plain;
  }
  const written = (stands) => (stands === undefined ? '' : typeof stands === 'string' ? stands : JSON.stringify(stands));

  const PICTURES = {
    parked: ['the feet stay put, the arm swings', [[0, 0, 62, -34], [0, 0, 74, -4], [0, 0, 30, -46]], [[0, 0]]],
    turned: ['the stand is turned on its spot, so its feet land elsewhere', [[0, 0, 62, -34], [0, 0, 74, -4]], [[0, 0, -29], [0, 0, -3]]],
    carried: ['stand and block travel together', [[0, 0, 34, 0], [34, -22, 68, -22]], [[0, 0, 0], [34, -22, 0]]],
  };
  function picture(use) {
    const [, arms, places] = PICTURES[use];
    const feet = [[8, -7], [8, 7], [-9, 0]];
    const svg = draw('svg', { viewBox: '-18 -58 106 76', class: 'use', 'aria-hidden': 'true' });
    svg.append(draw('rect', { class: 'stone', x: -16, y: -56, width: 102, height: 72 }));
    places.forEach(([x, y, turn = -20], i) => {
      const angle = (turn * Math.PI) / 180;
      const points = feet.map(([fx, fy]) => [x + fx * Math.cos(angle) - fy * Math.sin(angle), y + fx * Math.sin(angle) + fy * Math.cos(angle)]);
      svg.append(draw('polygon', { class: `base pale${i}`, points: points.map((p) => p.join()).join(' ') }));
      svg.append(...points.map(([cx, cy]) => draw('circle', { class: 'foot', cx, cy, r: 2.4 })));
    });
    for (const [x1, y1, x2, y2] of arms) {
      svg.append(draw('line', { class: 'arm', x1, y1, x2, y2 }), draw('circle', { class: 'tip', cx: x2, cy: y2, r: 3.4 }));
    }
    return svg;
  }

  const idOf = (path, where) => `${where}-${path.replaceAll('.', '-')}`;
  const fieldOf = (path) => fields.find((field) => field.path === path) ?? { path, choices: [], range: [] };

  function changed(path, text) {
    put(path, value(text, fieldOf(path)));
    touched.add(path);
    keep();
    show(document.activeElement);
    look();
  }

  function question(asked) {
    const field = fieldOf(asked.path);
    const [title, ...rest] = asked.asks.split('\n');
    const id = idOf(asked.path, 'ask');
    const fault = el('p', { class: 'fault', id: `${id}-fault` });
    if (asked.path === 'survey.stand') {
      const uses = Object.keys(PICTURES).map((use) =>
        el(
          'label',
          { class: 'use' },
          el('input', { type: 'radio', name: 'stand-use', value: use, onchange: () => changed(asked.path, use), 'aria-describedby': `${id}-fault` }),
          picture(use),
          el('span', {}, el('b', {}, use), `: ${PICTURES[use][0]}`),
        ),
      );
      return el(
        'fieldset',
        { 'data-path': asked.path },
        el('legend', {}, 'how the stand is used'),
        el('div', { class: 'uses' }, uses),
        el('p', { class: 'hint' }, 'A carried stand reads zero on a bow or a twist of any size.'),
        fault,
      );
    }
    const choices = STANDS_FOR.includes(asked.path) ? fieldOf(`${asked.path}.state`).choices : field.choices;
    const input = el('input', {
      id,
      value: '',
      oninput: (event) => changed(asked.path, event.target.value),
      'aria-describedby': `${id}-hint ${id}-fault`,
      list: choices.length > 0 ? `${id}-list` : null,
    });
    return el(
      'div',
      { class: 'field', 'data-path': asked.path },
      el('label', { for: id }, [title, ...rest].join(' '), asked.usual === null ? el('b', { class: 'needed' }, ' needed') : null),
      input,
      choices.length > 0 ? el('datalist', { id: `${id}-list` }, choices.map((choice) => el('option', { value: choice }))) : null,
      el('p', { class: 'hint', id: `${id}-hint` }, asked.usual === null ? '' : `Left blank: ${asked.usual}.`),
      fault,
    );
  }

  function oneField(field) {
    const id = idOf(field.path, 'field');
    const [least, most] = field.range;
    const facts = [
      field.default === null ? 'Left out: see above.' : `Left out: ${field.default}.`,
      least !== null && most !== null ? `From ${least} to ${most}.` : null,
      field.unit ? `A unit such as ${field.unit}.` : null,
      field.uncertain ? 'Takes a distribution too.' : null,
      field.is_list ? 'Typed as JSON.' : null,
      field.choices.length > 0 ? `One of: ${field.choices.join(', ')}.` : null,
      field.source ? `Source: ${field.source}.` : null,
    ];
    return el(
      'div',
      { class: 'field', 'data-path': field.path },
      el('label', { for: id }, el('code', {}, field.path), ` ${field.means}`),
      el('input', { id, oninput: (event) => changed(field.path, event.target.value), 'aria-describedby': `${id}-hint ${id}-fault` }),
      el('p', { class: 'hint', id: `${id}-hint` }, facts.filter(Boolean).join(' ')),
      el('p', { class: 'fault', id: `${id}-fault` }),
    );
  }

  async function build() {
    const answer = await engine.ask({ ask: 'fields' });
    if (answer?.answer !== 'fields') return;
    fields = answer.fields;
    const first = answer.questions.filter(({ path }) => !['plate.thickness', 'plate.material', 'title'].includes(path));
    const second = answer.questions.filter((asked) => !first.includes(asked));
    by('questions').replaceChildren(...first.map(question), ...second.map(question));
    const asked = answer.questions.map(({ path }) => path);
    const groups = new Map();
    for (const field of fields.filter(({ path }) => !asked.includes(path))) {
      const group = field.path.split('.')[0];
      groups.set(group, [...(groups.get(group) ?? []), field]);
    }
    by('all-fields').replaceChildren(
      ...[...groups].map(([name, all]) => el('fieldset', {}, el('legend', {}, name), all.map(oneField))),
    );
    show(null);
  }

  /** Puts what the setup says into the fields, but for the one that is being typed in. */
  function show(but) {
    for (const holder of document.querySelectorAll('[data-room="plate"] [data-path]')) {
      const { path } = holder.dataset;
      const stands = written(get(path));
      for (const input of holder.querySelectorAll('input')) {
        if (input.type === 'radio') input.checked = input.value === (stands || 'parked');
        else if (input !== but) input.value = stands;
      }
    }
  }

  const isAbout = (fault, path) =>
    fault.field === path || fault.field.startsWith(`${path}.`) || fault.field.startsWith(`${path}[`);

  function showFaults() {
    let beside = new Set();
    for (const holder of document.querySelectorAll('[data-room="plate"] [data-path]')) {
      const { path } = holder.dataset;
      const mine = get(path) === undefined ? [] : faults.filter((fault) => isAbout(fault, path));
      mine.forEach((fault) => beside.add(fault));
      holder.querySelector('.fault').textContent = mine.map((fault) => fault.said).join(' ');
      for (const input of holder.querySelectorAll('input')) {
        if (mine.length > 0) input.setAttribute('aria-invalid', 'true');
        else input.removeAttribute('aria-invalid');
      }
    }
    const missing = [...document.querySelectorAll('#questions .needed')]
      .map((mark) => mark.closest('[data-path]'))
      .filter((holder) => get(holder.dataset.path) === undefined);
    const others = faults.filter((fault) => !beside.has(fault));
    const said = by('setup-said');
    said.replaceChildren();
    if (bench) {
      said.textContent = `Sound: ${bench.title}.${bench.tolerance ? ` To keep ${bench.tolerance}.` : ' No grade or tolerance is given, so there will be no verdict.'}`;
    } else if (missing.length > 0) {
      const names = missing.map((holder) => holder.querySelector('label').firstChild.textContent.split(',')[0]);
      said.textContent = `Still needed: ${names.join('; ')}.`;
    } else {
      said.textContent = beside.size > 0 ? 'Something is wrong beside a field below.' : others.map((fault) => fault.said).join(' ');
    }
  }

  const look = later(120, async () => {
    const answer = await engine.ask({ ask: 'bench', about: about() });
    if (answer === null) return;
    const before = bench?.digest;
    bench = answer.answer === 'bench' ? answer : null;
    faults = answer.answer === 'bench' ? [] : answer.faults;
    if (answer.answer === 'refused' && answer.faults.length === 0) by('setup-said').textContent = answer.said;
    else showFaults();
    const plate = by('setup-plate');
    const next = by('setup-next');
    if (bench) {
      const first = bench.walk.find((step) => !step.zero) ?? bench.walk[0];
      plate.replaceChildren(plateDrawing(bench, bench.walk, first, { numbers: true }));
      next.replaceChildren(
        el('a', { class: 'button', href: '#check' }, 'Is this check good enough?'),
        el('a', { class: 'button', href: '#readings' }, 'To the readings'),
      );
    } else {
      plate.replaceChildren();
      next.replaceChildren();
    }
    if (before !== bench?.digest) for (const one of Object.values(rooms)) one.setupChanged?.();
  });

  async function opened(files) {
    const texts = await Promise.all(files.map(async (file) => [file.name, await file.text()]));
    const setup = texts.find(([name]) => name.toLowerCase().endsWith('.json')) ?? texts[0];
    if (!setup) return;
    const others = Object.fromEntries(texts.filter((one) => one !== setup));
    const answer = await engine.ask({ ask: 'bench', about: { setup: setup[1], files: others } });
    if (answer === null) return;
    if (answer.answer === 'refused') {
      by('setup-said').textContent = `${setup[0]} was not taken. ${answer.said}`;
      return;
    }
    // It was read as strict JSON.
    typed.setup = JSON.parse(setup[1].replace(/^\uFEFF/, ''));
    typed.files = others;
    keep();
    show(null);
    look();
  }

  by('open-setup').addEventListener('change', async (event) => {
    await opened([...event.target.files]);
    event.target.value = '';
  });
  by('save-setup').addEventListener('click', () => download('setup.json', about().setup, 'application/json'));
  by('example').addEventListener('click', () => {
    typed.setup = structuredClone(EXAMPLE);
    typed.files = {};
    keep();
    show(null);
    look();
  });
  by('clear').addEventListener('click', () => {
    if (!confirm('Clear the setup, the readings and the names that were typed here?')) return;
    Object.assign(typed, structuredClone(EMPTY));
    try {
      localStorage.removeItem(KEPT);
    } catch {
      // Nothing was kept.
    }
    touched = new Set();
    show(null);
    look();
  });
  for (const form of [by('questions'), by('all-fields')]) form.addEventListener('submit', (event) => event.preventDefault());

  return { build, look, EXAMPLE };
})();

rooms.plate = { enter() {} };
