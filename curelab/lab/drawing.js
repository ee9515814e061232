// What the pictures share. Put in front of every picture; everything is drawn in real pixels, so words keep their size.
const DASH = { solid: '', dash: '8 4', dot: '2 3', dashdot: '9 3 2 3', long: '15 4', longdot: '15 3 2 3 2 3' };
const FONT = 'system-ui, sans-serif';

// A style is set as a property: a page that allows no inline style would refuse the attribute.
function dressed(made, attributes, parent) {
  for (const key in attributes) if (key === 'style') made.style.cssText = attributes.style; else made.setAttribute(key, attributes[key]);
  if (parent) parent.append(made);
  return made;
}
function svg(name, attributes = {}, parent = null) { return dressed(document.createElementNS('http://www.w3.org/2000/svg', name), attributes, parent); }
function html(name, attributes = {}, parent = null) { return dressed(document.createElement(name), attributes, parent); }
function words(text, attributes, parent) { const made = svg('text', attributes, parent); made.textContent = text; return made; }

const ruler = document.createElement('canvas').getContext('2d');
function width(text, font) { ruler.font = font; return ruler.measureText(text).width; }
function wrap(text, font, limit) {
  const lines = [];
  for (const word of text.split(' ')) {
    const longer = lines.length ? `${lines.at(-1)} ${word}` : word;
    if (lines.length && width(longer, font) <= limit) lines[lines.length - 1] = longer; else lines.push(word);
  }
  return lines;
}

// Ticks at 1, 2 or 5 times a power of ten inside [low, high], at most about `parts` intervals.
function ticks(low, high, parts) {
  const raw = (high - low) / Math.max(1, parts), power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map(k => k * power).find(s => s >= raw * (1 - 1e-9));
  const digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9)), made = [];
  for (let k = Math.ceil(low / step - 0.01); k * step <= high + step * 0.01; k++) made.push({ at: k * step, text: figure((k * step).toFixed(Math.min(digits, 12))) });
  return made;
}
function figure(text) { return text.replace(/^-(?=0*\.?0*$)/, '').replace('-', '\u2212'); }
// A value as read off a picture: three figures are more than an eye can take from it.
function reading(value, span) {
  if (!Number.isFinite(value)) return 'none';
  return figure(value.toFixed(Math.min(12, Math.max(0, 2 - Math.floor(Math.log10(span || 1) + 1e-9)))));
}

// WCAG relative luminance and contrast; `legible` moves a colour toward black (or white, on a dark page) until it can be read.
function rgb(colour) {
  const hex = /^#(..)(..)(..)$/.exec(colour);
  return hex ? hex.slice(1).map(part => parseInt(part, 16)) : (colour.match(/[\d.]+/g) || [255, 255, 255]).slice(0, 3).map(Number);
}
function luminance(parts) {
  const [r, g, b] = parts.map(part => { const s = part / 255; return s <= 0.04045 ? s / 12.92 : ((s + 0.055) / 1.055) ** 2.4; });
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}
function legible(colour, ground, least) {
  const back = luminance(ground), start = rgb(colour), end = back > 0.18 ? 0 : 255;
  for (let part = 0; part <= 1; part += 0.05) {
    const mixed = start.map(value => Math.round(value + part * (end - value))), own = luminance(mixed);
    if ((Math.max(own, back) + 0.05) / (Math.min(own, back) + 0.05) >= least) return `rgb(${mixed.join(', ')})`;
  }
  return end ? '#fff' : '#000';
}
function ground(element) {
  const colour = getComputedStyle(element).backgroundColor;
  return /^rgba\(.*, 0\)$|transparent/.test(colour) ? [255, 255, 255] : rgb(colour);
}

// Moves boxes [{want, size}] (centres) apart so that none overlap, each group staying round the mean of where it wanted to be.
function spread(boxes, low, high) {
  const order = boxes.map((box, place) => ({ ...box, place })).sort((a, b) => a.want - b.want || a.place - b.place);
  const groups = [];
  for (const box of order) {
    groups.push({ boxes: [box], size: box.size, sum: box.want - box.size / 2 });
    for (;;) {
      const last = groups.at(-1), top = Math.max(low, Math.min(high - last.size, last.sum / last.boxes.length));
      last.top = top;
      const before = groups.at(-2);
      if (!before || before.top + before.size <= top + 1e-6) break;
      groups.pop();
      // Every box of the lower group now starts below the upper one: its wish for the group's top is that much higher.
      before.sum += last.sum - last.boxes.length * before.size;
      before.size += last.size;
      before.boxes.push(...last.boxes);
    }
  }
  const centres = [];
  for (const group of groups) {
    let top = group.top;
    for (const box of group.boxes) { centres[box.place] = top + box.size / 2; top += box.size; }
  }
  return centres;
}

