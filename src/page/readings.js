// The room of the readings: a field at each target, the walk through them, and the verdict that follows.

rooms.readings = (() => {
  const FIELD = { width: 74, height: 41, named: 56 };
  let steps = [];
  let group = '';
  let current = 0;
  let doubted = [];
  let faults = [];
  let csv = '';
  let width = 0;

  const groupOf = (row) => `${row.placement}, pass ${row.pass.split(' ')[0] || '1'}`;
  const isClosing = (row) => /closing/.test(row.pass);
  const keyOf = (row) => [row.placement, row.target, row.pass].join('\n');

  /** The walk of the setup, with what was typed in it; rows that the setup does not have follow. */
  function lay() {
    if (!bench) return;
    const old = new Map();
    for (const row of typed.readings) {
      const key = keyOf(row);
      old.set(key, [...(old.get(key) ?? []), row]);
    }
    steps = bench.walk.map((step) => {
      const kept = old.get(keyOf(step.row))?.shift();
      return { ...step, row: { ...step.row, ...(kept ?? {}) } };
    });
    const more = [...old.values()].flat().filter((row) => row.reading !== '' || row.advised);
    steps.push(...more.map((row) => ({ row, zero: /zero/.test(row.remark), closing: isClosing(row), target: null })));
    if (!steps.some((step) => groupOf(step.row) === group)) group = steps.length > 0 ? groupOf(steps[0].row) : '';
    typed.readings = steps.map((step) => step.row);
  }

  const inGroup = () => steps.map((step, index) => ({ step, index })).filter(({ step }) => groupOf(step.row) === group);
  const inputOf = (index) => document.querySelector(`input[data-row="${index}"]`);
  const isRead = (row) => row.reading.trim() !== '';

  function show() {
    const names = [...new Set(steps.map((step) => groupOf(step.row)))];
    by('groups').replaceChildren(
      ...(names.length < 2
        ? []
        : names.map((name) => {
            const all = steps.filter((step) => groupOf(step.row) === name);
            const read = all.filter((step) => isRead(step.row)).length;
            return el(
              'button',
              { type: 'button', 'aria-pressed': String(name === group), onclick: () => to(steps.findIndex((step) => groupOf(step.row) === name)) },
              `${name} (${read}/${all.length})`,
            );
          })),
    );
    const mine = inGroup();
    const holder = by('walk-plate');
    width = holder.clientWidth;
    const onPlate = mine.every(({ step }) => step.target) && fits(mine);
    holder.className = onPlate ? 'on-plate' : 'in-list';
    const drawing = el('div', { class: 'drawing' });
    const cells = new Map();
    mine.forEach(({ step, index }, order) => {
      const key = onPlate ? step.target.join() : String(order);
      if (!cells.has(key)) cells.set(key, []);
      cells.get(key).push([step, fieldFor(step, index, order)]);
    });
    holder.replaceChildren(drawing);
    const list = el('ol', { class: 'fields' });
    for (const [key, fields] of cells) {
      const cell = el('li', { class: 'cell' }, fields.map(([, field]) => field));
      if (onPlate) {
        const [x, y] = key.split(',').map(Number);
        const view = plateView(bench);
        cell.style.setProperty('--h', `${fields.reduce((sum, [step]) => sum + heightOf(step), 0)}px`);
        cell.style.setProperty('--x', `${((x - view.left) / view.width) * 100}%`);
        cell.style.setProperty('--y', `${((view.flip(y) - view.top) / view.height) * 100}%`);
      }
      list.append(cell);
    }
    holder.append(list);
    showStand();
    showDoubts();
  }

  /** Whether fields at the targets would not cover one another. */
  function fits(mine) {
    const view = plateView(bench);
    const scale = width / view.width;
    const cells = new Map();
    for (const { step } of mine) cells.set(step.target.join(), (cells.get(step.target.join()) ?? 0) + heightOf(step));
    const room_ = view.height * scale;
    const all = [...cells].map(([key, height]) => {
      const [x, y] = key.split(',').map(Number);
      const at = [(x - view.left) * scale, (view.flip(y) - view.top) * scale];
      // Where the style sheet moves it, so that it stays on the drawing.
      return { x: Math.min(Math.max(at[0], FIELD.width / 2), width - FIELD.width / 2), y: Math.min(Math.max(at[1], height / 2), room_ - height / 2), height };
    });
    return all.every((a, i) =>
      a.height <= room_ &&
      all.slice(0, i).every((b) => Math.abs(a.x - b.x) >= FIELD.width || Math.abs(a.y - b.y) >= (a.height + b.height) / 2));
  }

  const heightOf = (step) => (step.zero || step.closing ? FIELD.named : FIELD.height);

  function fieldFor(step, index, order) {
    const { row } = step;
    const what = step.closing ? 'again' : step.zero ? 'zero' : row.target;
    const input = el('input', {
      'data-row': index,
      inputmode: 'decimal',
      autocomplete: 'off',
      enterkeyhint: 'next',
      'aria-label': `${order + 1}: ${row.target}${step.closing ? ', the zero again' : step.zero ? ', set the zero here' : ''}, in ${bench.unit}`,
      'aria-describedby': 'doubts',
      // What stands there is selected when the field is entered, so that it can be typed over.
      onfocus: (event) => {
        current = index;
        event.target.dataset.entered = '';
        showStand();
      },
      onclick: (event) => {
        if ('entered' in event.target.dataset) event.target.select();
        delete event.target.dataset.entered;
      },
      oninput: (event) => type(index, event.target.value),
      onkeydown: (event) => key(event, index),
      onpaste: (event) => paste(event, index),
    });
    input.value = row.reading;
    return el('label', { class: `reading${step.zero ? ' zero' : step.closing ? ' closing' : ''}` }, el('span', {}, `${order + 1} ${what}`), input);
  }

  function showStand() {
    const step = steps[current];
    const drawing = document.querySelector('#walk-plate .drawing');
    if (!drawing || !step) return;
    const drawn = inGroup().map(({ step: one }) => one).filter((one) => one.target);
    drawing.replaceChildren(plateDrawing(bench, drawn, step.target ? step : null, { numbers: by('walk-plate').className === 'in-list' }));
    for (const label of document.querySelectorAll('#walk-plate .reading')) label.classList.toggle('current', label.querySelector('input') === inputOf(current));
    const order = inGroup().findIndex(({ index }) => index === current) + 1;
    const { row } = step;
    const from = bench.stand === 'carried' ? row.placement : `stand at ${row.placement}`;
    const task = step.closing
      ? 'read the zero again, and do not set it'
      : step.zero
        ? 'put the block here, set the indicator to zero, then Enter'
        : 'put the block here and read';
    by('now').replaceChildren(el('b', {}, `${order} of ${inGroup().length}: ${row.target}`), `, ${from}: ${task}.`);
  }

  function type(index, text) {
    steps[index].row.reading = text;
    typed.readings = steps.map((step) => step.row);
    keep();
    look();
  }

  function to(index) {
    if (!steps[index]) return;
    current = index;
    const itsGroup = groupOf(steps[index].row);
    if (itsGroup !== group) {
      group = itsGroup;
      show();
    }
    const input = inputOf(index);
    input?.focus();
    input?.select();
  }

  function key(event, index) {
    if (event.key === 'Enter') {
      event.preventDefault();
      to(event.shiftKey ? index - 1 : index + 1);
      if (!event.shiftKey && index + 1 >= steps.length) by('save-readings').focus();
    } else if (event.key === 'ArrowUp' || event.key === 'ArrowDown') {
      event.preventDefault();
      step(event.key === 'ArrowUp' ? 1 : -1);
    }
  }

  const figure = (text) => Number(text.trim().replace(',', '.').replace('\u2212', '-'));

  function set(text) {
    const input = inputOf(current);
    if (input) input.value = text;
    type(current, text);
  }

  function step(by_) {
    const now = figure(steps[current]?.row.reading ?? '');
    if (!steps[current] || !Number.isFinite(now)) return;
    const decimals = (String(bench.step).split('.')[1] ?? '').length;
    set(String(Number((now + by_ * bench.step).toFixed(decimals))));
  }

  function paste(event, index) {
    const text = event.clipboardData.getData('text');
    if (!/[\n\t]/.test(text.trim())) return;
    event.preventDefault();
    const lines = text.split(/\r?\n/).filter((line) => line.trim() !== '');
    if (lines.every((line) => !/\t/.test(line.trim()))) {
      lines.forEach((line, i) => {
        if (steps[index + i]) steps[index + i].row.reading = line.trim();
      });
      taken(steps.map((one) => one.row), `${Math.min(lines.length, steps.length - index)} readings pasted.`);
    } else {
      open('what was pasted', text);
    }
  }

  function taken(rows, said) {
    typed.readings = rows;
    keep();
    lay();
    show();
    look();
    by('readings-said').textContent = said;
  }

  async function open(name, text) {
    const answer = await engine.ask({ ask: 'open', about: about(), file: text });
    if (answer === null) return;
    if (answer.answer === 'refused') {
      by('readings-said').textContent = `${name} was not taken. ${answer.said}`;
      return;
    }
    taken(answer.readings, `${answer.readings.length} readings from ${name}.`);
  }

  function showDoubts() {
    const said = [
      ...faults.map((fault) => ({ row: fault.row, text: fault.said.replace(/^line \d+, column \d+: /, '') })),
      ...doubted.map((one) => ({ row: one.row, text: one.said })),
    ];
    by('doubts').replaceChildren(
      ...said.map(({ row, text }) => {
        const of = steps[row]?.row;
        return el('li', {}, of ? el('b', {}, `${of.target}: `) : null, text);
      }),
    );
    steps.forEach((_, index) => {
      const input = inputOf(index);
      if (!input) return;
      input.toggleAttribute('data-doubted', doubted.some((one) => one.row === index));
      if (faults.some((fault) => fault.row === index)) input.setAttribute('aria-invalid', 'true');
      else input.removeAttribute('aria-invalid');
    });
  }

  const sent = () =>
    steps.map(({ row }) => ({
      placement: row.placement,
      target: row.target,
      pass: row.pass,
      reading: row.reading,
      time: row.time ?? '',
      remark: row.remark ?? '',
    }));

  const look = later(60, async () => {
    if (!bench) return;
    const answer = await engine.ask({ ask: 'look', about: about(), readings: sent() });
    if (answer === null) return;
    faults = answer.answer === 'refused' ? answer.faults : [];
    doubted = answer.doubted ?? [];
    csv = answer.csv ?? '';
    showDoubts();
    if (answer.answer === 'refused') {
      by('verdict').replaceChildren(el('p', {}, 'No verdict while a reading is wrong.'));
      by('verdict-parts').replaceChildren();
      return;
    }
    judge();
  });

  let judging = 0;
  async function judge() {
    judging += 1;
    const mine = judging;
    const plain = steps.filter((one) => !one.zero && !one.closing);
    const missing = steps.filter((one) => !isRead(one.row));
    const read = plain.filter((one) => isRead(one.row)).length;
    if (read === 0) {
      by('verdict').replaceChildren(el('p', {}, 'The verdict stands here once something was read.'));
      by('verdict-parts').replaceChildren();
      return;
    }
    for (const draws of ['few', 'full']) {
      const began = performance.now();
      const answer = await engine.ask({ ask: 'judge', about: about(), readings: sent(), draws });
      if (answer === null || mine !== judging) return;
      if (answer.answer === 'refused') {
        by('verdict').replaceChildren(el('p', { class: 'fault' }, answer.said));
        by('verdict-parts').replaceChildren();
        return;
      }
      showVerdict(answer, missing, performance.now() - began);
    }
  }

  /** Two significant digits. */
  const digits = (value) => ({ decimals: value > 0 ? Math.max(0, 1 - Math.floor(Math.log10(value))) : 2 });

  function showVerdict(answer, missing, took) {
    const open = missing.length;
    let still =
      open === 0
        ? 'All of the walk is read.'
        : `${answer.n_readings} of ${steps.length} read; still open: ${missing.slice(0, 4).map((one) => one.row.target + (one.closing ? ' again' : '')).join(', ')}${open > 4 ? ' ...' : ''}. Until then the plate there is known by its neighbours and by what was assumed.`;
    const box = answerBox(answer.shown, 'So far');
    if (answer.open.length > 0) {
      const { decimals } = digits(answer.result.flatness.standard_deviation);
      const now = answer.result.flatness.standard_deviation.toFixed(decimals);
      const first = steps[answer.open[0].row]?.row.target;
      const then = answer.open[0].standard_uncertainty_then.toFixed(decimals);
      const all = answer.open.at(-1).standard_uncertainty_then.toFixed(decimals);
      still += ` What would tell most is ${first}: it should bring the standard uncertainty from ${now} to about ${then} ${bench.unit}${answer.open.length > 1 ? `, and ${answer.open.length} of them to ${all}` : ''} (reckoned with the stand put down anew for them).`;
    }
    box.append(
      el('p', { class: 'small' }, still),
      el(
        'p',
        { class: 'small' },
        answer.full
          ? `By ${Math.round(answer.effective_draws)} independent draws, as the command gives it.`
          : `A first look, by ${Math.round(answer.effective_draws)} independent draws; the full answer follows.`,
      ),
    );
    by('verdict').replaceChildren(box);
    by('verdict').dataset.draws = answer.full ? 'full' : 'few';
    by('verdict').dataset.took = Math.round(took);
    by('verdict').dataset.flatness = JSON.stringify(answer.result.flatness);
    by('verdict-parts').replaceChildren(...inOrder(answer));
  }

  /** The map first, then what to read next, then the reasons: the first few in sight, the rest at a touch. */
  function inOrder(answer) {
    const { parts } = answer.shown;
    const nextAt = parts.findIndex((part) => part.part === 'heading');
    const reasons = nextAt < 0 ? parts.filter((part) => part.part === 'words') : parts.slice(0, nextAt);
    const maps = parts.filter((part) => part.name === 'map');
    const cautions = parts.filter((part) => part.part === 'caution');
    const next = parts.filter((part) => ![...reasons, ...maps, ...cautions].includes(part));
    const add = el('p', { class: 'keys' }, el('button', { type: 'button', onclick: () => addNext(answer.next) }, 'Add what to read next to the walk'));
    const IN_SIGHT = 3;
    return [
      ...shown(reasons.slice(0, IN_SIGHT)),
      ...shown(maps),
      ...shown(next),
      ...(answer.full && answer.next.length > 0 ? [add] : []),
      el('details', {}, el('summary', {}, 'What this rests on'), shown(reasons.slice(IN_SIGHT))),
      ...shown(cautions),
    ];
  }

  function addNext(rows) {
    const known = new Set(steps.map(({ row }) => keyOf(row)));
    const more = rows.filter((row) => !known.has(keyOf(row))).map((row) => ({ ...row, advised: true }));
    if (more.length === 0) return;
    const first = steps.length;
    taken([...sent().filter(isRead), ...more], 'What to read next stands after the walk; the stand is put down there anew, and the zero set.');
    to(Math.min(first, steps.length - 1));
  }

  by('key-minus').addEventListener('click', () => step(-1));
  by('key-plus').addEventListener('click', () => step(1));
  by('key-sign').addEventListener('click', () => {
    const text = (steps[current]?.row.reading ?? '').trim();
    if (text === '') set('-');
    else set(/^[-\u2212]/.test(text) ? text.slice(1) : `-${text.replace(/^\+/, '')}`);
    inputOf(current)?.focus();
  });
  by('key-back').addEventListener('click', () => to(current - 1));
  by('key-next').addEventListener('click', () => to(Math.min(current + 1, steps.length - 1)));
  by('open-readings').addEventListener('change', async (event) => {
    const [file] = event.target.files;
    if (file) await open(file.name, await file.text());
    event.target.value = '';
  });
  by('save-readings').addEventListener('click', () => download('readings.csv', csv, 'text/csv'));
  by('copy-readings').addEventListener('click', async () => {
    const rows = sent().map((row) => [row.placement, row.target, row.pass, row.reading, row.time, row.remark].map((cell) => cell.replace(/\s+/g, ' ')).join('\t'));
    const text = ['placement\ttarget\tpass\treading\ttime\tremark', ...rows].join('\n');
    try {
      await navigator.clipboard.writeText(text);
      by('readings-said').textContent = 'Copied: paste it into a spreadsheet.';
    } catch {
      by('readings-said').textContent = 'The browser does not let this page copy; save the readings instead.';
    }
  });
  by('clear-readings').addEventListener('click', () => {
    if (confirm('Clear all readings?')) taken([], 'Cleared.');
  });
  new ResizeObserver(later(100, () => {
    if (room() === 'readings' && bench && by('walk-plate').clientWidth !== width && !by('walk-plate').contains(document.activeElement)) show();
  })).observe(by('walk-plate'));

  function enterRoom() {
    by('walk-room').hidden = !bench;
    if (!bench) {
      by('readings-said').replaceChildren('First ', el('a', { href: '#plate' }, 'describe the plate and the check'), '.');
      return;
    }
    by('readings-said').textContent = `${bench.title}. In ${bench.unit}, read to ${bench.step}; plus where the tip is pushed up.`;
    lay();
    show();
    look();
  }

  return { enter: enterRoom, setupChanged: () => room() === 'readings' && enterRoom(), sent, hasRead: () => (lay(), steps.some((one) => !one.zero && isRead(one.row))) };
})();

