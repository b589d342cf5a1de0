// The lesson: the stand from the side, with handles. Every number is the engine's.

rooms.lesson = (() => {
  const WIDTH = 720;
  const HANDLES = [
    ['at', 'Place of the stand', 'from the dip', 'plan_unit'],
    ['depth', 'Depth of the dip', '', 'unit'],
    ['reach', 'Reach', '', 'plan_unit'],
    ['bow', 'Bow of the plate under the carried stand', '', 'unit'],
  ];
  const asked = {};
  let answer = null;
  let dragging = null;

  const subject = () => (bench ? about() : { setup: JSON.stringify(setupRoom.EXAMPLE) });

  const ask = later(10, async () => {
    const found = await engine.ask({ ask: 'lesson', about: subject(), ...asked });
    if (found === null) return;
    if (found.answer === 'refused') {
      by('lesson-said').textContent = found.said;
      return;
    }
    by('lesson-said').textContent = bench ? '' : 'With an example: granite 36 x 24 in, feet 5 in apart and 6 in deep.';
    answer = found;
    show();
  });

  function build() {
    by('lesson-handles').replaceChildren(
      ...HANDLES.map(([name, label]) =>
        el(
          'label',
          {},
          label,
          el('output', { 'data-out': name }),
          el('input', {
            type: 'range',
            'data-handle': name,
            step: 'any',
            oninput: (event) => {
              asked[name] = Number(event.target.value);
              ask();
            },
            onkeydown: (event) => byKey(event, name),
          }),
        ),
      ),
    );
    const stops = ['Rear foot in the dip', 'Front feet in the dip', 'Block in the dip'];
    by('lesson-keys').replaceChildren(
      ...stops.map((name, index) =>
        el('button', { type: 'button', onclick: () => { asked.at = answer.stops[index]; ask(); } }, name),
      ),
    );
  }

  // A range without steps of its own does not move by the arrow keys in every browser.
  function byKey(event, name) {
    const way = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10 }[event.key];
    if (!way || !answer) return;
    event.preventDefault();
    const { at, from, to } = answer[name];
    asked[name] = Math.min(to, Math.max(from, at + (way * (to - from)) / 200));
    ask();
  }

  function show() {
    for (const [name, , suffix, unit] of HANDLES) {
      const handle = answer[name];
      const input = document.querySelector(`[data-handle="${name}"]`);
      input.min = handle.from;
      input.max = handle.to;
      input.value = handle.at;
      input.setAttribute('aria-valuetext', `${number(handle.at)} ${answer[unit]} ${suffix}`);
      document.querySelector(`[data-out="${name}"]`).textContent = ` ${number(handle.at)} ${answer[unit]} ${suffix}`;
    }
    by('lesson-view').replaceChildren(sideView());
    by('lesson-words').replaceChildren(...answer.said.map((said) => el('p', {}, said)));
    by('lesson-words').dataset.reading = answer.reading;
    by('lesson-walk').replaceChildren(curve('Reading against the place of the stand', [answer.walk], ['reading'], answer.at.at, answer.reading));
    by('lesson-carried').replaceChildren(
      answer.carried.length === 0
        ? el('p', {}, 'At this reach the stand cannot be carried along this plate.')
        : curve(
            'Height of the bowed plate, and what the carried stand reads, along the plate',
            [answer.carried.map(([x, z]) => [x, z]), answer.carried.map(([x, , r]) => [x, r])],
            ['height of the plate', 'reading of the carried stand'],
            null,
            null,
          ),
    );
  }

  function sideView() {
    const height = 300;
    const ground = 200;
    const { points, at, sigma, depth, reach } = answer;
    const from = -reach.to - 5 * sigma;
    const to = Math.max(reach.to, -points[0] + points[2] + 5 * sigma) + 2 * sigma;
    const x = (place) => ((place - from) / (to - from)) * WIDTH;
    // The dip is drawn so that the deepest of all is easily seen, the same for all: heights are exaggerated.
    const tall = depth.to === 0 ? 0 : 52 / depth.to;
    const y = (z) => ground - z * tall;
    const dip = (place) => -depth.at * Math.exp((-place * place) / (2 * sigma * sigma));
    const surface = [];
    for (let i = 0; i <= 240; i += 1) {
      const place = from + ((to - from) * i) / 240;
      surface.push(`${x(place)},${y(dip(place))}`);
    }
    const [rear, front, tip] = points.map((point) => x(at.at + point));
    const [zRear, zFront] = answer.heights;
    // The line through the feet, carried out to the tip.
    const datum = answer.weights[0] * zRear + answer.weights[1] * zFront;
    const line = (px) => y(zRear) + ((y(zFront) - y(zRear)) * (px - rear)) / (front - rear);
    const column = x(at.at);
    const top = line(column) - 120;
    const svg = draw('svg', { viewBox: `0 0 ${WIDTH} ${height}`, class: 'side', role: 'img', 'aria-label': answer.said[0] });
    svg.append(
      draw('polygon', { class: 'stone', points: [`0,${height}`, ...surface, `${WIDTH},${height}`].join(' ') }),
      draw('line', { class: 'datum', x1: rear, y1: y(zRear), x2: tip, y2: y(datum) }),
      draw('rect', { class: 'block', x: tip - 9, y: y(answer.heights[2]) - 22, width: 18, height: 22 }),
      draw(
        'g',
        { class: 'grab', 'data-grab': 'at' },
        draw('rect', { class: 'hold', x: Math.min(rear, column) - 20, y: top - 24, width: Math.max(front, column) - Math.min(rear, column) + 40, height: ground - top + 50 }),
        draw('line', { class: 'leg', x1: rear, y1: y(zRear), x2: rear, y2: line(rear) - 24 }),
        draw('line', { class: 'leg', x1: front, y1: y(zFront), x2: front, y2: line(front) - 24 }),
        draw('line', { class: 'beam', x1: rear, y1: line(rear) - 24, x2: front, y2: line(front) - 24 }),
        draw('line', { class: 'leg', x1: column, y1: line(column) - 24, x2: column, y2: top }),
      ),
      draw('line', { class: 'beam', x1: column, y1: top + 6, x2: tip, y2: line(tip) - 114 }),
      draw('line', { class: 'leg', x1: tip, y1: line(tip) - 114, x2: tip, y2: y(answer.heights[2]) - 22 }),
      draw('g', { class: 'grab', 'data-grab': 'reach' }, draw('circle', { class: 'dial', cx: tip, cy: line(tip) - 118, r: 30 }), pointer(tip, line(tip) - 118)),
      draw('text', { class: 'reading-text', x: Math.min(Math.max(tip, 90), WIDTH - 90), y: 24, 'text-anchor': 'middle' }, `${signed(answer.reading)} ${answer.unit}`),
      draw('g', { class: 'grab', 'data-grab': 'depth' }, draw('circle', { class: 'handle', cx: x(0), cy: y(-depth.at) + 26, r: 14 }), draw('text', { class: 'handle-text', x: x(0), y: y(-depth.at) + 31, 'text-anchor': 'middle' }, '\u2195')),
    );
    svg.addEventListener('pointerdown', (event) => {
      const grabbed = event.target.closest('[data-grab]');
      if (!grabbed) return;
      event.preventDefault();
      dragging = { name: grabbed.dataset.grab, x: event.clientX, y: event.clientY, from: { at: at.at, reach: reach.at, depth: depth.at }, scale: (to - from) / WIDTH, tall, width: svg.clientWidth };
    });
    return svg;
  }

  function pointer(cx, cy) {
    const full = 2 * answer.depth.to * Math.max(...answer.weights.map(Math.abs), 1);
    const angle = full === 0 ? 0 : (answer.reading / full) * 2.6;
    return draw('line', { class: 'needle', x1: cx, y1: cy, x2: cx + 24 * Math.sin(angle), y2: cy - 24 * Math.cos(angle) });
  }

  addEventListener('pointermove', (event) => {
    if (!dragging) return;
    const px = WIDTH / dragging.width;
    const across = (event.clientX - dragging.x) * px * dragging.scale;
    const down = ((event.clientY - dragging.y) * px) / (dragging.tall || 1);
    const { name, from } = dragging;
    const to = { at: from.at + across, reach: from.reach + across, depth: from.depth + down }[name];
    const handle = answer[name];
    asked[name] = Math.min(handle.to, Math.max(handle.from, to));
    ask();
  });
  addEventListener('pointerup', () => (dragging = null));
  addEventListener('pointercancel', () => (dragging = null));

  function curve(title, lines, names, here, value) {
    const height = 220;
    const [left, right, top, bottom] = [64, WIDTH - 12, 34, height - 42];
    const all = lines.flat();
    const ends = (axis) => [Math.min(...all.map((p) => p[axis]), axis === 1 ? 0 : Infinity), Math.max(...all.map((p) => p[axis]), axis === 1 ? 0 : -Infinity)];
    const [x0, x1] = ends(0);
    let [y0, y1] = ends(1);
    if (y1 - y0 < 1e-9) [y0, y1] = [y0 - 1, y1 + 1];
    const x = (v) => left + ((v - x0) / (x1 - x0)) * (right - left);
    const y = (v) => bottom - ((v - y0) / (y1 - y0)) * (bottom - top);
    const svg = draw('svg', { viewBox: `0 0 ${WIDTH} ${height}`, class: 'curve', role: 'img', 'aria-label': title });
    const word = (px, py, text, anchor = 'middle') => draw('text', { x: px, y: py, 'text-anchor': anchor }, text);
    fill(svg, {}, [
      draw('line', { class: 'axis', x1: left, y1: y(0), x2: right, y2: y(0) }),
      word(left - 8, y(y1) + 5, signed(y1, 1), 'end'),
      word(left - 8, y(y0) + 5, signed(y0, 1), 'end'),
      word(left, height - 22, number(x0, 1)),
      word(right - 14, height - 22, number(x1, 1)),
      word((left + right) / 2, height - 6, `place, ${answer.plan_unit}; heights and readings, ${answer.unit}`),
      lines.map((line, i) => draw('polyline', { class: `line line${i}`, points: line.map(([px, py]) => `${x(px)},${y(py)}`).join(' ') })),
      names.map((name, i) => [draw('line', { class: `line line${i}`, x1: left + i * 240, y1: 14, x2: left + 30 + i * 240, y2: 14 }), word(left + 38 + i * 240, 19, name, 'start')]),
    ]);
    if (here !== null) svg.append(draw('circle', { class: 'here', cx: x(here), cy: y(value), r: 6 }));
    return svg;
  }

  return {
    enter() {
      if (by('lesson-handles').children.length === 0) build();
      ask();
    },
    setupChanged() {
      for (const name of Object.keys(asked)) delete asked[name];
      if (room() === 'lesson') ask();
    },
  };
})();
