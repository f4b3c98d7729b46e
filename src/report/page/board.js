// Draws the board on a canvas: one side as it is seen from its own side, turned and scaled at will. What is small on
// the screen is drawn in a simple way. A scene with too much in sight is drawn once into a picture, which is then moved
// and scaled.
import { Grid } from './grid.js';

// Colours that colour-blind people can tell apart: M. Okabe, K. Ito, Color universal design, 2008. Besides, every class
// has a symbol of its own.
export const CLASS_COLOURS = ['#0072b2', '#d55e00', '#009e73', '#cc79a7', '#56b4e9', '#e69f00'];
const MOST = 14000; // So many primitives are drawn one by one in a frame. Beyond that the picture serves.
const NAMES = 260; // So many names are written in a frame.
// Pixels along the longer edge of the picture, and of a first one that serves until there is time for the better one.
const PICTURE = 1900;
const ROUGH = 800;

const LIGHT = {
  ground: '#f4f5f2',
  board: '#e9eee6',
  edge: '#3a4249',
  copper: '#c9b98a',
  part: '#7d8790',
  partFill: 'rgba(125,135,144,.14)',
  open: '#00795a',
  blocked: '#9aa1a8',
  hole: '#ffffff',
  text: '#1d2126',
  find: '#b0004e',
  keep: '#d55e00',
  advice: '#7a3f9d',
  old: '#d55e00',
};
const DARK = {
  ground: '#14171a',
  board: '#20272a',
  edge: '#c7cdd2',
  copper: '#6d5f35',
  part: '#98a3ac',
  partFill: 'rgba(152,163,172,.14)',
  open: '#33c79b',
  blocked: '#6d757c',
  hole: '#0d0f11',
  text: '#e8e9e6',
  find: '#ff7ab8',
  keep: '#ff9a4d',
  advice: '#d2a0f0',
  old: '#ff9a4d',
};
// The colour map "cividis" of J. R. Nunez and others, PLoS ONE 13 (2018), from dark blue over grey to yellow; the
// values are close to it, not exact.
const RAMP = [
  [0, 34, 78],
  [42, 63, 108],
  [87, 92, 109],
  [125, 124, 120],
  [166, 157, 117],
  [211, 193, 100],
  [254, 232, 56],
];

/** The colour at a share of 0 to 1 along the ramp. */
function ramp(share, opacity = 1) {
  const at = share * (RAMP.length - 1);
  const step = Math.min(Math.floor(at), RAMP.length - 2);
  const fraction = at - step;
  const mixed = RAMP[step].map((from, j) => Math.round(from * (1 - fraction) + RAMP[step + 1][j] * fraction));
  return `rgba(${mixed.join(',')},${opacity})`;
}

/** Whether a point lies inside rings, by the even-odd rule. */
function inside(rings, x, y) {
  let odd = false;
  for (const ring of rings)
    for (let i = 0; i < ring.length; i += 2) {
      const j = i ? i - 2 : ring.length - 2;
      if (ring[i + 1] > y === ring[j + 1] > y) continue;
      if (x < ring[i] + ((ring[j] - ring[i]) * (y - ring[i + 1])) / (ring[j + 1] - ring[i + 1])) odd = !odd;
    }
  return odd;
}

// Key, words, and whether the layer is drawn from the start.
export const LAYERS = [
  ['copper', 'copper', true],
  ['parts', 'parts', true],
  ['targets', 'pads', true],
  ['probes', 'probes', true],
  ['holes', 'holes', true],
  ['names', 'names', true],
  ['odds', 'chance of a miss', false],
  ['deflection', 'deflection', false],
  ['strain', 'strain', false],
  ['supports', 'stops and push fingers', false],
  ['keep', 'keep-outs', true],
  ['plates', 'plates', false],
  ['wires', 'wires', false],
  ['advice', 'room for test pads', false],
  ['old', 'old revision', false],
];