rooms.report = (() => {
  let html = '';
  let address = '';
  by('checked-by').addEventListener('input', (event) => {
    typed.checkedBy = event.target.value;
    keep();
  });
  by('date').addEventListener('input', (event) => {
    typed.date = event.target.value;
    keep();
  });
  by('sign').addEventListener('submit', async (event) => {
    event.preventDefault();
    by('report-said').textContent = 'The report is made ...';
    const readings = rooms.readings.hasRead() ? rooms.readings.sent() : null;
    const answer = await engine.ask({
      ask: 'report',
      about: about(),
      readings,
      n_trials: readings ? null : 10_000,
      date: typed.date,
      checked_by: typed.checkedBy,
    });
    if (answer === null) return;
    if (answer.answer === 'refused') {
      by('report-said').textContent = answer.said;
      return;
    }
    html = answer.html;
    if (address) URL.revokeObjectURL(address);
    address = URL.createObjectURL(new Blob([html], { type: 'text/html' }));
    by('report-frame').replaceChildren(el('iframe', { src: address, title: 'The report' }));
    by('report-keys').hidden = false;
    by('report-said').textContent = readings ? 'The report on the readings.' : 'Nothing was read yet: this is the report on the check.';
  });
  by('print-report').addEventListener('click', () => document.querySelector('#report-frame iframe').contentWindow.print());
  by('save-report').addEventListener('click', () => download('report.html', html, 'text/html'));

  return {
    enter() {
      by('checked-by').value = typed.checkedBy;
      if (typed.date === '') typed.date = new Date().toLocaleDateString('sv');
      by('date').value = typed.date;
      by('make-report').disabled = !bench;
      if (!bench) by('report-said').replaceChildren('First ', el('a', { href: '#plate' }, 'describe the plate and the check'), '.');
      else by('report-said').textContent = '';
    },
  };
})();
