const ROW = 15, LABEL = `600 12.5px ${FONT}`, FOOT = 42, THICK = 18;

// Words in lines that are never wider than `limit`: between words where that is possible, within one where it is not.
function fitted(text, limit) {
  return wrap(text, LABEL, limit).flatMap(line => {
    const made = [''];
    for (const letter of line) if (made.at(-1) && width(made.at(-1) + letter, LABEL) > limit) made.push(letter); else made[made.length - 1] += letter;
    return made;
  });
}

function render({ model, el }) {
  const { part, update, stop } = mount(model, el, draw);
  const over = html('p', { class: 'cl-over' }, part.stage);
  const drawn = svg('svg', { role: 'img' }, part.stage);
  const under = html('p', { class: 'cl-under' }, part.stage);
  const hatch = `hatch-${Math.random().toString(36).slice(2, 8)}`;

  part.numbers = () => {
    const { bars, x_label } = model.get('meta'), view = model.get('frame'), all = new Float32Array(view.buffer.slice(view.byteOffset, view.byteOffset + view.byteLength));
    return [['', x_label, 'with others'], ...bars.map((bar, k) => [bar.label, all[2 * k], all[2 * k + 1]])];
  };
  function draw() {
    const meta = model.get('meta'), view = model.get('frame'), bars = meta.bars;
    const numbers = new Float32Array(view.buffer.slice(view.byteOffset, view.byteOffset + view.byteLength));
    over.textContent = meta.sentence;
    under.textContent = meta.note;
    drawn.replaceChildren();
    drawn.style.display = bars.length ? '' : 'none';
    if (!bars.length) return;
    const W = part.root.clientWidth;
    const longest = Math.max(...bars.flatMap(bar => bar.label.split(' ')).map(word => width(word, LABEL)));
    const most = Math.min(300, Math.max(W * 0.4, Math.min(longest, W * 0.42)));
    const named = bars.map(bar => fitted(bar.label, most));
    const left = Math.ceil(Math.max(...named.flat().map(text => width(text, LABEL)))) + 8;
    // As wide as every number still has room at the end of its bar, and the last tick under the axis.
    const room = bars.map((bar, place) => (W - left - width(bar.reading, LABEL) - 12) / Math.max(0.01, numbers[2 * place + 1] / 100));
    const w = Math.max(40, Math.min(W - left - 14, ...room)), across = share => left + w * share / 100;
    const stroke = legible(meta.colour, ground(part.root), 3);
    const lines = svg('g', { 'aria-hidden': 'true' }, drawn), rows = svg('g', {}, drawn);
    const pattern = svg('pattern', { id: hatch, width: 5, height: 5, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)' }, svg('defs', {}, drawn));
    svg('line', { x1: 0, x2: 0, y1: 0, y2: 5, stroke, 'stroke-width': 1.5 }, pattern);

    let y = 4;
    bars.forEach((bar, place) => {
      const high = Math.max(THICK + 8, ROW * named[place].length + 9), middle = y + high / 2, [share, total] = numbers.subarray(2 * place);
      const row = svg('g', {}, rows);
      svg('title', {}, row).textContent = `${bar.label}, ${bar.reading}${bar.remedy ? `: ${bar.remedy}` : ''}`;
      svg('rect', { class: 'cl-hit', x: 0, y, width: W, height: high }, row);
      named[place].forEach((text, line) => words(text, { x: left - 8, y: middle + 4.5 + ROW * (line - (named[place].length - 1) / 2), 'text-anchor': 'end', class: 'cl-word' }, row));
      const box = (from, to, more) => svg('rect', { x: across(from), y: middle - THICK / 2, width: across(to) - across(from), height: THICK, ...more }, row);
      if (total > share) box(share, total, { class: 'cl-total', fill: `url(#${hatch})`, stroke });
      box(0, share, { class: 'cl-bar', fill: stroke });
      const [alone, more] = bar.reading.split(/ (?=\()/), text = words(alone, { x: across(total) + 6, y: middle + 4.5, class: 'cl-word' }, row);
      if (more) svg('tspan', { class: 'cl-plain', dx: 4 }, text).textContent = more;
      y += high;
    });

    const foot = y + 4;
    for (const tick of ticks(0, 100, Math.max(2, Math.min(5, w / 40)))) {
      const x = Math.round(across(tick.at));
      svg('line', { class: 'cl-grid', x1: x, x2: x, y1: 0, y2: foot }, lines);
      svg('line', { class: 'cl-axis', x1: x, x2: x, y1: foot, y2: foot + 4 }, lines);
      words(tick.text, { x, y: foot + 18, 'text-anchor': 'middle', class: 'cl-tick' }, lines);
    }
    svg('line', { class: 'cl-axis', x1: left, x2: left + w, y1: foot, y2: foot }, lines);
    svg('line', { class: 'cl-axis', x1: left, x2: left, y1: 0, y2: foot }, lines);
    const axis = fitted(meta.x_label, W);
    axis.forEach((text, line) => {
      const half = width(text, LABEL) / 2, x = Math.min(W - half, Math.max(half, left + w / 2));
      words(text, { x, y: foot + 36 + ROW * line, 'text-anchor': 'middle', class: 'cl-name' }, lines);
    });
    const H = foot + FOOT + ROW * (axis.length - 1);
    drawn.setAttribute('viewBox', `0 0 ${W} ${H}`);
    drawn.style.height = `${H}px`;
    drawn.setAttribute('aria-label', meta.summary);
  }
  update();
  return stop;
}
export default { render };