export class BoardView {
  constructor(canvas, data, onPick) {
    this.canvas = canvas;
    this.data = data;
    this.onPick = onPick;
    this.side = data.board.side_down ? 'bottom' : 'top';
    this.turn = 0;
    this.on = Object.fromEntries(LAYERS.map(([layer, , on]) => [layer, on]));
    this.found = { targets: new Set(), parts: new Set(), probes: new Set() };
    this.frames = [];
    // The grids of a side are made when that side is first shown.
    this.targetGrid = this.bySide(side => this.grid(data.targets, side));
    this.partGrid = this.bySide(side => this.grid(data.parts, side));
    this.copperGrid = this.bySide(side => {
      if (!data.copper[side]) return null;
      const lines = data.copper[side].lines;
      const boxes = [];
      for (let i = 0; i < lines.length; i += 5)
        boxes.push([
          Math.min(lines[i], lines[i] + lines[i + 2]) - lines[i + 4],
          Math.min(lines[i + 1], lines[i + 1] + lines[i + 3]) - lines[i + 4],
          Math.max(lines[i], lines[i] + lines[i + 2]) + lines[i + 4],
          Math.max(lines[i + 1], lines[i + 1] + lines[i + 3]) + lines[i + 4],
        ]);
      return { lines: new Grid(boxes), areas: new Grid(data.copper[side].areas.map(area => area.box)) };
    });
    this.paths = new Map();
    this.end = new AbortController();
    // A tool takes the strokes on the board that would otherwise move it: down(x, y), move(x, y), up(x, y). What it has
    // drawn so far is painted by paint(context, px, colours).
    this.tool = null;
    this.listen();
    this.observer = new ResizeObserver(() => this.resize());
    this.observer.observe(canvas);
    this.resize();
    this.all();
  }
  bySide(make) {
    const made = {};
    const of = side => {
      if (!(side in made)) made[side] = make(side);
      return made[side];
    };
    return {
      get top() {
        return of('top');
      },
      get bottom() {
        return of('bottom');
      },
    };
  }
  leave() {
    this.end.abort();
    this.observer.disconnect();
  }
  /** Shows the same part of the board as another view. */
  look(other) {
    for (const property of ['side', 'turn', 'scale', 'cx', 'cy', 'home']) this[property] = other[property];
    Object.assign(this.on, other.on);
    this.changed();
  }
  /** A grid of the items of one side. Those of the other side get empty boxes, which are never found. */
  grid(list, side) {
    return new Grid(list.map(item => (item.side === side ? item.box : [1, 1, 0, 0])));
  }
  get colours() {
    const dark = !this.paper && matchMedia('(prefers-color-scheme: dark)').matches;
    return dark ? DARK : LIGHT;
  }

  resize() {
    const rect = this.canvas.getBoundingClientRect();
    const ratio = window.devicePixelRatio || 1;
    if (!rect.width) return;
    this.canvas.width = Math.round(rect.width * ratio);
    this.canvas.height = Math.round(rect.height * ratio);
    this.pixelRatio = ratio;
    if (!this.scale) this.all();
    else this.draw();
  }
  /**
   * From micrometres of the board, Y up, to pixels of the screen: turned, and mirrored where the board is seen from
   * below.
   */
  matrix(scale = this.scale, cx = this.cx, cy = this.cy, width = this.canvas.width, height = this.canvas.height) {
    const mirror = this.side === 'bottom' ? -1 : 1;
    const cos = [1, 0, -1, 0][this.turn];
    const sin = [0, 1, 0, -1][this.turn];
    const xx = scale * cos * mirror;
    const xy = -scale * sin * mirror;
    const yx = -scale * sin;
    const yy = -scale * cos;
    return [xx, xy, yx, yy, width / 2 - xx * cx - yx * cy, height / 2 - xy * cx - yy * cy];
  }
  toScreen(x, y) {
    const matrix = this.matrix();
    return [matrix[0] * x + matrix[2] * y + matrix[4], matrix[1] * x + matrix[3] * y + matrix[5]];
  }
  toBoard(px, py) {
    const matrix = this.matrix();
    const det = matrix[0] * matrix[3] - matrix[1] * matrix[2];
    const x = px - matrix[4];
    const y = py - matrix[5];
    return [(matrix[3] * x - matrix[2] * y) / det, (matrix[0] * y - matrix[1] * x) / det];
  }
  /** The box of the board that is in sight. */
  visibleBox() {
    const corners = [
      this.toBoard(0, 0),
      this.toBoard(this.canvas.width, 0),
      this.toBoard(0, this.canvas.height),
      this.toBoard(this.canvas.width, this.canvas.height),
    ];
    return [
      Math.min(...corners.map(point => point[0])),
      Math.min(...corners.map(point => point[1])),
      Math.max(...corners.map(point => point[0])),
      Math.max(...corners.map(point => point[1])),
    ];
  }
  all() {
    const box = this.data.box;
    const quarter = this.turn % 2;
    this.cx = (box[0] + box[2]) / 2;
    this.cy = (box[1] + box[3]) / 2;
    const width = quarter ? box[3] - box[1] : box[2] - box[0];
    const height = quarter ? box[2] - box[0] : box[3] - box[1];
    this.scale = Math.min(this.canvas.width / width, this.canvas.height / height) * 0.94;
    this.home = this.scale;
    this.draw();
  }
  zoom(factor, px = this.canvas.width / 2, py = this.canvas.height / 2) {
    const at = this.toBoard(px, py);
    this.scale = Math.min(Math.max(this.scale * factor, this.home * 0.3), 2); // At most 2 pixels to a micrometre.
    const now = this.toBoard(px, py);
    this.cx += at[0] - now[0];
    this.cy += at[1] - now[1];
    this.draw();
  }
  pan(dx, dy) {
    const before = this.toBoard(0, 0);
    const after = this.toBoard(dx, dy);
    this.cx -= after[0] - before[0];
    this.cy -= after[1] - before[1];
    this.draw();
  }
  show(box, side) {
    if (side && side !== this.side) this.flip();
    this.cx = (box[0] + box[2]) / 2;
    this.cy = (box[1] + box[3]) / 2;
    const size = Math.max(box[2] - box[0], box[3] - box[1], 14000);
    this.scale = Math.min((Math.min(this.canvas.width, this.canvas.height) / size) * 0.8, 0.4);
    this.draw();
  }
  flip() {
    this.side = this.side === 'top' ? 'bottom' : 'top';
    this.changed();
  }
  rotate() {
    this.turn = (this.turn + 1) % 4;
    this.all();
    this.changed();
  }
  changed() {
    this.picture = null;
    this.draw();
    this.onView?.();
  }
  set(layer, on) {
    this.on[layer] = on;
    this.changed();
  }
  highlight(found) {
    this.found = found;
    this.draw();
  }

