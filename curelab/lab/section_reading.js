// What is read off a section without drawing it: colours, the arrays of a message, which nodes stand round a dot, a line through the nodes.
// Needs nothing else; section.js paints with it.

// One hue for a quantity, light is little and dark is much: lightness falls evenly, so that it keeps its order in grey print.
const HUES = {
  salt: [[246, 249, 253], [197, 219, 240], [124, 174, 220], [55, 121, 186], [20, 72, 134], [6, 34, 78]],
  'free nitrite': [[254, 247, 242], [252, 215, 192], [245, 160, 120], [214, 96, 52], [150, 52, 20], [84, 22, 4]],
  temperature: [[252, 247, 251], [238, 208, 232], [218, 155, 203], [181, 96, 162], [125, 42, 108], [66, 8, 56]],
};
const INKS = { salt: '#0072B2', 'free nitrite': '#D55E00', temperature: '#A0408C' };
function hues(key) {
  const stops = HUES[key] || HUES.salt;
  return Uint32Array.from({ length: 256 }, (_, i) => {
    const t = i / 255 * (stops.length - 1), k = Math.min(stops.length - 2, Math.floor(t));
    const [r, g, b] = stops[k].map((value, c) => Math.round(value + (t - k) * (stops[k + 1][c] - value)));
    return 255 << 24 | b << 16 | g << 8 | r;
  });
}

// The arrays of a message in the order Python packed them.
function unpacked(meta, buffer) {
  const all = new Float32Array(buffer.slice(0));
  let at = 0;
  const take = count => all.subarray(at, at += count), T = meta.frames;
  const days = take(T);
  const pieces = meta.pieces.map(piece => {
    const nodes = piece.rows * piece.columns;
    const made = { ...piece, x: take(nodes), y: take(nodes), node: Int32Array.from(take(nodes)), fat: take(piece.rows), seam: take(nodes), read: {} };
    for (const { key } of meta.quantities) {
      const own = made.read[key] = { values: take(meta.read * piece.readings) };
      if (piece.banded.includes(key)) { own.low = take(meta.read * piece.readings); own.high = take(meta.read * piece.readings); }
      own.level = take(T);
      own.courses = piece.courses[key].map(([name, count]) => ({ name, parts: Array.from({ length: count }, () => take(T)) }));
    }
    made.wide = Math.max(...made.x); made.high = Math.max(...made.y);
    return made;
  });
  if (at !== all.length) throw new Error(`${all.length - at} numbers too many came from the library`);
  return { days, pieces };
}

// For each dot of a raster of W x H over a piece: the four nodes round it and their weights; -1 where there is no meat.
function raster(piece, scale, W, H) {
  const { rows, columns, x, y } = piece, corner = new Int32Array(4 * W * H).fill(-1), weight = new Float32Array(4 * W * H);
  for (let r = 0; r < rows - 1; r++) for (let c = 0; c < columns - 1; c++) {
    const n = [r * columns + c, r * columns + c + 1, (r + 1) * columns + c + 1, (r + 1) * columns + c];
    const px = n.map(k => x[k] * scale), py = n.map(k => y[k] * scale);
    const left = Math.max(0, Math.floor(Math.min(...px) - 0.5)), right = Math.min(W - 1, Math.ceil(Math.max(...px)));
    const top = Math.max(0, Math.floor(Math.min(...py) - 0.5)), foot = Math.min(H - 1, Math.ceil(Math.max(...py)));
    for (let j = top; j <= foot; j++) for (let i = left; i <= right; i++) {
      const at = 4 * (j * W + i);
      if (corner[at] >= 0) continue;
      const uv = inside(px, py, i + 0.5, j + 0.5);
      if (!uv) continue;
      const [u, v] = uv;
      n.forEach((k, m) => { corner[at + m] = k; });
      weight[at] = (1 - u) * (1 - v); weight[at + 1] = u * (1 - v); weight[at + 2] = u * v; weight[at + 3] = (1 - u) * v;
    }
  }
  return { corner, weight, W, H };
}
// (u, v) of a point in a quadrilateral by Newton's steps, or null outside of it.
function inside(px, py, X, Y) {
  let u = 0.5, v = 0.5;
  for (let k = 0; k < 8; k++) {
    const a = (1 - u) * (1 - v), b = u * (1 - v), c = u * v, d = (1 - u) * v;
    const fx = a * px[0] + b * px[1] + c * px[2] + d * px[3] - X, fy = a * py[0] + b * py[1] + c * py[2] + d * py[3] - Y;
    const xu = (1 - v) * (px[1] - px[0]) + v * (px[2] - px[3]), xv = (1 - u) * (px[3] - px[0]) + u * (px[2] - px[1]);
    const yu = (1 - v) * (py[1] - py[0]) + v * (py[2] - py[3]), yv = (1 - u) * (py[3] - py[0]) + u * (py[2] - py[1]);
    const det = xu * yv - xv * yu;
    if (Math.abs(det) < 1e-12) return null;
    const du = (fx * yv - fy * xv) / det, dv = (fy * xu - fx * yu) / det;
    u -= du; v -= dv;
    if (Math.abs(du) + Math.abs(dv) < 1e-4) break;
  }
  return u < -0.002 || u > 1.002 || v < -0.002 || v > 1.002 ? null : [Math.min(1, Math.max(0, u)), Math.min(1, Math.max(0, v))];
}

// Pieces of the line at `level` through the nodes, in cm, by marching squares.
function contour(piece, value, level) {
  const { rows, columns, x, y, node } = piece, made = [];
  const cut = (a, b) => { const t = (level - value[node[a]]) / (value[node[b]] - value[node[a]]); return [x[a] + t * (x[b] - x[a]), y[a] + t * (y[b] - y[a])]; };
  for (let r = 0; r < rows - 1; r++) for (let c = 0; c < columns - 1; c++) {
    const n = [r * columns + c, r * columns + c + 1, (r + 1) * columns + c + 1, (r + 1) * columns + c], met = [];
    for (let k = 0; k < 4; k++) { const a = n[k], b = n[(k + 1) % 4]; if ((value[node[a]] < level) !== (value[node[b]] < level)) met.push(cut(a, b)); }
    for (let k = 0; k + 1 < met.length; k += 2) made.push([met[k], met[k + 1]]);
  }
  return made;
}

// The lean node that has least: fat holds little water, so it would always be the last. Of temperature (`far`) the one farthest from that of the outside.
function slowest(piece, value, far) {
  let least = -1;
  const middle = (piece.columns - 1) / 2, outside = value[piece.node[(piece.open ? 0 : piece.rows - 1) * piece.columns + Math.floor(middle)]];
  const score = k => far ? -Math.abs(value[piece.node[k]] - outside) : value[piece.node[k]];
  for (let r = 0; r < piece.rows; r++) if (!piece.fat[r]) for (let c = 0; c < piece.columns; c++) {
    const k = r * piece.columns + c;
    if (piece.seam[k]) continue;
    if (least < 0 || score(k) < score(least) - 1e-9 || (Math.abs(score(k) - score(least)) <= 1e-9 && Math.abs(c - middle) < Math.abs(least % piece.columns - middle))) least = k;
  }
  return least;
}

// The node nearest to a place [cm].
function nearestNode(piece, x, y) {
  let best = 0, gap = Infinity;
  for (let k = 0; k < piece.x.length; k++) { const g = (piece.x[k] - x) ** 2 + (piece.y[k] - y) ** 2; if (g < gap) { gap = g; best = k; } }
  return { column: best % piece.columns, row: Math.floor(best / piece.columns) };
}
