// The board on a canvas: one side as one looks at it, any turn, any scale. What is small on the screen is drawn simply, and a
// scene with too much in sight is drawn once into a picture that is then moved and scaled.
import { Grid } from './grid.js';

// M. Okabe, K. Ito, Color universal design, 2008. Every colour has a mark of its own besides.
export const CLASS_COLOURS = ['#0072b2', '#d55e00', '#009e73', '#cc79a7', '#56b4e9', '#e69f00'];
const MOST = 14000;     // primitives drawn one by one in a frame; beyond, the picture serves
const NAMES = 260;      // written in a frame
const PICTURE = 1900, ROUGH = 800;  // pixels along the longer edge of that picture; of the first one, until there is time

const LIGHT = { ground: '#f4f5f2', board: '#e9eee6', edge: '#3a4249', copper: '#c9b98a', part: '#7d8790', partFill: 'rgba(125,135,144,.14)', open: '#00795a', blocked: '#9aa1a8', hole: '#ffffff', text: '#1d2126', find: '#b0004e', keep: '#d55e00', advice: '#7a3f9d', old: '#d55e00' };
const DARK = { ground: '#14171a', board: '#20272a', edge: '#c7cdd2', copper: '#6d5f35', part: '#98a3ac', partFill: 'rgba(152,163,172,.14)', open: '#33c79b', blocked: '#6d757c', hole: '#0d0f11', text: '#e8e9e6', find: '#ff7ab8', keep: '#ff9a4d', advice: '#d2a0f0', old: '#ff9a4d' };
// "cividis" of J. R. Nunez and others, PLoS ONE 13 (2018), from memory: dark blue over grey to yellow.
const RAMP = [[0, 34, 78], [42, 63, 108], [87, 92, 109], [125, 124, 120], [166, 157, 117], [211, 193, 100], [254, 232, 56]];

/** share: 0 to 1 along the ramp. */
function ramp(share, opacity = 1) {
  const u = share * (RAMP.length - 1), k = Math.min(Math.floor(u), RAMP.length - 2), f = u - k;
  return `rgba(${[0, 1, 2].map(j => Math.round(RAMP[k][j] * (1 - f) + RAMP[k + 1][j] * f)).join(',')},${opacity})`;
}

/** Of rings, even-odd. */
function inside(rings, x, y) {
  let odd = false;
  for (const r of rings) for (let i = 0, j = r.length - 2; i < r.length; j = i, i += 2)
    if (r[i + 1] > y !== r[j + 1] > y && x < r[i] + (r[j] - r[i]) * (y - r[i + 1]) / (r[j + 1] - r[i + 1])) odd = !odd;
  return odd;
}

export const LAYERS = [
  ['copper', 'copper', true], ['parts', 'parts', true], ['targets', 'pads', true], ['probes', 'probes', true], ['holes', 'holes', true], ['names', 'names', true],
  ['odds', 'odds of a miss', false], ['deflection', 'deflection', false], ['strain', 'strain', false], ['supports', 'stops and fingers', false], ['keep', 'keep-outs', true],
  ['plates', 'plates', false], ['wires', 'wires', false], ['advice', 'places for pads', false], ['old', 'old revision', false]];

