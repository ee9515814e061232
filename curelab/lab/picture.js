const TOP = 28, FOOT = 42, LABEL = `600 12.5px ${FONT}`, TICK = `12px ${FONT}`, LEADER = 16;

function numbers(model) {
  const view = model.get('frame');
  return new Float32Array(view.buffer.slice(view.byteOffset, view.byteOffset + view.byteLength));
}

// The lines of the message with their numbers cut out of the frame.
function unpack(model) {
  const all = numbers(model);
  let from = 0;
  const cut = n => all.subarray(from, from += n);
  return model.get('meta').series.map(line => {
    const made = { ...line, x: cut(line.n), y: cut(line.n) };
    if (line.band) { made.low = cut(line.n); made.high = cut(line.n); }
    return made;
  });
}

function path(x, y, across, up) {
  let made = '', pen = false;
  for (let i = 0; i < x.length; i++) {
    if (Number.isNaN(y[i])) { pen = false; continue; }
    made += `${pen ? 'L' : 'M'}${across(x[i]).toFixed(1)} ${up(y[i]).toFixed(1)}`;
    pen = true;
  }
  return made;
}

// Closed outlines between two edges, one for each unbroken run.
function between(x, low, high, across, up) {
  let made = '', run = [];
  const close = () => {
    if (run.length > 1) {
      const edge = (side, i) => `${across(x[i]).toFixed(1)} ${up(side === low ? low[i] : high[i]).toFixed(1)}`;
      made += `M${run.map(i => edge(high, i)).join('L')}L${[...run].reverse().map(i => edge(low, i)).join('L')}Z`;
    }
    run = [];
  };
  for (let i = 0; i < x.length; i++) if (Number.isNaN(low[i]) || Number.isNaN(high[i])) close(); else run.push(i);
  close();
  return made;
}

// The value of a line where it is drawn, NaN elsewhere.
function at(line, which, x) {
  const n = line.x.length;
  if (!(x >= line.x[0] - 1e-6 && x <= line.x[n - 1] + 1e-6)) return NaN;
  let a = 0, b = n - 1;
  while (b - a > 1) { const middle = (a + b) >> 1; if (line.x[middle] <= x) a = middle; else b = middle; }
  const wide = line.x[b] - line.x[a], part = wide > 0 ? Math.min(1, Math.max(0, (x - line.x[a]) / wide)) : 0;
  return part === 0 ? line[which][a] : part === 1 ? line[which][b] : line[which][a] + part * (line[which][b] - line[which][a]);
}

