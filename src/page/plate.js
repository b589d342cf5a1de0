// The plate from above, to scale: feet, arm and targets in order. Lengths in mm, y towards the back.

const PAD = 0.07;

function plateView(of) {
  const [length, width] = of.plate;
  const pad = PAD * length;
  return { left: -pad, top: -pad, width: length + 2 * pad, height: width + 2 * pad, flip: (y) => width - y };
}

/** The drawing; `steps` are the steps of the walk that are shown, `current` the one of which the stand is drawn. */
function plateDrawing(of, steps, current, options = {}) {
  const [length, width, margin] = of.plate;
  const view = plateView(of);
  const at = ([x, y]) => [x, view.flip(y)];
  const unit = length / 100;
  const svg = draw('svg', {
    viewBox: `${view.left} ${view.top} ${view.width} ${view.height}`,
    class: 'plate',
    role: 'img',
    'aria-label': options.label ?? `Plan of the plate with ${steps.length} readings; the front edge is below`,
  });
  svg.append(
    draw('rect', { class: 'stone', x: 0, y: 0, width: length, height: width }),
    draw('rect', { class: 'margin', x: margin, y: margin, width: length - 2 * margin, height: width - 2 * margin }),
  );
  const words = (x, y, text, name = 'note') => draw('text', { x, y, class: name, 'font-size': 2.6 * unit, 'text-anchor': 'middle' }, text);
  svg.append(words(length / 2, width + 4.5 * unit, 'front edge, you stand here'));
  for (const step of steps) {
    const [x, y] = at(step.target);
    svg.append(draw('circle', { class: 'spot', cx: x, cy: y, r: 1.2 * unit }));
  }
  if (current) svg.append(standDrawing(of, current, at, unit));
  if (options.numbers) {
    const named = new Map();
    steps.forEach((step, index) => {
      const key = step.target.join();
      named.set(key, [...(named.get(key) ?? []), index + 1]);
    });
    for (const step of steps) {
      const numbers = named.get(step.target.join());
      if (!numbers) continue;
      named.delete(step.target.join());
      const [x, y] = at(step.target);
      const up = y < width / 2 ? 4.6 : -2.2;
      svg.append(words(x, y + up * unit, numbers.join(', '), 'order'));
    }
  }
  return svg;
}

function standDrawing(of, step, at, unit) {
  const feet = step.feet.map(at);
  const [cx, cy] = at(step.column);
  const [tx, ty] = at(step.target);
  return draw(
    'g',
    { class: 'stand' },
    draw('polygon', { class: 'base', points: feet.map((foot) => foot.join()).join(' ') }),
    draw('line', { class: 'arm', x1: cx, y1: cy, x2: tx, y2: ty }),
    draw('circle', { class: 'column', cx, cy, r: 1.1 * unit }),
    feet.map(([x, y]) => draw('circle', { class: 'foot', cx: x, cy: y, r: Math.max(of.pad / 2, 0.8 * unit) })),
    draw('circle', { class: 'tip', cx: tx, cy: ty, r: 1.9 * unit }),
  );
}