export class BoardView {
  constructor(canvas, data, onPick) {
    this.canvas = canvas; this.d = data; this.onPick = onPick;
    this.side = data.board.side_down ? 'bottom' : 'top';
    this.turn = 0;
    this.on = Object.fromEntries(LAYERS.map(([k, , on]) => [k, on]));
    this.found = { targets: new Set(), parts: new Set(), probes: new Set() };
    this.frames = [];
    // What lies where, by side: made when that side is first looked at.
    this.targetGrid = this.bySide(side => this.grid(data.targets, side));
    this.partGrid = this.bySide(side => this.grid(data.parts, side));
    this.copperGrid = this.bySide(side => {
      if (!data.copper[side]) return null;
      const l = data.copper[side].lines, boxes = [];
      for (let i = 0; i < l.length; i += 5) boxes.push([Math.min(l[i], l[i] + l[i + 2]) - l[i + 4], Math.min(l[i + 1], l[i + 1] + l[i + 3]) - l[i + 4], Math.max(l[i], l[i] + l[i + 2]) + l[i + 4], Math.max(l[i + 1], l[i + 1] + l[i + 3]) + l[i + 4]]);
      return { lines: new Grid(boxes), areas: new Grid(data.copper[side].areas.map(a => a.box)) };
    });
    this.paths = new Map();
    this.end = new AbortController();
    this.tool = null;      // takes strokes on the board instead of moving it: down(x, y), move(x, y), up(x, y), paint(g, px)
    this.listen();
    this.observer = new ResizeObserver(() => this.resize());
    this.observer.observe(canvas);
    this.resize();
    this.all();
  }
  bySide(make) {
    const made = {}, of = side => side in made ? made[side] : made[side] = make(side);
    return { get top() { return of('top'); }, get bottom() { return of('bottom'); } };
  }
  leave() { this.end.abort(); this.observer.disconnect(); }
  /** Looks at what another view looked at. */
  look(other) {
    for (const k of ['side', 'turn', 'scale', 'cx', 'cy', 'home']) this[k] = other[k];
    Object.assign(this.on, other.on);
    this.changed();
  }
  /** Items of one side; the others have boxes that are never found. */
  grid(list, side) { return new Grid(list.map(x => x.side === side ? x.box : [1, 1, 0, 0])); }
  get colours() { return this.paper ? LIGHT : matchMedia('(prefers-color-scheme: dark)').matches ? DARK : LIGHT; }

  resize() {
    const r = this.canvas.getBoundingClientRect(), k = window.devicePixelRatio || 1;
    if (!r.width) return;
    this.canvas.width = Math.round(r.width * k); this.canvas.height = Math.round(r.height * k); this.k = k;
    if (!this.scale) this.all(); else this.draw();
  }
  // ---- from micrometres of the board to pixels: turned, mirrored where one looks from below, Y up
  matrix(scale = this.scale, cx = this.cx, cy = this.cy, w = this.canvas.width, h = this.canvas.height) {
    const m = this.side === 'bottom' ? -1 : 1, c = [1, 0, -1, 0][this.turn], s = [0, 1, 0, -1][this.turn];
    const a = scale * c * m, b = -scale * s * m, cc = -scale * s, dd = -scale * c;
    return [a, b, cc, dd, w / 2 - a * cx - cc * cy, h / 2 - b * cx - dd * cy];
  }
  toScreen(x, y) { const m = this.matrix(); return [m[0] * x + m[2] * y + m[4], m[1] * x + m[3] * y + m[5]]; }
  toBoard(px, py) {
    const m = this.matrix(), det = m[0] * m[3] - m[1] * m[2], x = px - m[4], y = py - m[5];
    return [(m[3] * x - m[2] * y) / det, (m[0] * y - m[1] * x) / det];
  }
  window() {
    const p = [this.toBoard(0, 0), this.toBoard(this.canvas.width, 0), this.toBoard(0, this.canvas.height), this.toBoard(this.canvas.width, this.canvas.height)];
    return [Math.min(...p.map(q => q[0])), Math.min(...p.map(q => q[1])), Math.max(...p.map(q => q[0])), Math.max(...p.map(q => q[1]))];
  }
  all() {
    const b = this.d.box, quarter = this.turn % 2;
    this.cx = (b[0] + b[2]) / 2; this.cy = (b[1] + b[3]) / 2;
    const w = quarter ? b[3] - b[1] : b[2] - b[0], h = quarter ? b[2] - b[0] : b[3] - b[1];
    this.scale = Math.min(this.canvas.width / w, this.canvas.height / h) * .94;
    this.home = this.scale;
    this.draw();
  }
  zoom(factor, px = this.canvas.width / 2, py = this.canvas.height / 2) {
    const at = this.toBoard(px, py);
    this.scale = Math.min(Math.max(this.scale * factor, this.home * .3), 2);  // 2 px to a micrometre
    const now = this.toBoard(px, py);
    this.cx += at[0] - now[0]; this.cy += at[1] - now[1];
    this.draw();
  }
  pan(dx, dy) {
    const a = this.toBoard(0, 0), b = this.toBoard(dx, dy);
    this.cx -= b[0] - a[0]; this.cy -= b[1] - a[1];
    this.draw();
  }
  show(box, side) {
    if (side && side !== this.side) this.flip();
    this.cx = (box[0] + box[2]) / 2; this.cy = (box[1] + box[3]) / 2;
    const size = Math.max(box[2] - box[0], box[3] - box[1], 14000);
    this.scale = Math.min(Math.min(this.canvas.width, this.canvas.height) / size * .8, .4);
    this.draw();
  }
  flip() { this.side = this.side === 'top' ? 'bottom' : 'top'; this.changed(); }
  rotate() { this.turn = (this.turn + 1) % 4; this.all(); this.changed(); }
  changed() { this.picture = null; this.draw(); this.onView?.(); }
  set(layer, on) { this.on[layer] = on; this.changed(); }
  mark(found) { this.found = found; this.draw(); }