// The frame round every picture: stage, message of failure, words for screen readers, redrawing on change, resize and theme.
function mount(model, el, draw) {
  const root = html('div', { class: 'cl-drawing' }, el);
  const stage = html('div', { class: 'cl-stage' }, root);
  const failure = html('div', { class: 'cl-failure', role: 'alert' }, root);
  const live = html('div', { class: 'cl-live', 'aria-live': 'polite' }, root);
  const readout = html('div', { class: 'cl-readout', 'aria-hidden': 'true', hidden: '' }, stage);
  settle(el);
  const part = { root, stage, live, readout };
  saving(part, model);
  let told = '';
  function say(message) { if (told !== message) { told = message; failure.textContent = message; } root.classList.toggle('cl-failed', Boolean(message)); }
  function update() {
    stage.style.minHeight = `${model.get('height')}px`;
    if (!root.isConnected || !root.clientWidth) return;     // not on the page yet: the resize observer calls again
    let problem = model.get('problem');
    failure.setAttribute('role', model.get('waits') ? 'status' : 'alert');
    failure.classList.toggle('cl-waits', Boolean(model.get('waits')));
    try {
      if (!problem && model.get('revision')) draw(part);
    } catch (error) {                                       // old numbers must not stay as if they were the answer
      problem = `This picture could not be drawn: ${error.message}`;
    }
    failed(problem);
    root.dataset.revision = model.get('revision');
  }
  function failed(problem) {
    say(problem);
    for (const image of stage.querySelectorAll('svg[role=img]')) if (problem) image.setAttribute('aria-hidden', 'true'); else image.removeAttribute('aria-hidden');
    for (const reader of root.querySelectorAll('input, button')) reader.disabled = Boolean(problem);
    if (problem) { live.textContent = ''; readout.hidden = true; }
  }
  part.fail = error => failed(`This picture could not be drawn: ${error.message}`);
  const resized = new ResizeObserver(update), themed = new MutationObserver(update);
  resized.observe(root);
  themed.observe(document.body, { attributes: true, attributeFilter: ['data-jp-theme-light', 'data-jp-theme-name'] });
  model.on('change:revision change:height', update);
  return { part, update, stop() { resized.disconnect(); themed.disconnect(); model.off('change:revision change:height', update); } };
}

// A native range input laid invisibly over an axis: arrow keys move the cross-hair, and a screen reader says where it is.
function reader(stage, name, moved, left) {
  const input = html('input', { type: 'range', class: 'cl-reader', min: 0, max: 100, step: 1, value: 50, 'aria-label': name, 'data-lm-suppress-shortcuts': 'true' }, stage);
  for (const event of ['input', 'focus']) input.addEventListener(event, () => moved(+input.value / 100));
  input.addEventListener('blur', left);
  input.addEventListener('keydown', event => { if (event.key === 'Escape') left(); });
  return input;
}

// Puts the box with the values beside the cross-hair, on the side with more room.
function place(readout, x, y, wide, high) {
  readout.hidden = false;
  const own = readout.getBoundingClientRect();
  readout.style.left = `${Math.max(0, x > wide / 2 ? x - own.width - 12 : Math.min(x + 12, wide - own.width))}px`;
  readout.style.top = `${Math.max(0, Math.min(y, high - own.height))}px`;
}

// -- taking a picture away ----------------------------------------------------------------------------------------------
// Under every picture: its drawing as SVG or PNG and its numbers as CSV, with what it shows, what was assumed and the version.
// A view gives `part.numbers()`: rows of the table, heads first; and, where colours mean something, `part.legend()`: { words, stops }.
const DRESS = ['fill', 'fill-opacity', 'stroke', 'stroke-width', 'stroke-opacity', 'stroke-dasharray', 'stroke-linejoin', 'stroke-linecap', 'paint-order', 'opacity', 'visibility', 'font-family', 'font-size', 'font-weight', 'text-anchor'];
const MARGIN = 16, SMALL = `12px ${FONT}`;
function saving(part, model) {
  const box = html('details', { class: 'cl-save' }, part.root), name = html('summary', {}, box);
  name.textContent = 'Save picture';
  name.setAttribute('data-lm-suppress-shortcuts', 'true');
  const failed = html('span', { role: 'status' });
  for (const [sort, act] of [['SVG', () => hand('svg', 'image/svg+xml', dressedPicture(part, said()))], ['PNG', pixels], ['CSV', () => hand('csv', 'text/csv', table())]]) {
    const button = html('button', { type: 'button', 'aria-label': `Save as ${sort}`, 'data-lm-suppress-shortcuts': 'true' }, box);
    button.textContent = sort;
    button.addEventListener('click', async () => {
      failed.textContent = '';
      try { await act(); } catch (error) { failed.textContent = `This picture could not be saved: ${error.message}`; }
    });
  }
  box.append(failed);
  const said = () => [part.stage.querySelector('svg[role=img]')?.getAttribute('aria-label') || model.get('meta')?.summary || '', model.get('caption') || ''].filter(Boolean);
  function hand(end, type, content) {
    const stem = said()[0].toLowerCase().replace(/[^a-z0-9]+/g, '-').replace(/^-|-$/g, '').slice(0, 48).replace(/-$/, '') || 'picture';
    const address = URL.createObjectURL(content instanceof Blob ? content : new Blob([content], { type: `${type};charset=utf-8` }));
    const link = html('a', { href: address, download: `${stem}.${end}` }, box);
    link.click(); link.remove();
    setTimeout(() => URL.revokeObjectURL(address), 60000);
  }
  async function pixels() {
    const drawn = dressedPicture(part, said()), image = new Image(), canvas = document.createElement('canvas');
    image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(drawn)}`;
    await image.decode();
    canvas.width = 2 * image.width; canvas.height = 2 * image.height;
    canvas.getContext('2d').drawImage(image, 0, 0, canvas.width, canvas.height);
    hand('png', 'image/png', await new Promise((done, fail) => canvas.toBlob(blob => (blob ? done(blob) : fail(new Error('it is too large'))), 'image/png')));
  }
  function table() {
    const cell = value => (typeof value === 'number' ? (Number.isFinite(value) ? String(+value.toPrecision(7)) : '') : /[",\n]/.test(value) ? `"${value.replaceAll('"', '""')}"` : value);
    return [...said().map(words => `# ${words.replace(/\s+/g, ' ')}`), ...part.numbers().map(row => row.map(cell).join(','))].join('\n') + '\n';
  }
}