  draw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.frame();
    });
  }
  frame() {
    const t0 = performance.now();
    const context = this.canvas.getContext('2d');
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.fillStyle = this.colours.ground;
    context.fillRect(0, 0, this.canvas.width, this.canvas.height);
    const visible = this.visibleBox();
    this.drawn = 0;
    if (this.inSight(visible) > MOST) {
      const picture = this.overview();
      const matrix = this.matrix();
      const drawn = picture.matrix;
      const det = drawn[0] * drawn[3] - drawn[1] * drawn[2];
      // From pixels of the picture to the board and on to the screen. Against each other the two only scale and shift.
      const sx = (matrix[0] * drawn[3] - matrix[2] * drawn[1]) / det;
      const sy = (matrix[3] * drawn[0] - matrix[1] * drawn[2]) / det;
      const offset = [
        (drawn[3] * -drawn[4] + drawn[2] * drawn[5]) / det,
        (drawn[1] * drawn[4] - drawn[0] * drawn[5]) / det,
      ];
      context.imageSmoothingEnabled = true;
      context.setTransform(
        sx,
        0,
        0,
        sy,
        matrix[0] * offset[0] + matrix[2] * offset[1] + matrix[4],
        matrix[1] * offset[0] + matrix[3] * offset[1] + matrix[5],
      );
      context.drawImage(picture.canvas, 0, 0);
      if (this.on.names) this.names(context, matrix, this.scale, visible);
      this.drawn = 1;
    } else {
      this.scene(context, this.matrix(), this.scale, visible);
    }
    this.highlights(context, visible);
    this.frames.push(performance.now() - t0);
    if (this.frames.length > 400) this.frames.shift();
  }
  inSight(visible) {
    let seen = 0;
    const count = () => ++seen <= MOST;
    this.targetGrid[this.side].find(visible, count);
    if (this.on.copper && this.copperGrid[this.side]) {
      this.copperGrid[this.side].lines.find(visible, count);
      this.copperGrid[this.side].areas.find(visible, count);
    }
    return seen;
  }
  overview() {
    if (this.picture) return this.picture;
    setTimeout(() => {
      if (this.picture?.rough) {
        this.picture = this.paint(PICTURE);
        this.draw();
      }
    }, 60);
    this.picture = this.paint(ROUGH, true);
    this.picture.rough = true;
    return this.picture;
  }
  /** Draws the whole board into a picture. rough: without copper. */
  paint(pixels, rough) {
    const box = this.data.box;
    const width = box[2] - box[0];
    const height = box[3] - box[1];
    const quarter = this.turn % 2;
    const scale = pixels / Math.max(width, height) / 1.06;
    const canvas = document.createElement('canvas');
    canvas.width = Math.round((quarter ? height : width) * scale * 1.06);
    canvas.height = Math.round((quarter ? width : height) * scale * 1.06);
    const matrix = this.matrix(scale, (box[0] + box[2]) / 2, (box[1] + box[3]) / 2, canvas.width, canvas.height);
    this.scene(canvas.getContext('2d'), matrix, scale, [-1e9, -1e9, 1e9, 1e9], true, rough);
    return { canvas, matrix };
  }
  path(key, make) {
    let path = this.paths.get(key);
    if (!path) this.paths.set(key, (path = make()));
    return path;
  }
  static ringsPath(rings) {
    const path = new Path2D();
    for (const ring of rings) {
      if (ring.length < 4) continue;
      path.moveTo(ring[0], ring[1]);
      for (let i = 2; i < ring.length; i += 2) path.lineTo(ring[i], ring[i + 1]);
      path.closePath();
    }
    return path;
  }

  /** Draws everything except what is highlighted. scale: pixels to a micrometre. */
  scene(context, matrix, scale, visible, noNames, noCopper) {
    const colours = this.colours;
    const data = this.data;
    const px = 1 / scale;
    context.setTransform(...matrix);
    context.lineJoin = 'round';
    const outline = this.path('outline', () => BoardView.ringsPath(data.outline));
    context.fillStyle = colours.board;
    context.fill(outline, 'evenodd');
    if (this.on.copper && !noCopper) this.copper(context, visible, scale);
    if ((this.on.deflection || this.on.strain) && data.strain)
      this.stressMap(context, this.on.strain ? 'microstrain' : 'deflection');
    context.strokeStyle = colours.edge;
    context.lineWidth = 1.5 * px;
    context.stroke(outline);
    if (this.on.holes) this.holes(context, visible, scale);
    if (this.on.parts) this.parts(context, visible, scale);
    if (this.on.targets) this.targets(context, visible, scale);
    if (this.on.keep) this.keepOuts(context, px);
    if (this.on.plates) this.plates(context, px);
    if (this.on.old && data.old) this.old(context, px);
    if (this.on.wires) this.wires(context, px);
    if (this.on.supports) this.supports(context, px);
    if (this.on.advice) this.advice(context, px);
    if (this.on.probes) this.probes(context, visible, scale);
    if (this.on.names && !noNames) this.names(context, matrix, scale, visible);
  }
  copper(context, visible, scale) {
    const copper = this.data.copper[this.side];
    const grid = this.copperGrid[this.side];
    if (!copper) return;
    context.fillStyle = this.colours.copper;
    context.strokeStyle = this.colours.copper;
    context.lineCap = 'round';
    grid.areas.find(visible, i => {
      const box = copper.areas[i].box;
      if ((box[2] - box[0]) * scale < 0.6 && (box[3] - box[1]) * scale < 0.6) return;
      context.fill(
        this.path('a' + this.side + i, () => BoardView.ringsPath(copper.areas[i].rings)),
        'evenodd',
      );
    });
    const byWidth = new Map();
    grid.lines.find(visible, i => {
      const radius = copper.lines[5 * i + 4];
      const thickness = Math.round(radius / 5);
      if (radius * 2 * scale < 0.25) return;
      let list = byWidth.get(thickness);
      if (!list) byWidth.set(thickness, (list = []));
      list.push(i);
    });
    for (const [thickness, list] of byWidth) {
      context.lineWidth = 10 * thickness || 10;
      context.beginPath();
      for (const i of list) {
        const lines = copper.lines;
        const x = lines[5 * i];
        const y = lines[5 * i + 1];
        context.moveTo(x, y);
        context.lineTo(x + (lines[5 * i + 2] || 0.1), y + lines[5 * i + 3]);
      }
      context.stroke();
    }
  }
  /** Colours the board by deflection or strain. */
  stressMap(context, what) {
    const strain = this.data.strain;
    const values = strain[what];
    let lo = Infinity;
    let hi = -Infinity;
    for (const value of values) {
      lo = Math.min(lo, value);
      hi = Math.max(hi, value);
    }
    if (what === 'microstrain') lo = 0;
    for (let i = 0; i < strain.triangles.length; i += 3) {
      const corners = [strain.triangles[i], strain.triangles[i + 1], strain.triangles[i + 2]];
      const mean = (values[corners[0]] + values[corners[1]] + values[corners[2]]) / 3;
      context.fillStyle = ramp(hi > lo ? (mean - lo) / (hi - lo) : 0, 0.82);
      context.beginPath();
      corners.forEach((node, j) =>
        context[j ? 'lineTo' : 'moveTo'](strain.nodes[2 * node], strain.nodes[2 * node + 1]),
      );
      context.closePath();
      context.fill();
    }
  }
  holes(context, visible, scale) {
    context.fillStyle = this.colours.hole;
    context.strokeStyle = this.colours.edge;
    for (const [x, y, dia, , tooling] of this.data.holes) {
      if (
        x < visible[0] - dia ||
        x > visible[2] + dia ||
        y < visible[1] - dia ||
        y > visible[3] + dia ||
        dia * scale < 1
      )
        continue;
      context.beginPath();
      context.arc(x, y, dia / 2, 0, 7);
      context.fill();
      if (tooling) {
        context.lineWidth = 2 / scale;
        context.stroke();
        context.beginPath();
        context.moveTo(x - dia, y);
        context.lineTo(x + dia, y);
        context.moveTo(x, y - dia);
        context.lineTo(x, y + dia);
        context.lineWidth = 1 / scale;
        context.stroke();
      }
    }
  }
  parts(context, visible, scale) {
    context.strokeStyle = this.colours.part;
    context.fillStyle = this.colours.partFill;
    this.partGrid[this.side].find(visible, i => {
      const part = this.data.parts[i];
      const box = part.box;
      if (!part.area.length || Math.max(box[2] - box[0], box[3] - box[1]) * scale < 2) return;
      const path = this.path('p' + i, () => BoardView.ringsPath(part.area));
      context.fill(path, 'evenodd');
      context.setLineDash(part.known === 'confirmed' ? [] : [4 / scale, 3 / scale]);
      context.lineWidth = 1 / scale;
      context.stroke(path);
    });
    context.setLineDash([]);
  }
  targets(context, visible, scale) {
    const colours = this.colours;
    const data = this.data;
    const small = { open: new Path2D(), blocked: new Path2D(), probed: new Path2D() };
    this.targetGrid[this.side].find(visible, i => {
      const target = data.targets[i];
      const width = (target.box[2] - target.box[0]) * scale;
      const height = (target.box[3] - target.box[1]) * scale;
      if (Math.max(width, height) < 5) {
        small[target.state].rect(
          target.box[0],
          target.box[1],
          Math.max(target.box[2] - target.box[0], 1.5 / scale),
          Math.max(target.box[3] - target.box[1], 1.5 / scale),
        );
        return;
      }
      context.save();
      context.translate(target.x, target.y);
      const path = this.path('s' + target.shape, () => BoardView.ringsPath(data.shapes[target.shape]));
      context.fillStyle = this.padColour(target);
      context.fill(path, 'evenodd');
      context.strokeStyle = target.state === 'blocked' ? colours.blocked : colours.open;
      context.lineWidth = 1.2 / scale;
      context.stroke(path);
      if (target.state === 'blocked' && Math.min(width, height) > 9) {
        const arm = Math.min(target.box[2] - target.box[0], target.box[3] - target.box[1]) * 0.25;
        context.beginPath();
        context.moveTo(-arm, -arm);
        context.lineTo(arm, arm);
        context.moveTo(-arm, arm);
        context.lineTo(arm, -arm);
        context.stroke();
      }
      context.restore();
    });
    context.fillStyle = colours.blocked;
    context.fill(small.blocked);
    context.fillStyle = colours.open;
    context.fill(small.open);
    context.fill(small.probed);
  }
  padColour(target) {
    if (target.state === 'blocked') return this.colours.blocked + '55';
    return this.on.odds ? this.oddsColour(target.miss) : this.colours.open + '44';
  }
  oddsColour(miss) {
    return ramp(Math.min(Math.max((Math.log10(Math.max(miss, 1e-12)) + 12) / 10, 0), 1));
  }
  /** Traces the symbol of a class. */
  static symbol(context, cls, x, y, radius) {
    context.beginPath();
    const corners = [0, 4, 3, 5, 6, 8][cls % 6];
    if (!corners) context.arc(x, y, radius, 0, 7);
    else
      for (let i = 0; i < corners; i++) {
        const angle = Math.PI / 2 + (corners === 4 ? Math.PI / 4 : 0) + (2 * Math.PI * i) / corners;
        context[i ? 'lineTo' : 'moveTo'](x + 1.2 * radius * Math.cos(angle), y + 1.2 * radius * Math.sin(angle));
      }
    context.closePath();
  }
  probes(context, visible, scale) {
    for (const probe of this.data.probes) {
      if (
        probe.side !== this.side ||
        probe.x < visible[0] - 3000 ||
        probe.x > visible[2] + 3000 ||
        probe.y < visible[1] - 3000 ||
        probe.y > visible[3] + 3000
      )
        continue;
      const radius = Math.max(probe.head / 2, 3.2 / scale);
      const colour = CLASS_COLOURS[probe.cls % CLASS_COLOURS.length];
      BoardView.symbol(context, probe.cls, probe.x, probe.y, radius);
      context.fillStyle = colour + 'cc';
      context.fill();
      context.strokeStyle = this.colours.text;
      context.lineWidth = 0.8 / scale;
      context.stroke();
    }
  }
  keepOuts(context, px) {
    context.strokeStyle = this.colours.keep;
    context.fillStyle = this.colours.keep + '22';
    context.lineWidth = 1.2 * px;
    context.setLineDash([6 * px, 3 * px]);
    for (const [, side, area] of this.data.keep_outs)
      if (side === 'both' || side === this.side) {
        const path = BoardView.ringsPath(area);
        context.fill(path, 'evenodd');
        context.stroke(path);
      }
    context.setLineDash([]);
  }
  plates(context, px) {
    context.lineWidth = px;
    for (const plate of this.data.plates) {
      if (plate.side !== this.side) continue;
      context.strokeStyle = this.colours.edge;
      context.fillStyle = this.colours.edge + '14';
      for (const pocket of plate.pockets) {
        const path = BoardView.ringsPath(pocket);
        context.fill(path, 'evenodd');
        context.stroke(path);
      }
      context.beginPath();
      for (let i = 0; i < plate.holes.length; i += 5) {
        context.moveTo(plate.holes[i] + plate.holes[i + 2] / 2, plate.holes[i + 1]);
        context.arc(plate.holes[i], plate.holes[i + 1], plate.holes[i + 2] / 2, 0, 7);
      }
      context.stroke();
    }
  }
  old(context, px) {
    context.strokeStyle = this.colours.old;
    context.lineWidth = 1.2 * px;
    context.setLineDash([5 * px, 3 * px]);
    context.stroke(BoardView.ringsPath(this.data.old.outline));
    for (const part of this.data.old.parts) if (part.side === this.side) context.stroke(BoardView.ringsPath(part.area));
    context.beginPath();
    for (const [side, x0, y0, x1, y1] of this.data.old.pads)
      if ((side ? 'bottom' : 'top') === this.side) context.rect(x0, y0, x1 - x0, y1 - y0);
    context.lineWidth = 0.8 * px;
    context.stroke();
    context.setLineDash([]);
  }
  wires(context, px) {
    const mine = new Set(this.data.probes.filter(probe => probe.side === this.side).map(probe => probe.name));
    context.strokeStyle = this.colours.text + '66';
    context.lineWidth = 0.8 * px;
    context.beginPath();
    for (const wire of this.data.wires)
      if (mine.has(wire[1])) {
        context.moveTo(wire[3], wire[4]);
        context.lineTo(wire[5], wire[6]);
      }
    context.stroke();
  }
  supports(context, px) {
    for (const [, side, finger, x, y] of this.data.supports) {
      if ((side ? 'bottom' : 'top') !== this.side) continue;
      BoardView.symbol(context, finger ? 2 : 1, x, y, Math.max(1300, 6 * px));
      context.fillStyle = this.colours.text + '33';
      context.fill();
      context.strokeStyle = this.colours.text;
      context.lineWidth = 1.6 * px;
      context.stroke();
    }
  }
  advice(context, px) {
    context.strokeStyle = this.colours.advice;
    context.lineWidth = 1.6 * px;
    for (const [, , side, x, y, free] of this.data.advice) {
      if ((side ? 'bottom' : 'top') !== this.side || !(free > 0)) continue;
      const radius = Math.max(free / 2, 4 * px);
      context.beginPath();
      context.arc(x, y, radius, 0, 7);
      context.moveTo(x - radius / 2, y);
      context.lineTo(x + radius / 2, y);
      context.moveTo(x, y - radius / 2);
      context.lineTo(x, y + radius / 2);
      context.stroke();
    }
  }
  names(context, matrix, scale, visible) {
    context.save();
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.textAlign = 'center';
    context.textBaseline = 'middle';
    let count = 0;
    const put = (text, x, y, size, weight) => {
      if (++count > NAMES) return;
      context.font = weight + ' ' + size + 'px system-ui,sans-serif';
      const px = matrix[0] * x + matrix[2] * y + matrix[4];
      const py = matrix[1] * x + matrix[3] * y + matrix[5];
      context.strokeStyle = this.colours.board;
      context.lineWidth = 3;
      context.strokeText(text, px, py);
      context.fillStyle = this.colours.text;
      context.fillText(text, px, py);
    };
    const ratio = this.pixelRatio || 1;
    if (this.on.parts)
      this.partGrid[this.side].find(visible, i => {
        const part = this.data.parts[i];
        const box = part.box;
        const width = Math.min(box[2] - box[0], box[3] - box[1]) * scale;
        if (part.area.length && width > 16 * ratio)
          put(part.name, (box[0] + box[2]) / 2, (box[1] + box[3]) / 2, Math.min(12 * ratio, width * 0.45), '400');
      });
    if (this.on.probes && scale > 0.025 * ratio)
      for (const probe of this.data.probes)
        if (
          probe.side === this.side &&
          probe.x > visible[0] &&
          probe.x < visible[2] &&
          probe.y > visible[1] &&
          probe.y < visible[3]
        )
          put(
            scale > 0.07 * ratio ? probe.name + ' ' + probe.net : probe.name,
            probe.x,
            probe.y - (probe.head / 2 + (9 * ratio) / scale) * (this.turn === 2 ? -1 : 1),
            11 * ratio,
            '600',
          );
    context.restore();
  }
  /** Draws what is highlighted over everything else. */
  highlights(context, visible) {
    const colours = this.colours;
    const px = 1 / this.scale;
    context.setTransform(...this.matrix());
    context.strokeStyle = colours.find;
    context.lineWidth = 2.4 * px;
    for (const i of this.found.parts) {
      const part = this.data.parts[i];
      if (part.side === this.side && part.area.length)
        context.stroke(this.path('p' + i, () => BoardView.ringsPath(part.area)));
    }
    let count = 0;
    for (const i of this.found.targets) {
      const target = this.data.targets[i];
      if (
        target.side !== this.side ||
        target.box[2] < visible[0] ||
        target.box[0] > visible[2] ||
        target.box[3] < visible[1] ||
        target.box[1] > visible[3] ||
        ++count > 4000
      )
        continue;
      const radius =
        Math.max((target.box[2] - target.box[0]) / 2, (target.box[3] - target.box[1]) / 2, 4 * px) + 3 * px;
      context.beginPath();
      context.arc(target.x, target.y, radius, 0, 7);
      context.stroke();
    }
    this.tool?.paint?.(context, px, colours);
    for (const i of this.found.probes) {
      const probe = this.data.probes[i];
      if (probe.side === this.side) {
        BoardView.symbol(context, probe.cls, probe.x, probe.y, Math.max(probe.head / 2, 6 * px) + 4 * px);
        context.stroke();
      }
    }
  }

  /** What lies under a point of the screen. Probes go before places for pads, pads, parts and keep-outs. */
  pick(px, py) {
    const [x, y] = this.toBoard(px, py);
    const near = (4 * this.pixelRatio) / this.scale;
    let best = null;
    let least = Infinity;
    for (const probe of this.data.probes)
      if (probe.side === this.side) {
        const distance = Math.hypot(probe.x - x, probe.y - y);
        if (distance <= Math.max(probe.head / 2, near) && distance < least) {
          least = distance;
          best = { kind: 'probe', id: probe.id };
        }
      }
    if (best) return best;
    if (this.on.advice)
      this.data.advice.forEach(([, , side, ax, ay, free], id) => {
        if (
          (side ? 'bottom' : 'top') === this.side &&
          free > 0 &&
          Math.hypot(ax - x, ay - y) <= Math.max(free / 2, near)
        )
          best = { kind: 'place', id };
      });
    if (best) return best;
    const visible = [x - near, y - near, x + near, y + near];
    const smallest = (grid, list, kind) =>
      grid.find(visible, i => {
        const box = list[i].box;
        const size = (box[2] - box[0]) * (box[3] - box[1]);
        if (size < least) {
          least = size;
          best = { kind, id: i };
        }
      });
    if (this.on.targets) smallest(this.targetGrid[this.side], this.data.targets, 'pad');
    if (!best && this.on.parts) smallest(this.partGrid[this.side], this.data.parts, 'part');
    if (!best && this.on.keep)
      this.data.keep_outs.forEach(([, side, area], id) => {
        if ((side === 'both' || side === this.side) && inside(area, x, y)) best = { kind: 'keep-out', id };
      });
    return best;
  }
  listen() {
    const canvas = this.canvas;
    const at = event => {
      const rect = canvas.getBoundingClientRect();
      return [(event.clientX - rect.left) * this.pixelRatio, (event.clientY - rect.top) * this.pixelRatio];
    };
    const on = (what, handler, more) => canvas.addEventListener(what, handler, { signal: this.end.signal, ...more });
    on(
      'wheel',
      event => {
        event.preventDefault();
        this.zoom(Math.exp(-event.deltaY * (event.ctrlKey ? 0.01 : 0.0016)), ...at(event));
      },
      { passive: false },
    );
    const down = new Map();
    let moved = 0;
    let drawing = false;
    on('pointerdown', event => {
      canvas.setPointerCapture(event.pointerId);
      down.set(event.pointerId, at(event));
      if (down.size === 1) moved = 0;
      drawing = Boolean(down.size === 1 && this.tool?.down(...this.toBoard(...at(event))));
    });
    on('pointermove', event => {
      if (!down.has(event.pointerId)) return;
      const before = [...down.values()].map(point => [...point]);
      const was = down.get(event.pointerId);
      const now = at(event);
      down.set(event.pointerId, now);
      moved += Math.hypot(now[0] - was[0], now[1] - was[1]);
      if (drawing) {
        this.tool?.move(...this.toBoard(...now));
        this.draw();
        return;
      }
      if (down.size === 1) {
        this.pan(now[0] - was[0], now[1] - was[1]);
        return;
      }
      const after = [...down.values()];
      const distance = points => Math.hypot(points[0][0] - points[1][0], points[0][1] - points[1][1]);
      this.zoom(
        distance(after) / Math.max(distance(before), 1),
        (after[0][0] + after[1][0]) / 2,
        (after[0][1] + after[1][1]) / 2,
      );
    });
    const up = event => {
      if (!down.delete(event.pointerId)) return;
      if (drawing) {
        drawing = false;
        this.tool?.up(...this.toBoard(...at(event)));
        this.draw();
        return;
      }
      if (event.type === 'pointercancel') return;
      if (moved < 5 * this.pixelRatio && !down.size) this.onPick(this.pick(...at(event)));
    };
    on('pointerup', up);
    on('pointercancel', up);
    on('keydown', event => {
      const step = 80 * this.pixelRatio;
      const shift = { ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] }[
        event.key
      ];
      if (shift) this.pan(...shift);
      else if (event.key === '+' || event.key === '=') this.zoom(1.4);
      else if (event.key === '-') this.zoom(1 / 1.4);
      else if (event.key === '0') this.all();
      else if (event.key === 'f') this.flip();
      else if (event.key === 'r') this.rotate();
      else return;
      event.preventDefault();
    });
    // On paper the ground is white, and the whole board is shown.
    addEventListener(
      'beforeprint',
      () => {
        this.paper = { scale: this.scale, cx: this.cx, cy: this.cy };
        this.picture = null;
        this.all();
        this.frame();
      },
      { signal: this.end.signal },
    );
    addEventListener(
      'afterprint',
      () => {
        Object.assign(this, this.paper);
        this.paper = null;
        this.changed();
      },
      { signal: this.end.signal },
    );
    matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => this.changed(), {
      signal: this.end.signal,
    });
  }
}