  draw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => { this.waiting = false; this.frame(); });
  }
  frame() {
    const t0 = performance.now(), g = this.canvas.getContext('2d');
    g.setTransform(1, 0, 0, 1, 0, 0);
    g.fillStyle = this.colours.ground;
    g.fillRect(0, 0, this.canvas.width, this.canvas.height);
    const window = this.window();
    this.drawn = 0;
    if (this.inSight(window) > MOST) {
      const p = this.overview();
      const m = this.matrix(), n = p.matrix, det = n[0] * n[3] - n[1] * n[2];
      // Picture pixels to board, board to screen; both only scale and shift against one another.
      const sx = (m[0] * n[3] - m[2] * n[1]) / det, sy = (m[3] * n[0] - m[1] * n[2]) / det;
      const o = [(n[3] * -n[4] + n[2] * n[5]) / det, (n[1] * n[4] - n[0] * n[5]) / det];
      g.imageSmoothingEnabled = true;
      g.setTransform(sx, 0, 0, sy, m[0] * o[0] + m[2] * o[1] + m[4], m[1] * o[0] + m[3] * o[1] + m[5]);
      g.drawImage(p.canvas, 0, 0);
      if (this.on.names) this.names(g, m, this.scale, window);
      this.drawn = 1;
    } else {
      this.scene(g, this.matrix(), this.scale, window);
    }
    this.marks(g, window);
    this.frames.push(performance.now() - t0);
    if (this.frames.length > 400) this.frames.shift();
  }
  inSight(window) {
    let n = 0;
    const count = () => ++n <= MOST;
    this.targetGrid[this.side].find(window, count);
    if (this.on.copper && this.copperGrid[this.side]) { this.copperGrid[this.side].lines.find(window, count); this.copperGrid[this.side].areas.find(window, count); }
    return n;
  }
  overview() {
    if (this.picture) return this.picture;
    setTimeout(() => { if (this.picture?.rough) { this.picture = this.paint(PICTURE); this.draw(); } }, 60);
    this.picture = this.paint(ROUGH, true);
    this.picture.rough = true;
    return this.picture;
  }
  /** rough: without copper. */
  paint(pixels, rough) {
    const b = this.d.box, w = b[2] - b[0], h = b[3] - b[1], q = this.turn % 2, scale = pixels / Math.max(w, h) / 1.06;
    const canvas = document.createElement('canvas');
    canvas.width = Math.round((q ? h : w) * scale * 1.06); canvas.height = Math.round((q ? w : h) * scale * 1.06);
    const matrix = this.matrix(scale, (b[0] + b[2]) / 2, (b[1] + b[3]) / 2, canvas.width, canvas.height);
    this.scene(canvas.getContext('2d'), matrix, scale, [-1e9, -1e9, 1e9, 1e9], true, rough);
    return { canvas, matrix };
  }
  path(key, make) {
    let p = this.paths.get(key);
    if (!p) this.paths.set(key, p = make());
    return p;
  }
  static ringsPath(rings) {
    const p = new Path2D();
    for (const r of rings) {
      if (r.length < 4) continue;
      p.moveTo(r[0], r[1]);
      for (let i = 2; i < r.length; i += 2) p.lineTo(r[i], r[i + 1]);
      p.closePath();
    }
    return p;
  }

  /** Everything but what is marked. scale: pixels to a micrometre. */
  scene(g, m, scale, window, noNames, noCopper) {
    const c = this.colours, d = this.d, px = 1 / scale;
    g.setTransform(...m);
    g.lineJoin = 'round';
    const outline = this.path('outline', () => BoardView.ringsPath(d.outline));
    g.fillStyle = c.board; g.fill(outline, 'evenodd');
    if (this.on.copper && !noCopper) this.copper(g, window, scale);
    if ((this.on.deflection || this.on.strain) && d.strain) this.map(g, this.on.strain ? 'microstrain' : 'deflection');
    g.strokeStyle = c.edge; g.lineWidth = 1.5 * px; g.stroke(outline);
    if (this.on.holes) this.holes(g, window, scale);
    if (this.on.parts) this.parts(g, window, scale);
    if (this.on.targets) this.targets(g, window, scale);
    if (this.on.keep) this.keepOuts(g, px);
    if (this.on.plates) this.plates(g, px);
    if (this.on.old && d.old) this.old(g, px);
    if (this.on.wires) this.wires(g, px);
    if (this.on.supports) this.supports(g, px);
    if (this.on.advice) this.advice(g, px);
    if (this.on.probes) this.probes(g, window, scale);
    if (this.on.names && !noNames) this.names(g, m, scale, window);
  }
  copper(g, window, scale) {
    const c = this.d.copper[this.side], grid = this.copperGrid[this.side];
    if (!c) return;
    g.fillStyle = g.strokeStyle = this.colours.copper; g.lineCap = 'round';
    grid.areas.find(window, i => {
      const b = c.areas[i].box;
      if ((b[2] - b[0]) * scale < .6 && (b[3] - b[1]) * scale < .6) return;
      g.fill(this.path('a' + this.side + i, () => BoardView.ringsPath(c.areas[i].rings)), 'evenodd');
    });
    const byWidth = new Map();
    grid.lines.find(window, i => {
      const r = c.lines[5 * i + 4], k = Math.round(r / 5);
      if (r * 2 * scale < .25) return;
      let list = byWidth.get(k);
      if (!list) byWidth.set(k, list = []);
      list.push(i);
    });
    for (const [k, list] of byWidth) {
      g.lineWidth = 10 * k || 10;
      g.beginPath();
      for (const i of list) {
        const l = c.lines, x = l[5 * i], y = l[5 * i + 1];
        g.moveTo(x, y); g.lineTo(x + (l[5 * i + 2] || .1), y + l[5 * i + 3]);
      }
      g.stroke();
    }
  }
  map(g, what) {
    const s = this.d.strain, v = s[what];
    let lo = Infinity, hi = -Infinity;
    for (const x of v) { lo = Math.min(lo, x); hi = Math.max(hi, x); }
    if (what === 'microstrain') lo = 0;
    for (let i = 0; i < s.triangles.length; i += 3) {
      const t = [s.triangles[i], s.triangles[i + 1], s.triangles[i + 2]], mean = (v[t[0]] + v[t[1]] + v[t[2]]) / 3;
      g.fillStyle = ramp(hi > lo ? (mean - lo) / (hi - lo) : 0, .82);
      g.beginPath();
      t.forEach((n, j) => g[j ? 'lineTo' : 'moveTo'](s.nodes[2 * n], s.nodes[2 * n + 1]));
      g.closePath(); g.fill();
    }
  }
  holes(g, window, scale) {
    g.fillStyle = this.colours.hole; g.strokeStyle = this.colours.edge;
    for (const [x, y, dia, , tooling] of this.d.holes) {
      if (x < window[0] - dia || x > window[2] + dia || y < window[1] - dia || y > window[3] + dia || dia * scale < 1) continue;
      g.beginPath(); g.arc(x, y, dia / 2, 0, 7); g.fill();
      if (tooling) { g.lineWidth = 2 / scale; g.stroke(); g.beginPath(); g.moveTo(x - dia, y); g.lineTo(x + dia, y); g.moveTo(x, y - dia); g.lineTo(x, y + dia); g.lineWidth = 1 / scale; g.stroke(); }
    }
  }
  parts(g, window, scale) {
    g.strokeStyle = this.colours.part; g.fillStyle = this.colours.partFill;
    this.partGrid[this.side].find(window, i => {
      const p = this.d.parts[i], b = p.box;
      if (!p.area.length || Math.max(b[2] - b[0], b[3] - b[1]) * scale < 2) return;
      const path = this.path('p' + i, () => BoardView.ringsPath(p.area));
      g.fill(path, 'evenodd');
      g.setLineDash(p.known === 'confirmed' ? [] : [4 / scale, 3 / scale]);
      g.lineWidth = 1 / scale; g.stroke(path);
    });
    g.setLineDash([]);
  }
  targets(g, window, scale) {
    const c = this.colours, d = this.d, small = { open: new Path2D(), blocked: new Path2D(), probed: new Path2D() };
    this.targetGrid[this.side].find(window, i => {
      const t = d.targets[i], w = (t.box[2] - t.box[0]) * scale, h = (t.box[3] - t.box[1]) * scale;
      if (Math.max(w, h) < 5) { small[t.state].rect(t.box[0], t.box[1], Math.max(t.box[2] - t.box[0], 1.5 / scale), Math.max(t.box[3] - t.box[1], 1.5 / scale)); return; }
      g.save();
      g.translate(t.x, t.y);
      const path = this.path('s' + t.shape, () => BoardView.ringsPath(d.shapes[t.shape]));
      g.fillStyle = this.on.odds && t.state !== 'blocked' ? this.oddsColour(t.miss) : t.state === 'blocked' ? c.blocked + '55' : c.open + '44';
      g.fill(path, 'evenodd');
      g.strokeStyle = t.state === 'blocked' ? c.blocked : c.open; g.lineWidth = 1.2 / scale; g.stroke(path);
      if (t.state === 'blocked' && Math.min(w, h) > 9) {
        const a = Math.min(t.box[2] - t.box[0], t.box[3] - t.box[1]) * .25;
        g.beginPath(); g.moveTo(-a, -a); g.lineTo(a, a); g.moveTo(-a, a); g.lineTo(a, -a); g.stroke();
      }
      g.restore();
    });
    g.fillStyle = c.blocked; g.fill(small.blocked);
    g.fillStyle = c.open; g.fill(small.open); g.fill(small.probed);
  }
  oddsColour(miss) { return ramp(Math.min(Math.max((Math.log10(Math.max(miss, 1e-12)) + 12) / 10, 0), 1)); }
  /** A mark of its own for each class. */
  static mark(g, cls, x, y, r) {
    g.beginPath();
    const n = [0, 4, 3, 5, 6, 8][cls % 6];
    if (!n) g.arc(x, y, r, 0, 7);
    else for (let i = 0; i < n; i++) { const a = Math.PI / 2 + (n === 4 ? Math.PI / 4 : 0) + 2 * Math.PI * i / n; g[i ? 'lineTo' : 'moveTo'](x + 1.2 * r * Math.cos(a), y + 1.2 * r * Math.sin(a)); }
    g.closePath();
  }
  probes(g, window, scale) {
    for (const p of this.d.probes) {
      if (p.side !== this.side || p.x < window[0] - 3000 || p.x > window[2] + 3000 || p.y < window[1] - 3000 || p.y > window[3] + 3000) continue;
      const r = Math.max(p.head / 2, 3.2 / scale), colour = CLASS_COLOURS[p.cls % CLASS_COLOURS.length];
      BoardView.mark(g, p.cls, p.x, p.y, r);
      g.fillStyle = colour + 'cc'; g.fill();
      g.strokeStyle = this.colours.text; g.lineWidth = .8 / scale; g.stroke();
    }
  }
  keepOuts(g, px) {
    g.strokeStyle = this.colours.keep; g.fillStyle = this.colours.keep + '22'; g.lineWidth = 1.2 * px; g.setLineDash([6 * px, 3 * px]);
    for (const [, side, area] of this.d.keep_outs) if (side === 'both' || side === this.side) { const p = BoardView.ringsPath(area); g.fill(p, 'evenodd'); g.stroke(p); }
    g.setLineDash([]);
  }
  plates(g, px) {
    g.lineWidth = px;
    for (const p of this.d.plates) {
      if (p.side !== this.side) continue;
      g.strokeStyle = this.colours.edge;
      g.fillStyle = this.colours.edge + '14';
      for (const k of p.pockets) { const q = BoardView.ringsPath(k); g.fill(q, 'evenodd'); g.stroke(q); }
      g.beginPath();
      for (let i = 0; i < p.holes.length; i += 5) { g.moveTo(p.holes[i] + p.holes[i + 2] / 2, p.holes[i + 1]); g.arc(p.holes[i], p.holes[i + 1], p.holes[i + 2] / 2, 0, 7); }
      g.stroke();
    }
  }
  old(g, px) {
    g.strokeStyle = this.colours.old; g.lineWidth = 1.2 * px; g.setLineDash([5 * px, 3 * px]);
    g.stroke(BoardView.ringsPath(this.d.old.outline));
    for (const p of this.d.old.parts) if (p.side === this.side) g.stroke(BoardView.ringsPath(p.area));
    g.beginPath();
    for (const [side, x0, y0, x1, y1] of this.d.old.pads) if ((side ? 'bottom' : 'top') === this.side) g.rect(x0, y0, x1 - x0, y1 - y0);
    g.lineWidth = .8 * px; g.stroke(); g.setLineDash([]);
  }
  wires(g, px) {
    const mine = new Set(this.d.probes.filter(p => p.side === this.side).map(p => p.name));
    g.strokeStyle = this.colours.text + '66'; g.lineWidth = .8 * px; g.beginPath();
    for (const w of this.d.wires) if (mine.has(w[1])) { g.moveTo(w[3], w[4]); g.lineTo(w[5], w[6]); }
    g.stroke();
  }
  supports(g, px) {
    for (const [, side, finger, x, y] of this.d.supports) {
      if ((side ? 'bottom' : 'top') !== this.side) continue;
      BoardView.mark(g, finger ? 2 : 1, x, y, Math.max(1300, 6 * px));
      g.fillStyle = this.colours.text + '33'; g.fill(); g.strokeStyle = this.colours.text; g.lineWidth = 1.6 * px; g.stroke();
    }
  }
  advice(g, px) {
    g.strokeStyle = this.colours.advice; g.lineWidth = 1.6 * px;
    for (const [, , side, x, y, free] of this.d.advice) {
      if ((side ? 'bottom' : 'top') !== this.side || !(free > 0)) continue;
      const r = Math.max(free / 2, 4 * px);
      g.beginPath(); g.arc(x, y, r, 0, 7); g.moveTo(x - r / 2, y); g.lineTo(x + r / 2, y); g.moveTo(x, y - r / 2); g.lineTo(x, y + r / 2); g.stroke();
    }
  }
  names(g, m, scale, window) {
    g.save();
    g.setTransform(1, 0, 0, 1, 0, 0);
    g.textAlign = 'center'; g.textBaseline = 'middle';
    let n = 0;
    const put = (text, x, y, size, weight) => {
      if (++n > NAMES) return;
      g.font = weight + ' ' + size + 'px system-ui,sans-serif';
      const px = m[0] * x + m[2] * y + m[4], py = m[1] * x + m[3] * y + m[5];
      g.strokeStyle = this.colours.board; g.lineWidth = 3; g.strokeText(text, px, py);
      g.fillStyle = this.colours.text; g.fillText(text, px, py);
    };
    const k = this.k || 1;
    if (this.on.parts) this.partGrid[this.side].find(window, i => {
      const p = this.d.parts[i], b = p.box, w = Math.min(b[2] - b[0], b[3] - b[1]) * scale;
      if (p.area.length && w > 16 * k) put(p.name, (b[0] + b[2]) / 2, (b[1] + b[3]) / 2, Math.min(12 * k, w * .45), '400');
    });
    if (this.on.probes && scale > .025 * k) for (const p of this.d.probes)
      if (p.side === this.side && p.x > window[0] && p.x < window[2] && p.y > window[1] && p.y < window[3]) put(scale > .07 * k ? p.name + ' ' + p.net : p.name, p.x, p.y - (p.head / 2 + 9 * k / scale) * (this.turn === 2 ? -1 : 1), 11 * k, '600');
    g.restore();
  }
  /** What was found or picked, over everything. */
  marks(g, window) {
    const c = this.colours, px = 1 / this.scale;
    g.setTransform(...this.matrix());
    g.strokeStyle = c.find; g.lineWidth = 2.4 * px;
    for (const i of this.found.parts) { const p = this.d.parts[i]; if (p.side === this.side && p.area.length) g.stroke(this.path('p' + i, () => BoardView.ringsPath(p.area))); }
    let n = 0;
    for (const i of this.found.targets) {
      const t = this.d.targets[i];
      if (t.side !== this.side || t.box[2] < window[0] || t.box[0] > window[2] || t.box[3] < window[1] || t.box[1] > window[3] || ++n > 4000) continue;
      const r = Math.max((t.box[2] - t.box[0]) / 2, (t.box[3] - t.box[1]) / 2, 4 * px) + 3 * px;
      g.beginPath(); g.arc(t.x, t.y, r, 0, 7); g.stroke();
    }
    this.tool?.paint?.(g, px, c);
    for (const i of this.found.probes) { const p = this.d.probes[i]; if (p.side === this.side) { BoardView.mark(g, p.cls, p.x, p.y, Math.max(p.head / 2, 6 * px) + 4 * px); g.stroke(); } }
  }

  /** What lies under a point: probe before pad before part; the smallest of each. */
  pick(px, py) {
    const [x, y] = this.toBoard(px, py), near = 4 * this.k / this.scale;
    let best = null, least = Infinity;
    for (const p of this.d.probes) if (p.side === this.side) { const q = Math.hypot(p.x - x, p.y - y); if (q <= Math.max(p.head / 2, near) && q < least) { least = q; best = { kind: 'probe', id: p.id }; } }
    if (best) return best;
    if (this.on.advice) this.d.advice.forEach(([, , side, ax, ay, free], id) => { if ((side ? 'bottom' : 'top') === this.side && free > 0 && Math.hypot(ax - x, ay - y) <= Math.max(free / 2, near)) best = { kind: 'place', id }; });
    if (best) return best;
    const window = [x - near, y - near, x + near, y + near];
    const smallest = (grid, list, kind) => grid.find(window, i => { const b = list[i].box, a = (b[2] - b[0]) * (b[3] - b[1]); if (a < least) { least = a; best = { kind, id: i }; } });
    if (this.on.targets) smallest(this.targetGrid[this.side], this.d.targets, 'pad');
    if (!best && this.on.parts) smallest(this.partGrid[this.side], this.d.parts, 'part');
    if (!best && this.on.keep) this.d.keep_outs.forEach(([, side, area], id) => {
      if ((side === 'both' || side === this.side) && inside(area, x, y)) best = { kind: 'keep-out', id };
    });
    return best;
  }
  listen() {
    const c = this.canvas, at = e => { const r = c.getBoundingClientRect(); return [(e.clientX - r.left) * this.k, (e.clientY - r.top) * this.k]; };
    const on = (what, f, more) => c.addEventListener(what, f, { signal: this.end.signal, ...more });
    on('wheel', e => { e.preventDefault(); this.zoom(Math.exp(-e.deltaY * (e.ctrlKey ? .01 : .0016)), ...at(e)); }, { passive: false });
    const down = new Map();
    let moved = 0, drawing = false;
    on('pointerdown', e => { c.setPointerCapture(e.pointerId); down.set(e.pointerId, at(e)); if (down.size === 1) moved = 0; drawing = Boolean(down.size === 1 && this.tool?.down(...this.toBoard(...at(e)))); });
    on('pointermove', e => {
      if (!down.has(e.pointerId)) return;
      const before = [...down.values()].map(p => [...p]), was = down.get(e.pointerId), now = at(e);
      down.set(e.pointerId, now);
      moved += Math.hypot(now[0] - was[0], now[1] - was[1]);
      if (drawing) { this.tool?.move(...this.toBoard(...now)); this.draw(); return; }
      if (down.size === 1) { this.pan(now[0] - was[0], now[1] - was[1]); return; }
      const after = [...down.values()], d = p => Math.hypot(p[0][0] - p[1][0], p[0][1] - p[1][1]);
      this.zoom(d(after) / Math.max(d(before), 1), (after[0][0] + after[1][0]) / 2, (after[0][1] + after[1][1]) / 2);
    });
    const up = e => {
      if (!down.delete(e.pointerId)) return;
      if (drawing) { drawing = false; this.tool?.up(...this.toBoard(...at(e))); this.draw(); return; }
      if (e.type === 'pointercancel') return; if (moved < 5 * this.k && !down.size) this.onPick(this.pick(...at(e))); };
    on('pointerup', up); on('pointercancel', up);
    on('keydown', e => {
      const step = 80 * this.k, m = { ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] }[e.key];
      if (m) this.pan(...m);
      else if (e.key === '+' || e.key === '=') this.zoom(1.4);
      else if (e.key === '-') this.zoom(1 / 1.4);
      else if (e.key === '0') this.all();
      else if (e.key === 'f') this.flip();
      else if (e.key === 'r') this.rotate();
      else return;
      e.preventDefault();
    });
    // Paper is white, and shows the whole board.
    addEventListener('beforeprint', () => { this.paper = { scale: this.scale, cx: this.cx, cy: this.cy }; this.picture = null; this.all(); this.frame(); }, { signal: this.end.signal });
    addEventListener('afterprint', () => { Object.assign(this, this.paper); this.paper = null; this.changed(); }, { signal: this.end.signal });
    matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => this.changed(), { signal: this.end.signal });
  }
}