// The picture as it stands, in one SVG that needs no style sheet: what is drawn, the key of its colours, and the words under it.
function dressedPicture(part, said) {
  const bounds = part.stage.getBoundingClientRect(), W = part.stage.clientWidth, zoom = bounds.width / W || 1, back = ground(part.root), ink = getComputedStyle(part.root).color;
  const outer = svg('svg', { xmlns: 'http://www.w3.org/2000/svg' }), body = svg('g', { transform: `translate(${MARGIN} ${MARGIN})` }), title = svg('title', {}, outer);
  title.textContent = said[0] || '';
  const items = [...part.stage.querySelectorAll('canvas, svg')].filter(each => !each.closest('[hidden]')).map(each => {
    const box = each.getBoundingClientRect();
    return { each, width: box.width / zoom, height: box.height / zoom, x: (box.left - bounds.left) / zoom, y: (box.top - bounds.top) / zoom };
  }).filter(({ width, height }) => width && height);
  let foot = 0, shift = null;                              // what stands between the drawings on the page leaves no gap here
  for (const item of [...items].sort((a, b) => a.y - b.y)) {
    shift = shift === null ? item.y : Math.max(shift, item.y - foot - 14);
    item.y -= shift;
    foot = Math.max(foot, item.y + item.height);
  }
  for (const { each, ...place } of items) {
    if (each.tagName === 'CANVAS') svg('image', { ...place, href: each.toDataURL('image/png'), preserveAspectRatio: 'none' }, body);
    else body.append(dressedCopy(each, place));
  }
  const legend = part.legend?.();
  if (legend) {
    const id = `key-${Math.random().toString(36).slice(2, 8)}`, stops = svg('linearGradient', { id }, svg('defs', {}, body));
    legend.stops.forEach((colour, k) => svg('stop', { offset: k / (legend.stops.length - 1), 'stop-color': colour }, stops));
    svg('rect', { x: 0, y: foot + 8, width: 110, height: 12, fill: `url(#${id})`, stroke: ink }, body);
    words(legend.words, { x: 120, y: foot + 18.5, fill: ink, 'font-size': '12px', 'font-family': FONT }, body);
    foot += 28;
  }
  for (const line of said.flatMap((text, k) => wrap(text, SMALL, W).map(one => [one, k]))) {
    foot += 16;
    words(line[0], { x: 0, y: foot, fill: ink, 'font-size': '12px', 'font-family': FONT, ...(line[1] ? { 'fill-opacity': 0.8 } : { 'font-weight': 600 }) }, body);
  }
  const H = Math.ceil(foot + 2 * MARGIN), wide = Math.ceil(W + 2 * MARGIN);
  for (const [key, value] of [['width', wide], ['height', H], ['viewBox', `0 0 ${wide} ${H}`]]) outer.setAttribute(key, value);
  svg('rect', { width: wide, height: H, fill: `rgb(${back.join(', ')})` }, outer);
  outer.append(body);
  return new XMLSerializer().serializeToString(outer);
}
// A copy with the looks written on every element, because the style sheet stays behind.
function dressedCopy(original, more) {
  const copy = original.cloneNode(true), from = [original, ...original.querySelectorAll('*')], to = [copy, ...copy.querySelectorAll('*')];
  from.forEach((each, k) => {
    const looks = getComputedStyle(each);
    for (const name of DRESS) { const value = looks.getPropertyValue(name); if (value) to[k].setAttribute(name, value); }
    for (const name of ['class', 'style', 'role', 'aria-label', 'aria-hidden']) to[k].removeAttribute(name);
  });
  for (const name in more) copy.setAttribute(name, more[name]);
  copy.setAttribute('overflow', 'visible');
  return copy;
}
