// The board on a canvas: one side as it is seen from its own side, turned and scaled at will. A scene with too much in
// sight is drawn once into a picture, which is then moved and scaled.
import { DARK, LIGHT } from './colours.js';
import { Grid } from './grid.js';
import {
  drawAdvice,
  drawCopper,
  drawHighlights,
  drawHoles,
  drawKeepOuts,
  drawNames,
  drawOld,
  drawParts,
  drawPlates,
  drawProbes,
  drawStress,
  drawSupports,
  drawTargets,
  drawWires,
  layersOf,
  ringsPath,
} from './layers.js';
import { drawScale, drawSmall } from './reading.js';
import { listenTo } from './strokes.js';

const MOST = 14000; // So many primitives are drawn one by one in a frame. Beyond that the picture serves.
// Pixels along the longer edge of the picture, and of a first one that serves until there is time for the better one.
const PICTURE = 1900;
const ROUGH = 800;

/** Whether a point lies inside rings, by the even-odd rule. */
export function inside(rings, x, y) {
  let odd = false;
  for (const ring of rings)
    for (let i = 0; i < ring.length; i += 2) {
      const j = i ? i - 2 : ring.length - 2;
      if (ring[i + 1] > y === ring[j + 1] > y) continue;
      if (x < ring[i] + ((ring[j] - ring[i]) * (y - ring[i + 1])) / (ring[j + 1] - ring[i + 1])) odd = !odd;
    }
  return odd;
}

/** Nothing highlighted. */
export const nothing = () => ({ nets: new Set(), targets: new Set(), parts: new Set(), probes: new Set() });

/** How the address names a layer that is not as at first. */
const apartName = ([layer, , on]) => (on ? '-' : '') + layer;

/** The number of the smallest item of a list that a window meets; -1: none. */
function smallestIn(grid, list, window) {
  let best = -1;
  let least = Infinity;
  grid.find(window, i => {
    const box = list[i].box;
    const size = (box[2] - box[0]) * (box[3] - box[1]);
    if (size < least) {
      least = size;
      best = i;
    }
  });
  return best;
}

/** What is made when it is first asked for. */
function lazily(make) {
  let made;
  return () => (made ??= make());
}

function copperGridOf({ lines, areas }) {
  const boxes = [];
  for (let i = 0; i < lines.length; i += 5)
    boxes.push([
      Math.min(lines[i], lines[i] + lines[i + 2]) - lines[i + 4],
      Math.min(lines[i + 1], lines[i + 1] + lines[i + 3]) - lines[i + 4],
      Math.max(lines[i], lines[i] + lines[i + 2]) + lines[i + 4],
      Math.max(lines[i + 1], lines[i + 1] + lines[i + 3]) + lines[i + 4],
    ]);
  return { lines: new Grid(boxes), areas: new Grid(areas.map(area => area.box)) };
}

