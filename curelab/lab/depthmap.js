const TOP = 28, FOOT = 42, LABEL = `600 12.5px ${FONT}`, TICK = `12px ${FONT}`, BAR = 14;
// Ten even stops of cividis (Nunez, Anderton and Renslow 2018): dark to light in grey print, and for colour-blind eyes.
const STOPS = [[0, 34, 78], [18, 53, 112], [59, 73, 108], [87, 93, 109], [112, 113, 115], [138, 134, 120], [165, 156, 116], [195, 179, 105], [225, 204, 85], [254, 232, 56]];
function shade(share) {
  const t = Math.min(1, Math.max(0, share)) * (STOPS.length - 1), i = Math.min(STOPS.length - 2, Math.floor(t));
  return STOPS[i].map((value, k) => Math.round(value + (t - i) * (STOPS[i + 1][k] - value)));
}
const TABLE = Array.from({ length: 256 }, (_, i) => shade(i / 255));

// For each pixel centre along an axis of `count` pixels: the node before it and how far it is on the way to the next.
function places(nodes, count, down) {
  const made = [], first = nodes[0], span = nodes[nodes.length - 1] - first;
  let a = 0;
  for (let k = 0; k < count; k++) {
    const value = first + span * (k + 0.5) / count;
    while (a < nodes.length - 2 && nodes[a + 1] <= value) a++;
    made.push([a, (value - nodes[a]) / (nodes[a + 1] - nodes[a])]);
  }
  return down ? made : made.reverse();
}