function render({ model, el }) {
  let lines = [], meta = null, geometry = null, cross = null;   // cross: where the cross-hair stands, in units of x
  const drawn = svg('svg', { role: 'img' });
  const back = svg('g', { 'aria-hidden': 'true' }, drawn), fills = svg('g', {}, drawn), strokes = svg('g', { fill: 'none', 'stroke-linejoin': 'round' }, drawn);
  const front = svg('g', { 'aria-hidden': 'true' }, drawn), pointer = svg('g', { 'aria-hidden': 'true' }, drawn);
  const { part, update, stop } = mount(model, el, draw);
  part.stage.prepend(drawn);
  part.numbers = () => [['line', meta.x_label, meta.y_label, 'low', 'high'], ...lines.flatMap(line => Array.from(line.x, (x, k) => [line.label, x, line.y[k], line.band ? line.low[k] : NaN, line.band ? line.high[k] : NaN]))];
  const keys = reader(part.stage, 'Read values', share => move(meta.x_range[0] + share * (meta.x_range[1] - meta.x_range[0]), true), away);

  function draw() {
    meta = model.get('meta');
    lines = unpack(model);
    const W = part.root.clientWidth, H = model.get('height'), [x0, x1] = meta.x_range, [y0, y1] = meta.y_range, colour = ground(part.root);
    const rows = ticks(y0, y1, Math.max(2, Math.min(6, (H - TOP - FOOT) / 44)));
    const left = Math.ceil(Math.max(...rows.map(row => width(row.text, TICK)))) + 10;
    const limit = Math.max(64, Math.min(170, W * 0.27 - LEADER));
    const named = lines.map(line => wrap(line.label, LABEL, limit));
    const right = Math.ceil(Math.max(6, ...named.map(text => Math.max(...text.map(one => width(one, LABEL))) + (text[0] ? LEADER + 8 : 0))));
    const w = Math.max(80, W - left - right), h = H - TOP - FOOT;
    const across = x => left + w * (x - x0) / (x1 - x0), up = y => TOP + h * (1 - (y - y0) / (y1 - y0));
    geometry = { W, H, w, h, left, across, up, colour };
    drawn.setAttribute('viewBox', `0 0 ${W} ${H}`);
    drawn.style.height = `${H}px`;
    drawn.setAttribute('aria-label', meta.summary);

    back.replaceChildren();
    words(meta.y_label, { x: 0, y: 12, class: 'cl-name' }, back);
    for (const row of rows) {
      const y = Math.round(up(row.at));
      svg('line', { class: 'cl-grid', x1: left, x2: left + w, y1: y, y2: y }, back);
      words(row.text, { x: left - 8, y: y + 4, 'text-anchor': 'end', class: 'cl-tick' }, back);
    }
    for (const tick of ticks(x0, x1, Math.max(2, Math.min(8, w / 44)))) {
      const x = Math.round(across(tick.at));
      svg('line', { class: 'cl-axis', x1: x, x2: x, y1: TOP + h, y2: TOP + h + 4 }, back);
      words(tick.text, { x, y: TOP + h + 18, 'text-anchor': 'middle', class: 'cl-tick' }, back);
    }
    svg('line', { class: 'cl-axis', x1: left, x2: left + w, y1: TOP + h, y2: TOP + h }, back);
    words(meta.x_label, { x: left + w / 2, y: H - 5, 'text-anchor': 'middle', class: 'cl-name' }, back);

    const name = `clip-${part.root.dataset.clip ||= Math.random().toString(36).slice(2, 8)}`;
    svg('rect', { x: left, y: TOP - 2, width: w, height: h + 4 }, svg('clipPath', { id: name }, back));
    fills.setAttribute('clip-path', `url(#${name})`);
    strokes.setAttribute('clip-path', `url(#${name})`);
    fills.replaceChildren();
    strokes.replaceChildren();
    for (const line of lines) {
      line.stroke = legible(line.colour, colour, 3);
      line.pattern = DASH[line.dash] ?? line.dash;
      const soft = { fill: line.stroke, 'fill-opacity': luminance(ground(part.root)) < 0.18 ? 0.32 : 0.14, stroke: 'none' };
      if (line.band) svg('path', { ...soft, d: between(line.x, line.low, line.high, across, up) }, fills);
      if (line.fill) svg('path', { ...soft, d: between(line.x, line.y.map(v => (Number.isNaN(v) ? v : y0)), line.y, across, up) }, fills);
      svg('path', { class: 'cl-line', d: path(line.x, line.y, across, up), stroke: line.stroke, 'stroke-width': line.width, 'stroke-dasharray': line.pattern }, strokes);
    }
    front.replaceChildren();
    marks();
    names(named);
    // The input that reads values by key lies on the axis of x.
    keys.style.cssText = `left:${left}px; width:${w}px; top:${TOP + h - 12}px`;
    keys.setAttribute('aria-label', `Read values along ${meta.x_label}`);
    if (cross !== null) move(Math.min(x1, Math.max(x0, cross)), false);
  }

  function marks() {
    const { w, h, left, across, up } = geometry, taken = [];
    for (const mark of meta.marks) {
      const [low, high] = mark.axis === 'x' ? meta.x_range : meta.y_range;
      if (mark.at < low || mark.at > high) continue;
      const style = { class: 'cl-mark', 'stroke-dasharray': DASH[mark.dash] ?? mark.dash };
      if (mark.axis === 'y') {
        const y = up(mark.at);
        svg('line', { ...style, x1: left, x2: left + w, y1: y, y2: y }, front);
        const rows = wrap(mark.label, LABEL, w - 12), below = y - TOP < 16 * rows.length;
        rows.forEach((text, row) => words(text, { x: left + 6, y: below ? y + 15 + 15 * row : y - 5 - 15 * (rows.length - 1 - row), class: 'cl-word cl-halo' }, front));
      } else {
        const x = across(mark.at), size = width(mark.label, LABEL), flip = x + size + 8 > left + w;
        const from = flip ? x - size - 6 : x + 6;
        let row = 0;
        while (taken.some(one => one.row === row && one.from < from + size + 8 && from < one.to + 8)) row++;
        taken.push({ row, from, to: from + size });
        svg('line', { ...style, x1: x, x2: x, y1: TOP, y2: TOP + h }, front);
        words(mark.label, { x: from, y: TOP + 12 + 16 * row, class: 'cl-word cl-halo' }, front);
      }
    }
  }

  // Each line's name at its last point, moved apart where they would overlap; a thin line leads to it.
  function names(named) {
    const { w, h, left, across, up, colour } = geometry, ends = [];
    lines.forEach((line, place) => {
      let last = line.n - 1;
      while (last >= 0 && Number.isNaN(line.y[last])) last--;
      if (last < 0 || !line.label) return;
      const y = Math.min(TOP + h, Math.max(TOP, up(line.y[last])));
      ends.push({ line, text: named[place], x: Math.min(left + w, across(line.x[last])), y, want: y, size: 15 * named[place].length + 3 });
    });
    const centres = spread(ends, TOP - 12, TOP + h + 12);
    ends.forEach((end, place) => {
      const y = centres[place], x = left + w + LEADER;
      svg('path', { d: `M${end.x.toFixed(1)} ${end.y.toFixed(1)}L${x} ${y.toFixed(1)}`, fill: 'none', stroke: end.line.stroke, 'stroke-opacity': 0.7 }, front);
      const text = svg('text', { class: 'cl-word', style: `fill: ${legible(end.line.colour, colour, 4.6)}` }, front);
      end.text.forEach((one, row) => { svg('tspan', { x: x + 5, y: y + 4.5 + 15 * (row - (end.text.length - 1) / 2) }, text).textContent = one; });
    });
  }

  function move(x, aloud) {
    cross = x;
    const { W, H, h, across, up, colour } = geometry, span = meta.y_range[1] - meta.y_range[0], px = across(x);
    pointer.replaceChildren();
    svg('line', { class: 'cl-cross', x1: px, x2: px, y1: TOP, y2: TOP + h }, pointer);
    const head = [meta.x_label, reading(x, meta.x_range[1] - meta.x_range[0])], said = [];
    const table = html('table'), first = html('tr', {}, table);
    head.forEach(text => { html('th', {}, first).textContent = text; });
    for (const line of lines) {
      const y = at(line, 'y', x), value = reading(y, span);
      const band = line.band ? [reading(at(line, 'low', x), span), reading(at(line, 'high', x), span)] : null;
      if (Number.isFinite(y)) svg('circle', { cx: px, cy: up(y), r: 3.5, fill: line.stroke, stroke: `rgb(${colour.join(', ')})` }, pointer);
      const row = html('tr', {}, table), cell = html('td', {}, row);
      cell.textContent = line.label;
      cell.style.color = legible(line.colour, colour, 4.6);
      html('td', {}, row).textContent = value;
      if (band) html('td', { class: 'cl-band' }, row).textContent = `${band[0]} to ${band[1]}`;
      said.push(`${line.label} ${value}${band ? ` (${band[0]} to ${band[1]})` : ''}`);
    }
    part.readout.replaceChildren(table);
    place(part.readout, px, TOP + 4, W, H);
    keys.value = 100 * (x - meta.x_range[0]) / (meta.x_range[1] - meta.x_range[0]);
    keys.setAttribute('aria-valuetext', head.join(' '));
    if (aloud) part.live.textContent = `${head.join(' ')}. ${meta.y_label}: ${said.join('; ')}.`;
  }
  function away() { cross = null; pointer.replaceChildren(); part.readout.hidden = true; }

  const seek = event => {
    if (!geometry || model.get('problem')) return;
    const box = drawn.getBoundingClientRect(), share = (event.clientX - box.left - geometry.left) / geometry.w;
    if (share < -0.02 || share > 1.02) { away(); return; }
    move(meta.x_range[0] + Math.min(1, Math.max(0, share)) * (meta.x_range[1] - meta.x_range[0]), true);
  };
  drawn.addEventListener('pointermove', seek);
  drawn.addEventListener('pointerdown', seek);
  drawn.addEventListener('pointerleave', event => { if (event.pointerType !== 'touch') away(); });
  update();
  return stop;
}
export default { render };
