// The inside of the pieces, drawn to scale for any time. Needs page.js, drawing.js, section_reading.js and section_shaping.js before it.
// The kernel sends nodes and readings once for each change of the recipe; which day is shown, and where a finger points, is worked out here.

const FRONT = '#111', LIE = 10, NAME = 22, GUTTER = 34, SAID = 13, NARROW = 480;
const BOLD = `600 12.5px ${FONT}`, GOES_ON = 'dotted side: the meat goes on';

// change: called with what a hand does to the shape on the drawing; null where nothing can be changed.
function sectionView(part, say = () => {}, change = null) {
  // What the page calls by itself is guarded as `update` is: an error takes the numbers away, they do not stay as if they were the answer.
  const guarded = work => (...given) => { try { return work(...given); } catch (error) { stopPlaying(); part.fail(error); } };
  const { stage } = part;
  let meta = null, data = null, made = 0, key = '', frame = 0, touched = { piece: 0, column: 0, row: 0 }, geometry = null, playing = 0, colours = null, looks = null;
  const top = html('div', { class: 'cl-cut-top' }, stage);
  const field = html('div', { class: 'cl-cut-field' }, stage);
  const canvas = html('canvas', { 'aria-hidden': 'true' }, field), brush = canvas.getContext('2d');
  const front = svg('svg', { role: 'img' }, field);
  const hand = change && shaping(field, part, change);
  const keys = html('button', { type: 'button', class: 'cl-cut-keys', 'aria-label': 'Read a place with the arrow keys', 'data-lm-suppress-shortcuts': 'true' }, field);
  const scrub = html('div', { class: 'cl-cut-scrub' }, stage);
  const play = html('button', { type: 'button', class: 'cl-cut-play', 'data-lm-suppress-shortcuts': 'true' }, scrub);
  const rail = html('div', { class: 'cl-cut-rail' }, scrub);
  const range = html('input', { type: 'range', step: 'any', min: 0, 'aria-label': 'Day', 'data-lm-suppress-shortcuts': 'true' }, rail);
  const marks = html('div', { class: 'cl-cut-marks', 'aria-hidden': 'true' }, rail);
  const told = html('p', { class: 'cl-cut-told' }, stage);
  // On a narrow page the dials come before the lines, which are folded until somebody asks for them.
  const more = html('details', { class: 'cl-cut-more' }, stage), summary = html('summary', { 'data-lm-suppress-shortcuts': 'true' }, more);
  summary.textContent = 'Lines: through the piece, and over time';
  more.open = (stage.clientWidth || 1000) >= NARROW;
  more.addEventListener('toggle', () => { drawnFor = ''; paint(); });
  const small = html('div', { class: 'cl-cut-small' }, more);
  const depth = svg('svg', { role: 'img' }, small), course = svg('svg', { role: 'img' }, small);
  const table = html('table', { class: 'cl-live' }, stage);

  const quantity = () => meta.quantities.find(each => each.key === key);
  part.legend = () => ({ stops: (HUES[key] || HUES.salt).map(parts => `rgb(${parts.join(',')})`), words: legendWords() });
  // What is seen: every place on the day that is shown, then the courses over all days.
  part.numbers = () => {
    if (meta.sketch) return [[meta.sketch]];
    const { label, unit } = quantity(), rows = [['piece', 'what', 'day', 'x, cm', 'y, cm', `${label}, ${unit}`, 'low', 'high']];
    for (const piece of data.pieces) {
      const own = piece.read[key], [value, low, high] = [own.values, own.low, own.high].map(each => each && now(each, piece.readings));
      piece.x.forEach((x, k) => { const n = piece.node[k]; rows.push([piece.name, 'place', day(), x, piece.y[k], value[n], low ? low[n] : NaN, high ? high[n] : NaN]); });
      for (const { name, parts } of own.courses) data.days.forEach((when, k) => rows.push([piece.name, name, when, NaN, NaN, parts[parts.length > 1 ? 1 : 0][k], parts.length > 1 ? parts[0][k] : NaN, parts.length > 1 ? parts[2][k] : NaN]));
    }
    return rows;
  };
  // Readings of a piece at the frame shown; straight between two times.
  function now(array, count) {
    const times = array.length / count, where = frame / (meta.frames - 1) * (times - 1);     // places are read at fewer times than courses
    const a = Math.min(times - 1, Math.floor(where)), b = Math.min(times - 1, a + 1), t = where - a, made = new Float32Array(count);
    for (let k = 0; k < count; k++) made[k] = array[a * count + k] * (1 - t) + array[b * count + k] * t;
    return made;
  }
  const at = array => now(array, 1)[0];
  const day = () => at(data.days);
  const inHours = () => data.days.at(-1) < 3;
  const dayWords = value => inHours() ? `${reading(value * 24, 24)} h` : `day ${reading(value, 40).replace(/\.?0+$/, '')}`;
  function frameOf(wanted) {
    let k = 0;
    while (k < meta.frames - 2 && data.days[k + 1] < wanted) k++;
    return Math.max(0, Math.min(meta.frames - 1, k + (wanted - data.days[k]) / (data.days[k + 1] - data.days[k] || 1)));
  }
  // The place that has least is the slowest one only while salt goes in: not in a soak, nor after one.
  const marked = value => key === 'temperature' ? Math.max(...value) - Math.min(...value) > 2 : meta.spot && frame <= meta.spot_until + 1e-6;
  const levelNow = own => own.level[Math.min(meta.frames - 1, Math.ceil(frame - 1e-6))];    // it may jump where a stage begins
  const stageNow = lane => (meta.lanes[lane][1].find(([, first, end]) => frame <= end + 1e-6) || meta.lanes[lane][1].at(-1))[0];

  function show(message, buffer) {
    const before = meta, was = before ? day() : 0;
    meta = message; made += 1;
    part.root.classList.toggle('cl-sketch', Boolean(meta.sketch));     // its colours are not those of this batch: no figure may be read off them
    if (meta.sketch) { stopPlaying(); part.readout.hidden = true; part.live.textContent = ''; }
    if (!meta.quantities.some(each => each.key === key)) key = meta.quantities[0].key;
    data = unpacked(message, buffer);
    frame = frameOf(before && before.opens === meta.opens ? was : meta.opens);
    if (!before || touched.piece >= data.pieces.length) touched = { piece: 0, row: 0, column: 0 };
    const piece = data.pieces[touched.piece];
    if (!before) touched = { piece: 0, column: Math.floor(piece.columns / 2), row: Math.floor(piece.rows / 2) };
    touched.column = Math.min(touched.column, piece.columns - 1); touched.row = Math.min(touched.row, piece.rows - 1);
    range.max = meta.frames - 1;
    range.setAttribute('aria-label', inHours() ? 'Hour' : 'Day');
    if (JSON.stringify(before?.quantities.map(q => q.key)) !== JSON.stringify(meta.quantities.map(q => q.key))) choose();
    stagesMarked();
    measure();
  }
  function choose() {
    top.replaceChildren();
    const group = html('div', { role: 'radiogroup', 'aria-label': 'What the colour shows', class: 'cl-cut-choice' }, top);
    for (const each of meta.quantities) {
      const label = html('label', {}, group), input = html('input', { type: 'radio', name: `cl-cut-${part.root.dataset.cut ||= Math.random().toString(36).slice(2)}`, 'data-lm-suppress-shortcuts': 'true' }, label);
      input.checked = each.key === key;
      label.append(each.label);
      input.addEventListener('change', guarded(() => { key = each.key; colours = null; paint(); }));
    }
    html('div', { class: 'cl-cut-legend', 'aria-hidden': 'true' }, top);
  }
  function stagesMarked() {
    marks.replaceChildren();
    for (const [name, stages] of meta.lanes) {
      if (name) html('div', { class: 'cl-cut-lane' }, marks).textContent = name;
      const row = html('div', { class: 'cl-cut-stages' }, marks);
      for (const [words, first, end] of stages) html('span', { style: `left: ${100 * first / (meta.frames - 1)}%; width: ${100 * (end - first) / (meta.frames - 1)}%`, title: words }, row).textContent = words;
    }
  }

  // Where each piece stands, in CSS pixels; made anew when the shape or the width of the page changes.
  function measure() {
    const W = field.clientWidth;
    if (!W || !data) return;
    const between = 46, wide = data.pieces.reduce((sum, piece) => sum + piece.wide, 0), tall = Math.max(...data.pieces.map(piece => piece.high));
    const scale = Math.min((W - between * data.pieces.length) / wide, (meta.height - NAME - LIE - 14) / tall);
    const shape = JSON.stringify([W, scale, data.pieces.map(piece => [piece.rows, piece.columns, piece.wide, piece.high, piece.x[piece.columns + 1], piece.y.at(-2)])]);
    if (geometry?.shape !== shape) {
      const ratio = Math.min(2, window.devicePixelRatio || 1), H = Math.ceil(tall * scale + NAME + LIE + 14);
      let x = Math.max(between - 4, (W - scale * wide - between * (data.pieces.length - 1)) / 2);
      const boxes = data.pieces.map(piece => {
        const box = { x, y: NAME + (tall - piece.high) * scale, w: piece.wide * scale, h: piece.high * scale };
        x += box.w + between;
        const dots = ratio > 1.4 && box.w * box.h > 90000 ? 1 : ratio;
        return { ...box, dots, dot: raster(piece, scale * dots, Math.ceil(box.w * dots), Math.ceil(box.h * dots)) };
      });
      geometry = { shape, W, H, scale, ratio, boxes };
      canvas.width = W * ratio; canvas.height = H * ratio;
      canvas.style.width = `${W}px`; canvas.style.height = `${H}px`;
      front.setAttribute('viewBox', `0 0 ${W} ${H}`); front.style.height = `${H}px`;
      geometry.images = boxes.map(box => { const own = document.createElement('canvas'); own.width = box.dot.W; own.height = box.dot.H; return own; });
    }
    paint();
    hand?.placed(data, geometry, meta.length);
    hand?.touched(data, geometry, touched);
  }

  function paint() {
    if (!geometry || !data) return;
    const { key: name, least, most, unit, reached: both } = quantity();
    if (colours?.key !== name) colours = { key: name, table: hues(name) };
    // Read before anything is written: the browser would lay the page out once more for each look at it afterwards.
    looks = { ground: ground(part.root), ink: getComputedStyle(part.root).color, wide: new Map([depth, course].map(each => [each, each.clientWidth || 300])) };
    legend();
    brush.setTransform(1, 0, 0, 1, 0, 0);
    brush.clearRect(0, 0, canvas.width, canvas.height);
    front.replaceChildren();
    cross();
    const sentences = [];
    let ringed = false;                                       // the ring is named once
    data.pieces.forEach((piece, number) => {
      const said = [];                                        // baselines of what has been named in this piece
      const box = geometry.boxes[number], own = piece.read[name], value = now(own.values, piece.readings), level = levelNow(own);
      const doubt = own.low && Number.isFinite(level) ? (() => { const low = now(own.low, piece.readings), high = now(own.high, piece.readings); return Float32Array.from(low, (v, k) => (v < level && high[k] >= level ? 1 : 0)); })() : null;
      fill(piece, box, value, doubt, least, most, geometry.images[number]);
      brush.setTransform(geometry.ratio, 0, 0, geometry.ratio, 0, 0);
      brush.drawImage(geometry.images[number], box.x, box.y, box.w, box.h);
      outline(piece, box);
      const place = px => [box.x + px[0] * geometry.scale, box.y + px[1] * geometry.scale];
      const reached = both.split('|').at(Number.isFinite(level) && value[piece.node[outer(piece)]] < level ? -1 : 0);
      let named = null;                                     // where the line is named: a quarter of the way along, clear of the hair line
      if (Number.isFinite(level)) {
        const wanted = box.x + box.w / 4;
        const d = contour(piece, value, level).map(ends => {
          const [m, n] = ends.map(place);
          if (!named || Math.abs(m[0] - wanted) + 0.2 * m[1] < Math.abs(named[0] - wanted) + 0.2 * named[1]) named = m;
          return `M${m[0].toFixed(1)} ${m[1].toFixed(1)}L${n[0].toFixed(1)} ${n[1].toFixed(1)}`;
        }).join('');
        if (d) {
          svg('path', { d, stroke: '#000', 'stroke-width': 4, fill: 'none', 'stroke-linecap': 'round' }, front);
          svg('path', { d, stroke: '#fff', 'stroke-width': 2, fill: 'none', 'stroke-dasharray': '7 3' }, front);
          if (reached && width(reached, BOLD) < box.w - 16) said.push(nameLine(piece, box, value, level, reached, named, both.includes('|') && reached !== both.split('|')[0]));
        }
      }
      if (marked(value)) {
        const spot = slowest(piece, value, key === 'temperature'), [sx, sy] = place([piece.x[spot], piece.y[spot]]);
        svg('circle', { cx: sx, cy: sy, r: 5, fill: '#fff', stroke: '#000', 'stroke-width': 2 }, front);
        svg('circle', { cx: sx, cy: sy, r: 1.6, fill: '#000' }, front);
        if (!ringed) nameRing(own.courses.at(-1).name, box, sx, sy, said);
        ringed = true;
      }
      const line = [meta.lanes.length > 1 ? `${piece.name}, ${stageNow(piece.lane)}` : piece.name, ...own.courses.map(each => `${each.name} ${reading(at(each.parts.length > 1 ? each.parts[1] : each.parts[0]), most)}`)];
      sentences.push(`${line[0]}: ${line.slice(1).join(', ')} ${unit}`);
    });
    const head = `${dayWords(day())}${meta.lanes.length > 1 ? '' : `, ${stageNow(0)}`}. `;
    const text = head[0].toUpperCase() + head.slice(1) + (meta.sketch || sentences.map(s => s[0].toUpperCase() + s.slice(1)).join('. ') + '.');
    told.textContent = text;
    front.setAttribute('aria-label', text);
    range.value = frame;
    range.setAttribute('aria-valuetext', text);
    play.textContent = playing ? '❚❚' : '▶';
    play.setAttribute('aria-label', playing ? 'Stop playing' : `Play the ${inHours() ? 'hours' : 'days'}`);
    if (!meta.sketch) { profile(); courses(); }
    say({ key, day: day() });
  }

  function fill(piece, box, value, doubt, least, most, image) {
    const { corner, weight, W, H } = box.dot, pen = image.getContext('2d'), picture = pen.createImageData(W, H), dots = new Uint32Array(picture.data.buffer);
    const { node } = piece, table = colours.table, step = Math.max(4, Math.round(7 * box.dots));
    for (let k = 0, at = 0; k < W * H; k++, at += 4) {
      if (corner[at] < 0) continue;
      const a = node[corner[at]], b = node[corner[at + 1]], c = node[corner[at + 2]], d = node[corner[at + 3]];
      const v = weight[at] * value[a] + weight[at + 1] * value[b] + weight[at + 2] * value[c] + weight[at + 3] * value[d];
      const share = (v - least) / (most - least);
      let colour = table[Math.max(0, Math.min(255, Math.round(255 * share)))];
      if (doubt && (k % W + Math.floor(k / W)) % step < box.dots && weight[at] * doubt[a] + weight[at + 1] * doubt[b] + weight[at + 2] * doubt[c] + weight[at + 3] * doubt[d] > 0.5) {
        colour = share > 0.45 ? 0xffffffff : 0xff303030;
      }
      dots[k] = colour;
    }
    pen.putImageData(picture, 0, 0);
  }

  // The line's name stands on the side of it that is meant, clear of the name of the piece. Gives its baseline.
  function nameLine(piece, box, value, level, name, [x, y], below) {
    const wide = width(name, BOLD), meant = dy => { const { row, column } = nearestNode(piece, (x - box.x) / geometry.scale, (y + dy - box.y) / geometry.scale); return (value[piece.node[row * piece.columns + column]] < level) === below; };
    const up = meant(-9) && !(meant(9) && y + 22 < box.y + box.h), base = up ? y - 6 : y + 17;
    const after = base - 12 < box.y ? box.x + width(piece.name, `600 13px ${FONT}`) + 10 : box.x + 6;
    words(name, { x: Math.min(Math.max(box.x + 6, box.x + box.w - 6 - wide), Math.max(after, x)), y: base, class: 'cl-cut-on' }, front);
    return base;
  }
  // Beside the ring, or over or under it where there is no room.
  function nameRing(name, box, x, y, said) {
    const wide = width(name, BOLD), right = x + 10 + wide < box.x + box.w - 4, free = base => said.every(other => Math.abs(base - other) > 14);
    const base = [...(right ? [y + 4.5] : []), y + 21, y - 11].find(free);
    if (base === undefined || wide > box.w - 8) return;
    const at = base === y + 4.5 ? x + 10 : Math.max(box.x + 4, Math.min(box.x + box.w - 4 - wide, x - wide / 2));
    words(name, { x: at, y: base, class: 'cl-cut-on' }, front);
  }

  // A node at the outside: of the upper face in its middle, of a round piece on its skin.
  const outer = piece => (piece.open ? 0 : piece.rows - 1) * piece.columns + Math.floor((piece.columns - 1) / 2);
  function outline(piece, box) {
    const { x, y, rows, columns } = piece, S = geometry.scale, p = k => `${(box.x + x[k] * S).toFixed(1)} ${(box.y + y[k] * S).toFixed(1)}`;
    const along = r => Array.from({ length: columns }, (_, c) => p(r * columns + c)).join('L'), side = c => Array.from({ length: rows }, (_, r) => p(r * columns + c)).join('L');
    const ink = { fill: 'none', stroke: 'currentColor', 'stroke-width': 2 };
    svg('path', { ...ink, d: `M${along(rows - 1)}` }, front);
    if (piece.open) { svg('path', { ...ink, d: `M${along(0)}` }, front); for (const c of [0, columns - 1]) svg('path', { ...ink, d: `M${side(c)}`, ...(piece.ends ? { 'stroke-dasharray': '2 5', 'stroke-width': 1.5 } : {}) }, front); }
    let from = -1;
    for (let r = 0; r <= rows; r++) {                     // the fat, tinted and named: from the row before it to the row after it
      if (r < rows && piece.fat[r] && from < 0) from = r;
      if (from >= 0 && (r === rows || !piece.fat[r])) {
        const first = Math.max(0, from - 1), last = Math.min(rows - 1, r);
        const back = Array.from({ length: columns }, (_, c) => p(last * columns + columns - 1 - c)).join('L');
        svg('path', { d: `M${along(first)}L${back}Z`, fill: '#f3e2b3', 'fill-opacity': 0.8, stroke: 'currentColor', 'stroke-opacity': 0.4 }, front);
        const deep = Array.from({ length: columns }, (_, c) => (y[last * columns + c] - y[first * columns + c]) * S), most = deep.indexOf(Math.max(...deep));
        if (deep[most] > 11) words('fat', { x: box.x + x[first * columns + most] * S + 6, y: box.y + y[first * columns + most] * S + deep[most] / 2 + 4, class: 'cl-cut-ink' }, front);
        from = -1;
      }
    }
    for (let from = 0, r = 0; from < rows; from = Math.max(r, from + 1)) {   // a seam, tinted where it is: rows of the same fat together
      const inside = c => { for (let q = from; q < r; q++) if (piece.seam[q * columns + c]) return true; return false; };
      for (r = from; r < rows && Array.from({ length: columns }, (_, c) => piece.seam[r * columns + c]).some(Boolean);) r++;
      for (let c = 0, begin = -1; c <= columns && r > from; c++) {
        if (c < columns && inside(c) && begin < 0) begin = c;
        if (begin < 0 || (c < columns && inside(c))) continue;
        const top = Math.max(0, from - 1), foot = Math.min(rows - 1, r), wide = c - begin;
        const over = Array.from({ length: wide }, (_, n) => p(top * columns + begin + n)).join('L'), under = Array.from({ length: wide }, (_, n) => p(foot * columns + c - 1 - n)).join('L');
        if (wide > 1) svg('path', { d: `M${over}L${under}Z`, class: 'cl-cut-seam', fill: '#f3e2b3', 'fill-opacity': 0.8, stroke: 'currentColor', 'stroke-opacity': 0.4 }, front);
        begin = -1;
      }
    }
    if (piece.lying) { const f = box.y + box.h + 4; svg('path', { d: `M${box.x - 6} ${f}H${box.x + box.w + 6}`, stroke: 'currentColor', 'stroke-width': 3 }, front); }
    words(piece.name, { x: box.x, y: box.y - 7, class: 'cl-cut-name' }, front);
    if (piece.ends && piece === data.pieces.findLast(each => each.ends)) {
      const right = box.x + box.w;
      words(GOES_ON, right > width(GOES_ON, `12px ${FONT}`) ? { x: right, y: box.y + box.h + 21, 'text-anchor': 'end', class: 'cl-tick' } : { x: 2, y: box.y + box.h + 21, class: 'cl-tick' }, front);
    }
    if (box.h > 24) {
      svg('path', { d: `M${box.x - 12} ${box.y}h6m-3 0V${box.y + box.h}m-3 0h6`, stroke: 'currentColor', fill: 'none', 'stroke-opacity': 0.7 }, front);
      words(box.h > width(`${piece.thickness} thick`, `13px ${FONT}`) ? `${piece.thickness} thick` : piece.thickness, { transform: `translate(${box.x - 16} ${box.y + box.h / 2}) rotate(-90)`, 'text-anchor': 'middle' }, front);
    }
  }

  let legendFor = '';
  const doubted = () => meta.pieces.some(piece => piece.banded.includes(key));
  // The darkest colour is for as much as nearly all places hold; what holds more is as dark.
  function endWords() { const { most, top, unit } = quantity(); return `${+most.toPrecision(3)} ${unit}${top > most ? ' or more' : ''}`; }
  function legendWords() {
    return `${quantity().least} to ${endWords()}${doubted() ? `; ${meta.doubt}` : ''}`;
  }
  function legend() {
    const what = [made, key].join();
    if (what === legendFor) return;
    legendFor = what;
    const { least } = quantity(), own = top.querySelector('.cl-cut-legend');
    const stops = (HUES[key] || HUES.salt).map(parts => `rgb(${parts.join(',')})`).join(', ');
    own.innerHTML = '';
    html('span', {}, own).textContent = `${least}`;
    html('i', { style: `background: linear-gradient(90deg, ${stops})` }, own);
    html('span', {}, own).textContent = endWords();
    if (doubted()) html('span', { class: 'cl-cut-hatch' }, own).textContent = meta.doubt;
  }

  function cross() {
    const piece = data.pieces[touched.piece], box = geometry.boxes[touched.piece], k = touched.row * piece.columns + touched.column;
    const x = box.x + piece.x[k] * geometry.scale;
    if (piece.open) svg('path', { d: `M${x} ${box.y}V${box.y + box.h}`, stroke: '#fff', 'stroke-width': 3, 'stroke-opacity': 0.85 }, front), svg('path', { d: `M${x} ${box.y}V${box.y + box.h}`, stroke: FRONT, 'stroke-width': 1 }, front);
    else { const a = piece.columns * (piece.rows - 1) + touched.column; svg('path', { d: `M${box.x + piece.x[touched.column] * geometry.scale} ${box.y + piece.y[touched.column] * geometry.scale}L${box.x + piece.x[a] * geometry.scale} ${box.y + piece.y[a] * geometry.scale}`, stroke: FRONT, 'stroke-width': 1 }, front); }
  }

  // The values along the column that is touched, from the first face down; and two courses over the days, with the day that is shown.
  function profile() {
    const piece = data.pieces[touched.piece], own = piece.read[key], c = touched.column, value = now(own.values, piece.readings);
    const k = r => r * piece.columns + c, along = [0];
    for (let r = 1; r < piece.rows; r++) along.push(along[r - 1] + Math.hypot(piece.x[k(r)] - piece.x[k(r - 1)], piece.y[k(r)] - piece.y[k(r - 1)]));
    const pick = array => Array.from({ length: piece.rows }, (_, r) => array[piece.node[k(r)]]);
    const band = own.low ? [pick(now(own.low, piece.readings)), pick(now(own.high, piece.readings))] : null, level = levelNow(own);
    const unit = meta.length, from = piece.open ? 'from the upper face' : 'from the middle';
    chart(depth, `Here, ${from}`, along.map(each => each * unit.factor), [{ y: pick(value), band, dash: '' }], `${unit.name}`, level);
    depth.setAttribute('aria-label', `${piece.name}, where the picture is touched: ${quantity().label} ${from}, ${pick(value).filter((_, r) => r % Math.ceil(piece.rows / 6) === 0).map(v => reading(v, quantity().most)).join(', ')} ${quantity().unit}`);
  }
  // Drawn anew only when something other than the day has changed; else its line alone moves.
  let drawnFor = '', markLine = null;
  function courses() {
    const piece = data.pieces[touched.piece], own = piece.read[key], size = inHours() ? 24 : 1, unit = inHours() ? 'hour' : 'day', what = [made, key, touched.piece, looks.wide.get(course), looks.ink].join();
    if (what === drawnFor) { markLine.at(size * day()); return; }
    drawnFor = what;
    const lines = own.courses.map((each, k) => ({ y: [...(each.parts.length > 1 ? each.parts[1] : each.parts[0])], band: each.parts.length > 1 ? [[...each.parts[0]], [...each.parts[2]]] : null, dash: k ? '6 4' : '', colour: k ? looks.ink : null, name: each.name }));
    const constant = own.level.every(value => value === own.level[0]);
    markLine = chart(course, `${piece.name} over the ${unit}s`, [...data.days].map(value => size * value), lines, `${unit}s`, constant ? own.level[0] : Infinity, size * day());
    course.setAttribute('aria-label', `${piece.name} over the ${unit}s: ${quantity().label}, ${quantity().unit}, at the end ${lines.map(line => `${line.name} ${reading(line.y.at(-1), quantity().most)}`).join(', ')}. The table after it has more.`);
    table.replaceChildren();
    html('caption', {}, table).textContent = `${piece.name}: ${quantity().label}, ${quantity().unit}`;
    const head = html('tr', {}, table);
    for (const name of [unit, ...own.courses.map(each => each.name)]) html('th', {}, head).textContent = name;
    const step = Math.max(1, Math.round(meta.frames / 12));
    for (let f = 0; f < meta.frames; f += step) {
      const row = html('tr', {}, table);
      for (const v of [size * data.days[f], ...lines.map(line => line.y[f])]) html('td', {}, row).textContent = reading(v, 10);
    }
  }
  function chart(target, title, xs, lines, x_label, level, mark = null) {
    const W = looks.wide.get(target), H = 162, left = 40, head = 34, foot = 30;
    // The names of the lines stand behind their ends, in room of their own, so that they cover none.
    const font = `600 12.5px ${FONT}`, right = 12 + Math.max(0, ...lines.map(each => each.name ? width(each.name, font) + 4 : 0)), w = W - left - right, h = H - head - foot, { least, top: most, label, unit } = quantity();
    const low = xs[0], high = Math.max(xs.at(-1), low + 1e-9);
    const X = x => left + w * (x - low) / (high - low), Y = y => head + h * (1 - (Math.max(least, Math.min(y, most)) - least) / (most - least));
    target.replaceChildren();
    target.setAttribute('viewBox', `0 0 ${W} ${H}`); target.style.height = `${H}px`;
    words(title[0].toUpperCase() + title.slice(1), { x: left, y: SAID, class: 'cl-name' }, target);
    words(`${label}, ${unit}`, { x: left, y: SAID + 15, class: 'cl-tick' }, target);
    for (const tick of ticks(least, most, 3)) { svg('path', { d: `M${left} ${Y(tick.at)}h${w}`, class: 'cl-grid' }, target); words(tick.text, { x: left - 6, y: Y(tick.at) + 4, 'text-anchor': 'end', class: 'cl-tick' }, target); }
    for (const tick of ticks(low, high, Math.max(2, w / 60))) words(tick.text, { x: X(tick.at), y: head + h + 14, 'text-anchor': 'middle', class: 'cl-tick' }, target);
    words(x_label, { x: left + w, y: H - 2, 'text-anchor': 'end', class: 'cl-tick' }, target);
    const colour = legible(INKS[key] || INKS.salt, looks.ground, 3);
    const inked = each => (each.colour ? legible(each.colour, looks.ground, 3) : colour);
    for (const each of lines) if (each.band) svg('path', { d: `M${xs.map((x, k) => `${X(x).toFixed(1)} ${Y(each.band[0][k]).toFixed(1)}`).join('L')}L${xs.map((x, k) => `${X(x).toFixed(1)} ${Y(each.band[1][k]).toFixed(1)}`).reverse().join('L')}Z`, fill: inked(each), 'fill-opacity': luminance(looks.ground) < 0.18 ? 0.34 : 0.15 }, target);
    if (Number.isFinite(level) && level > least && level < most) {
      svg('path', { d: `M${left} ${Y(level)}h${w}`, class: 'cl-mark', 'stroke-dasharray': '1.5 3.5' }, target);
    }
    const line = mark === null ? null : svg('path', { class: 'cl-mark' }, target), moved = { at(x) { line.setAttribute('d', `M${X(x).toFixed(1)} ${head}v${h}`); } };
    if (line) moved.at(mark);
    const ends = [], named = Number.isFinite(level) && level > least && level < most ? quantity().reached.split('|')[0].replace(/ to here$/, '') : '';
    for (const each of lines) {
      svg('path', { d: `M${xs.map((x, k) => `${X(x).toFixed(1)} ${Y(each.y[k]).toFixed(1)}`).join('L')}`, fill: 'none', stroke: inked(each), 'stroke-width': 2, 'stroke-dasharray': each.dash }, target);
      if (each.name) ends.push({ want: Y(each.y.at(-1)), size: 15, name: each.name, colour: inked(each) });
    }
    if (named) {                                             // at the end of the dotted line, over or under it, that is farthest from every other line
      const wide = width(named, `12px ${FONT}`), places = [[left + w - 2 - wide, -9], [left + w - 2 - wide, 10], [left + 4, -9], [left + 4, 10]];
      const gap = ([x, dy]) => Math.min(...lines.flatMap(each => xs.flatMap((at, k) => (X(at) > x - 6 && X(at) < x + wide + 6 ? [Math.abs(Y(each.y[k]) - Y(level) - dy)] : []))));
      const [x, dy] = places.reduce((best, each) => (gap(each) > gap(best) + 4 ? each : best));
      words(named, { x, y: Y(level) + dy + 4, class: 'cl-tick cl-halo' }, target);
    }
    spread(ends, head, head + h).forEach((y, k) => words(ends[k].name, { x: left + w + 6, y: y + 4, class: 'cl-word cl-halo', style: `fill: ${legible(ends[k].colour, looks.ground, 4.5)}` }, target));
    return moved;
  }

  function to(value) { frame = Math.max(0, Math.min(meta.frames - 1, value)); paint(); }
  range.addEventListener('input', guarded(() => { stopPlaying(); to(+range.value); }));
  range.addEventListener('keydown', guarded(event => {
    const step = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 8, PageDown: -8 }[event.key];
    if (step) { event.preventDefault(); stopPlaying(); to(Math.round(frame) + step); }
  }));
  function stopPlaying() { cancelAnimationFrame(playing); playing = 0; }
  play.addEventListener('click', guarded(() => {
    if (playing) { stopPlaying(); paint(); return; }
    if (frame >= meta.frames - 1) frame = 0;
    let before = performance.now();
    const go = guarded(time => {
      if (part.root.classList.contains('cl-failed')) { playing = 0; return; }
      frame += Math.max(0, time - before) / 1000 * (meta.frames - 1) / 10;      // all of it in ten seconds; the first call may tell a time before the press
      before = time;
      if (frame >= meta.frames - 1) { frame = meta.frames - 1; playing = 0; } else playing = requestAnimationFrame(go);
      paint();
    });
    playing = requestAnimationFrame(go);
  }));
  function touch(event) {
    if (!geometry || !data || meta.sketch || part.root.classList.contains('cl-failed')) return;
    const frameBox = front.getBoundingClientRect(), drawn = geometry.W / frameBox.width;             // less than 1 where the picture is zoomed
    const X = (event.clientX - frameBox.left) * drawn, Y = (event.clientY - frameBox.top) * drawn;
    const number = geometry.boxes.findIndex(box => X >= box.x && X <= box.x + box.w && Y >= box.y && Y <= box.y + box.h);
    if (number < 0) return;
    const box = geometry.boxes[number], piece = data.pieces[number], cx = (X - box.x) / geometry.scale, cy = (Y - box.y) / geometry.scale;
    here({ piece: number, ...nearestNode(piece, cx, cy) });
  }
  function here(spot) {
    touched = spot;
    paint();
    hand?.touched(data, geometry, touched);
    const piece = data.pieces[spot.piece], own = piece.read[key], k = spot.row * piece.columns + spot.column, value = now(own.values, piece.readings)[piece.node[k]];
    const { most, unit, label } = quantity(), box = geometry.boxes[spot.piece];
    const band = own.low ? ` (${reading(now(own.low, piece.readings)[piece.node[k]], most)} to ${reading(now(own.high, piece.readings)[piece.node[k]], most)})` : '';
    const deep = `${reading(Math.min(piece.y[k], piece.high - piece.y[k]) * meta.length.factor, 10)} ${meta.length.name.split(', ').at(-1)} deep`;
    part.readout.textContent = `${piece.name}, ${deep}: ${label} ${reading(value, most)}${band} ${unit}`;
    place(part.readout, box.x + piece.x[k] * geometry.scale, field.offsetTop + box.y + piece.y[k] * geometry.scale, geometry.W, field.offsetTop + geometry.H);
    part.live.textContent = part.readout.textContent;
  }
  front.addEventListener('pointermove', guarded(touch));
  front.addEventListener('pointerdown', guarded(touch));
  front.addEventListener('pointerleave', event => { if (event.pointerType !== 'touch') part.readout.hidden = true; });
  keys.addEventListener('keydown', guarded(event => {
    const piece = data?.pieces[touched.piece], move = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] }[event.key];
    if (event.key === 'Escape') { part.readout.hidden = true; return; }
    if (!move || !piece || meta.sketch) return;
    event.preventDefault();
    let { piece: number, row, column } = touched;
    row = Math.max(0, Math.min(piece.rows - 1, row + move[0])); column += move[1];
    if (column < 0 || column >= piece.columns) { number = (number + data.pieces.length + Math.sign(column || -1)) % data.pieces.length; column = column < 0 ? data.pieces[number].columns - 1 : 0; row = Math.min(row, data.pieces[number].rows - 1); }
    here({ piece: number, row, column });
  }));
  keys.addEventListener('blur', () => { part.readout.hidden = true; });
  return { show, measure, stop: stopPlaying };
}