function render({ model, el }) {
  let meta = null, geometry = null, data = null, cross = null;
  const canvas = html('canvas', { 'aria-hidden': 'true' }), brush = canvas.getContext('2d');
  const drawn = svg('svg', { role: 'img' });
  const front = svg('g', { 'aria-hidden': 'true' }, drawn), pointer = svg('g', { 'aria-hidden': 'true' }, drawn);
  const { part, update, stop } = mount(model, el, draw);
  part.stage.prepend(canvas, drawn);
  part.numbers = () => [[meta.x_label, meta.y_label, meta.z_label], ...Array.from(data.y).flatMap((y, r) => Array.from(data.x, (x, c) => [x, y, data.z[r * meta.nx + c]]))];
  const ramp = html('canvas', { 'aria-hidden': 'true', width: 1, height: 256 });
  part.stage.insertBefore(ramp, drawn);
  const image = ramp.getContext('2d').createImageData(1, 256);
  for (let k = 0; k < 256; k++) image.data.set([...TABLE[255 - k], 255], 4 * k);
  ramp.getContext('2d').putImageData(image, 0, 0);
  const span = axis => data[axis].at(-1) - data[axis][0];
  const keys = ['x', 'y'].map(axis => reader(part.stage, 'Read values', share => {
    const now = cross || { x: data.x[0] + span('x') / 2, y: data.y[0] + span('y') / 2 };
    move({ ...now, [axis]: data[axis][0] + share * span(axis) }, true);
  }, away));

  function draw() {
    meta = model.get('meta');
    const view = model.get('frame'), all = new Float32Array(view.buffer.slice(view.byteOffset, view.byteOffset + view.byteLength));
    let from = 0;
    const cut = n => all.subarray(from, from += n);
    data = { x: cut(meta.nx), y: cut(meta.ny), z: cut(meta.nx * meta.ny), lineX: cut(meta.line), lineY: cut(meta.line) };
    const W = part.root.clientWidth, H = model.get('height'), h = H - TOP - FOOT;
    const [x0, x1, y0, y1, z0, z1] = [data.x[0], data.x.at(-1), data.y[0], data.y.at(-1), ...meta.z_range];
    const rows = ticks(y0, y1, Math.max(2, Math.min(6, h / 40))), steps = ticks(z0, z1, 5);
    const left = Math.ceil(Math.max(...rows.map(row => width(row.text, TICK)))) + 12;
    const right = Math.ceil(Math.max(18 + BAR + 8 + Math.max(...steps.map(step => width(step.text, TICK)))));
    const w = Math.max(80, W - left - right);
    const across = x => left + w * (x - x0) / (x1 - x0);
    const up = y => TOP + h * (meta.y_down ? (y - y0) / (y1 - y0) : 1 - (y - y0) / (y1 - y0));
    geometry = { W, H, w, h, left, across, up };
    drawn.setAttribute('viewBox', `0 0 ${W} ${H}`);
    drawn.style.height = `${H}px`;
    drawn.setAttribute('aria-label', meta.summary);
    paint(Math.ceil(w / 2), Math.ceil(h / 2), z0, z1);
    canvas.style.cssText = `left:${left}px; top:${TOP}px; width:${w}px; height:${h}px`;
    const bar = left + w + 18;
    ramp.style.cssText = `left:${bar}px; top:${TOP}px; width:${BAR}px; height:${h}px`;

    front.replaceChildren();
    words(meta.y_label, { x: 0, y: 12, class: 'cl-name' }, front);
    words(meta.z_label, { x: W, y: 12, 'text-anchor': 'end', class: 'cl-name' }, front);
    svg('rect', { class: 'cl-axis', x: left, y: TOP, width: w, height: h, fill: 'none' }, front);
    svg('rect', { class: 'cl-axis', x: bar, y: TOP, width: BAR, height: h, fill: 'none' }, front);
    for (const row of rows) {
      const y = Math.round(up(row.at));
      svg('line', { class: 'cl-axis', x1: left - 4, x2: left, y1: y, y2: y }, front);
      words(row.text, { x: left - 8, y: y + 4, 'text-anchor': 'end', class: 'cl-tick' }, front);
    }
    for (const tick of ticks(x0, x1, Math.max(2, Math.min(8, w / 44)))) {
      const x = Math.round(across(tick.at));
      svg('line', { class: 'cl-axis', x1: x, x2: x, y1: TOP + h, y2: TOP + h + 4 }, front);
      words(tick.text, { x, y: TOP + h + 18, 'text-anchor': 'middle', class: 'cl-tick' }, front);
    }
    for (const step of steps) {
      const y = Math.round(TOP + h * (1 - (step.at - z0) / (z1 - z0)));
      svg('line', { class: 'cl-axis', x1: bar + BAR, x2: bar + BAR + 4, y1: y, y2: y }, front);
      words(step.text, { x: bar + BAR + 7, y: y + 4, class: 'cl-tick' }, front);
    }
    words(meta.x_label, { x: left + w / 2, y: H - 5, 'text-anchor': 'middle', class: 'cl-name' }, front);
    if (meta.line) contour();
    keys[0].style.cssText = `left:${left}px; width:${w}px; top:${TOP + h - 12}px`;
    keys[1].style.cssText = `left:${left}px; width:${w}px; top:${TOP}px`;
    keys[0].setAttribute('aria-label', `Read values along ${meta.x_label}`);
    keys[1].setAttribute('aria-label', `Read values along ${meta.y_label}`);
    if (cross) move({ x: Math.min(x1, Math.max(x0, cross.x)), y: Math.min(y1, Math.max(y0, cross.y)) }, false);
  }

  function paint(columns, rows, z0, z1) {
    canvas.width = columns; canvas.height = rows;
    const picture = brush.createImageData(columns, rows), out = picture.data, nx = meta.nx, z = data.z;
    const alongX = places(data.x, columns, true), alongY = places(data.y, rows, meta.y_down), scale = 255 / (z1 - z0);
    for (let r = 0, o = 0; r < rows; r++) {
      const [b, v] = alongY[r], base = b * nx;
      for (let c = 0; c < columns; c++, o += 4) {
        const [a, u] = alongX[c], k = base + a;
        const low = z[k] + u * (z[k + 1] - z[k]), high = z[k + nx] + u * (z[k + nx + 1] - z[k + nx]);
        const colour = TABLE[Math.min(255, Math.max(0, Math.round((low + v * (high - low) - z0) * scale)))];
        out[o] = colour[0]; out[o + 1] = colour[1]; out[o + 2] = colour[2]; out[o + 3] = 255;
      }
    }
    brush.putImageData(picture, 0, 0);
  }

  // The line in white on black, readable on every colour of the map, its name beside its middle.
  function contour() {
    const { left, w, h, across, up } = geometry;
    const clip = `clip-${part.root.dataset.clip ||= Math.random().toString(36).slice(2, 8)}`;
    svg('rect', { x: left, y: TOP, width: w, height: h }, svg('clipPath', { id: clip }, front));
    let d = '', pen = false;
    const seen = [];
    for (let i = 0; i < meta.line; i++) {
      const x = across(data.lineX[i]), y = up(data.lineY[i]);
      if (Number.isNaN(x) || Number.isNaN(y)) { pen = false; continue; }
      d += `${pen ? 'L' : 'M'}${x.toFixed(1)} ${y.toFixed(1)}`;
      pen = true;
      if (x >= left && x <= left + w && y >= TOP && y <= TOP + h) seen.push([x, y]);
    }
    const group = svg('g', { fill: 'none', 'clip-path': `url(#${clip})`, 'stroke-linejoin': 'round' }, front);
    svg('path', { d, stroke: '#000', 'stroke-width': 4.5, 'stroke-opacity': 0.85 }, group);
    svg('path', { class: 'cl-line', d, stroke: '#fff', 'stroke-width': 2 }, group);
    if (!meta.line_label || !seen.length) return;
    const size = width(meta.line_label, LABEL), [x, y] = seen[Math.floor(seen.length * 0.5)];
    const from = Math.max(left + 6, Math.min(left + w - size - 8, x + 10));
    words(meta.line_label, { x: from, y: Math.max(TOP + 16, Math.min(TOP + h - 8, y + (y > TOP + h / 2 ? -10 : 20))), class: 'cl-word', style: 'fill: #fff; stroke: #000; stroke-width: 3.5px; paint-order: stroke; stroke-linejoin: round' }, front);
  }

  function value({ x, y }) {
    const find = (nodes, v) => { let a = 0; while (a < nodes.length - 2 && nodes[a + 1] <= v) a++; return [a, (v - nodes[a]) / (nodes[a + 1] - nodes[a])]; };
    const [a, u] = find(data.x, x), [b, v] = find(data.y, y), k = b * meta.nx + a, z = data.z;
    const low = z[k] + u * (z[k + 1] - z[k]), high = z[k + meta.nx] + u * (z[k + meta.nx + 1] - z[k + meta.nx]);
    return low + v * (high - low);
  }

  function move(now, aloud) {
    cross = now;
    const { W, H, w, h, left, across, up } = geometry, x = across(now.x), y = up(now.y);
    pointer.replaceChildren();
    for (const [colour, size] of [['#000', 3], ['#fff', 1]]) {
      svg('path', { d: `M${left} ${y}H${left + w}M${x} ${TOP}V${TOP + h}`, stroke: colour, 'stroke-width': size, 'stroke-opacity': 0.7, fill: 'none', 'pointer-events': 'none' }, pointer);
    }
    const rows = [[meta.x_label, reading(now.x, span('x'))], [meta.y_label, reading(now.y, span('y'))], [meta.z_label, reading(value(now), meta.z_range[1] - meta.z_range[0])]];
    const table = html('table');
    rows.forEach((row, k) => { const line = html('tr', {}, table); row.forEach(text => { html(k === 2 ? 'th' : 'td', {}, line).textContent = text; }); });
    part.readout.replaceChildren(table);
    place(part.readout, x, y + 12, W, H);
    ['x', 'y'].forEach((axis, k) => {
      keys[k].value = 100 * (now[axis] - data[axis][0]) / span(axis);
      keys[k].setAttribute('aria-valuetext', rows[k].join(' '));
    });
    if (aloud) part.live.textContent = `${rows.map(row => row.join(' ')).join('; ')}.`;
  }
  function away() { cross = null; pointer.replaceChildren(); part.readout.hidden = true; }

  const seek = event => {
    if (!geometry || model.get('problem')) return;
    const box = drawn.getBoundingClientRect(), u = (event.clientX - box.left - geometry.left) / geometry.w, v = (event.clientY - box.top - TOP) / geometry.h;
    if (u < 0 || u > 1 || v < 0 || v > 1) { away(); return; }
    move({ x: data.x[0] + u * span('x'), y: data.y[0] + (meta.y_down ? v : 1 - v) * span('y') }, true);
  };
  drawn.addEventListener('pointermove', seek);
  drawn.addEventListener('pointerdown', seek);
  drawn.addEventListener('pointerleave', event => { if (event.pointerType !== 'touch') away(); });
  update();
  return stop;
}
export default { render };
