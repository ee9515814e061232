// A hand on the shape: stations of a cut are dragged on the drawing, and a piece is cut in two at the place that is touched.
// Only what was wanted is sent, once the hand lets go; the library says what the piece then is, or why it cannot be.
const STEP = 0.1, EIGHTH = 2.54 / 8, APART = 0.5, THINNEST = 0.5, GRIP = 8, THUMB = 22;   // cm, cm (of an inch), cm, cm, px, px

// A length in cm as a ruler in inches says it: "1 3/8".
function eighths(value) {
  let parts = Math.round(value / EIGHTH), of = 8;
  const whole = Math.floor(parts / 8);
  parts -= 8 * whole;
  while (parts && parts % 2 === 0) { parts /= 2; of /= 2; }
  return [whole || !parts ? `${whole}` : '', parts ? `${parts}/${of}` : ''].filter(Boolean).join(' ');
}

function shaping(field, part, change) {
  const layer = svg('svg', { class: 'cl-cut-grips', 'aria-hidden': 'true' }, field);
  const button = html('button', { type: 'button', class: 'cl-cut-split', hidden: '', 'data-lm-suppress-shortcuts': 'true' }, part.stage);
  let split = null;
  // A whole number of mm, in a US batch of eighths of an inch; without what a computer adds behind them.
  const rounded = (value, length) => { const step = length.name.endsWith('mm') ? STEP : EIGHTH; return Math.round(value / step) * step; };
  const metres = (value, length) => Number((rounded(value, length) / 100).toFixed(7));
  const said = (length, value) => (length.name.endsWith('mm') ? `${reading(value * length.factor, 10 * length.factor)} mm` : `${eighths(value)} in`);

  // Grips stand on the upper face of each station; drawn anew whenever the picture is.
  function placed(data, geometry, length) {
    layer.replaceChildren();
    layer.setAttribute('viewBox', `0 0 ${geometry.W} ${geometry.H}`);
    layer.style.height = `${geometry.H}px`;
    data.pieces.forEach((piece, number) => (piece.stations || []).forEach((station, k) => grip(piece, number, k, geometry, length)));
    button.dataset.unit = JSON.stringify(length);
  }
  function grip(piece, number, k, geometry, length) {
    const { scale } = geometry, box = geometry.boxes[number], [at, thick] = piece.stations[k];
    const X = value => box.x + value * scale, Y = value => box.y + box.h - value * scale;
    const own = svg('g', { class: 'cl-cut-grip' }, layer), rod = svg('path', { class: 'cl-cut-rod' }, own), words_ = words('', { class: 'cl-cut-on', 'text-anchor': 'middle' }, own);
    const dot = svg('circle', { r: GRIP, class: 'cl-cut-dot' }, own), thumb = svg('circle', { r: THUMB, fill: 'transparent', class: 'cl-cut-thumb' }, own);
    thumb.dataset.station = `${number} ${k}`;
    const low = k ? piece.stations[k - 1][0] + APART : at, high = !k ? at : k + 1 < piece.stations.length ? piece.stations[k + 1][0] - APART : at + 50;
    let now = { at, thick }, from = null;
    function draw() {
      for (const circle of [dot, thumb]) { circle.setAttribute('cx', X(now.at)); circle.setAttribute('cy', Y(now.thick)); }
      rod.setAttribute('d', from ? `M${X(now.at)} ${Y(0)}V${Y(now.thick)}` : '');
      words_.textContent = from ? `${said(length, now.thick)} thick, ${said(length, now.at)} from the head` : '';
      const half = width(words_.textContent, `600 12.5px ${FONT}`) / 2 + 6;           // clear of the hand, and of both sides of the page
      words_.setAttribute('x', Math.max(half, Math.min(geometry.W - half, X(now.at))));
      words_.setAttribute('y', Y(0) - 8);
    }
    thumb.addEventListener('pointerdown', event => { event.preventDefault(); event.stopPropagation(); thumb.setPointerCapture(event.pointerId); from = [event.clientX, event.clientY]; draw(); });
    thumb.addEventListener('pointermove', event => {
      if (!from) return;
      event.stopPropagation();
      const drawn = geometry.W / layer.getBoundingClientRect().width / scale;         // cm for each pixel of the screen, also where the page is zoomed
      now = { at: rounded(Math.max(low, Math.min(high, at + (event.clientX - from[0]) * drawn)), length), thick: rounded(Math.max(THINNEST, thick - (event.clientY - from[1]) * drawn), length) };
      draw();
    });
    thumb.addEventListener('pointerup', () => {
      if (!from) return;
      from = null; draw();
      if (now.at !== at || now.thick !== thick) change({ piece: number, station: k, at: metres(now.at + piece.head, length), thickness: metres(now.thick, length) });
    });
    thumb.addEventListener('pointercancel', () => { from = null; now = { at, thick }; draw(); });
    draw();
  }

  // The button under the picture cuts at the place that is touched, by pointer or by keys.
  function touched(data, geometry, spot) {
    const piece = data.pieces[spot.piece], at = piece.x[spot.column], length = JSON.parse(button.dataset.unit || 'null');
    split = piece.along && length && at > 1 && at < piece.along - 1 ? { piece: spot.piece, split: metres(at, length) } : null;
    button.hidden = !split;
    if (split) button.textContent = `Cut ${piece.name} in two here, ${said(length, rounded(at, length))} from the head`;
  }
  button.addEventListener('click', () => split && change(split));
  return { placed, touched };
}