export class BoardView {
  constructor(canvas, data, onPick) {
    this.canvas = canvas;
    this.data = data;
    this.onPick = onPick;
    this.firstSide = data.board.side_down ? 'bottom' : 'top';
    this.side = this.firstSide;
    this.turn = 0;
    this.layers = layersOf(data);
    this.on = Object.fromEntries(this.layers.map(([layer, , on]) => [layer, on]));
    this.found = nothing();
    this.frames = [];
    // The grids of a side are made when that side is first shown.
    this.targetGrid = this.bySide(side => this.grid(data.targets, side));
    this.partGrid = this.bySide(side => this.grid(data.parts, side));
    this.copperGrid = data.copper.map(layer => lazily(() => copperGridOf(layer)));
    this.paths = new Map();
    this.end = new AbortController();
    // A tool takes the strokes on the board that would otherwise move it: down(x, y), move(x, y), up(x, y), and
    // hover(x, y) while nothing is pressed. What it has drawn so far is painted by paint(context, px, colours). Escape
    // calls cancel().
    this.tool = null;
    // Another view that shows the other side of the same place.
    this.twin = null;
    listenTo(this);
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
  /** The layers that are shown or hidden otherwise than at first: "strain", "-names". */
  layersApart() {
    return this.layers.filter(([layer, , on]) => this.on[layer] !== on).map(apartName);
  }
  setLayers(apart) {
    for (const entry of this.layers) this.on[entry[0]] = apart.includes(apartName(entry)) !== entry[2];
  }
  /** The pad at a place of the side in sight, the smallest of them. */
  padAt(x, y) {
    return this.data.targets[smallestIn(this.targetGrid[this.side], this.data.targets, [x, y, x, y])] || null;
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
    // A board that is shown whole stays so.
    const whole = [this.cx, this.cy, this.scale].join() === this.whole;
    if (!this.scale || whole) this.all();
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
    this.whole = [this.cx, this.cy, this.scale].join();
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
  /** Shows a box unless all of it is in sight already. */
  reach(box, side) {
    const seen = this.visibleBox();
    const inSight = box[0] >= seen[0] && box[1] >= seen[1] && box[2] <= seen[2] && box[3] <= seen[3];
    if (!inSight || side !== this.side) this.show(box, side);
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
    this.small = null;
    this.draw();
    this.onView?.();
  }
  /** Shows the other side of what another view shows. */
  follow(other) {
    const before = [this.side, this.turn, ...Object.values(this.on)].join();
    for (const property of ['turn', 'scale', 'cx', 'cy', 'home', 'found', 'tool']) this[property] = other[property];
    this.side = other.side === 'top' ? 'bottom' : 'top';
    Object.assign(this.on, other.on);
    if (before !== [this.side, this.turn, ...Object.values(this.on)].join()) {
      this.picture = null;
      this.small = null;
    }
    this.waitForFrame();
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
    this.twin?.follow(this);
    this.onMove?.();
    this.waitForFrame();
  }
  waitForFrame() {
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
      if (this.on.names) drawNames(this, context, matrix, this.scale, visible);
      this.drawn = 1;
    } else {
      this.scene(context, this.matrix(), this.scale, visible);
    }
    drawHighlights(this, context, visible);
    drawScale(this, context);
    drawSmall(this, context);
    this.frames.push(performance.now() - t0);
    if (this.frames.length > 400) this.frames.shift();
  }
  inSight(visible) {
    let seen = 0;
    const count = () => ++seen <= MOST;
    this.targetGrid[this.side].find(visible, count);
    for (const i of this.copperInSight()) {
      this.copperGrid[i]().lines.find(visible, count);
      this.copperGrid[i]().areas.find(visible, count);
    }
    return seen;
  }
  /** The copper layers that are drawn: that of the side in sight, and those inside that were asked for. */
  copperInSight() {
    return [...this.data.copper.keys()].filter(i => {
      const { number, outer } = this.data.copper[i];
      return outer ? this.on.copper && outer === this.side : this.on['copper' + number];
    });
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

  /** Draws everything except what is highlighted. scale: pixels to a micrometre. */
  scene(context, matrix, scale, visible, noNames, noCopper) {
    const colours = this.colours;
    const data = this.data;
    const px = 1 / scale;
    context.setTransform(...matrix);
    context.lineJoin = 'round';
    const outline = this.path('outline', () => ringsPath(data.outline));
    context.fillStyle = colours.board;
    context.fill(outline, 'evenodd');
    if (!noCopper) drawCopper(this, context, visible, scale);
    if ((this.on.deflection || this.on.strain) && data.strain)
      drawStress(this, context, this.on.strain ? 'microstrain' : 'deflection');
    context.strokeStyle = colours.edge;
    context.lineWidth = 1.5 * px;
    context.stroke(outline);
    if (this.on.holes) drawHoles(this, context, visible, scale);
    if (this.on.parts) drawParts(this, context, visible, scale);
    if (this.on.targets) drawTargets(this, context, visible, scale);
    if (this.on.keep) drawKeepOuts(this, context, px);
    if (this.on.plates) drawPlates(this, context, px);
    if (this.on.old && data.old) drawOld(this, context, px);
    if (this.on.wires) drawWires(this, context, px);
    if (this.on.supports) drawSupports(this, context, px);
    if (this.on.advice) drawAdvice(this, context, px);
    if (this.on.probes) drawProbes(this, context, visible, scale);
    if (this.on.names && !noNames) drawNames(this, context, matrix, scale, visible);
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
    const smallest = (grid, list, kind) => {
      const id = smallestIn(grid, list, visible);
      if (id >= 0) best = { kind, id };
    };
    if (this.on.targets) smallest(this.targetGrid[this.side], this.data.targets, 'pad');
    if (!best && this.on.parts) smallest(this.partGrid[this.side], this.data.parts, 'part');
    if (!best && this.on.keep)
      this.data.keep_outs.forEach(([, side, area], id) => {
        if ((side === 'both' || side === this.side) && inside(area, x, y)) best = { kind: 'keep-out', id };
      });
    return best;
  }
}
