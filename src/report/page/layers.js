// The layers of the board. Each function draws one of them for a view of one side, in micrometres of the board.
// What is small on the screen is drawn in a simple way.
import { CLASS_COLOURS, ramp } from './colours.js';

const NAMES = 260; // So many names are written in a frame.

// Key, words, whether the layer is drawn from the start, and whether it lies over the board and is no part of it.
const LAYERS = [
  ['copper', 'copper', true],
  ['parts', 'parts', true],
  ['targets', 'pads', true],
  ['holes', 'holes', true],
  ['names', 'names', true],
  ['probes', 'probes', true, true],
  ['keep', 'keep-outs', true, true],
  ['supports', 'stops and push fingers', false, true],
  ['plates', 'plates', false, true],
  ['wires', 'wires', false, true],
  ['advice', 'room for test pads', false, true],
  ['odds', 'chance of a miss', false, true],
  ['deflection', 'deflection', false, true],
  ['strain', 'strain', false, true],
  ['old', 'old revision', false, true],
];

/** The layers that a board has, those of inner copper by their numbers. */
export function layersOf(data) {
  const there = {
    copper: data.copper.some(layer => layer.outer),
    deflection: data.strain,
    strain: data.strain,
    supports: data.supports.length,
    wires: data.wires.length,
    advice: data.advice.length,
    old: data.old,
  };
  const inside = data.copper
    .filter(layer => !layer.outer)
    .map(layer => ['copper' + layer.number, `copper, layer ${layer.number}`, false]);
  const all = [LAYERS[0], ...inside, ...LAYERS.slice(1)];
  return all.filter(([key]) => !(key in there) || there[key]);
}

/** Traces the symbol of a class. */
export function symbol(context, cls, x, y, radius) {
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

/** Rings as a path for the canvas. */
export function ringsPath(rings) {
  const path = new Path2D();
  for (const ring of rings) {
    if (ring.length < 4) continue;
    path.moveTo(ring[0], ring[1]);
    for (let i = 2; i < ring.length; i += 2) path.lineTo(ring[i], ring[i + 1]);
    path.closePath();
  }
  return path;
}

/** Strokes of copper, by their widths. */
function drawStrokes(context, lines, list) {
  const byWidth = new Map();
  for (const i of list) {
    const thickness = Math.round(lines[5 * i + 4] / 5);
    let same = byWidth.get(thickness);
    if (!same) byWidth.set(thickness, (same = []));
    same.push(i);
  }
  context.lineCap = 'round';
  for (const [thickness, same] of byWidth) {
    context.lineWidth = 10 * thickness || 10;
    context.beginPath();
    for (const i of same) {
      const x = lines[5 * i];
      const y = lines[5 * i + 1];
      context.moveTo(x, y);
      context.lineTo(x + (lines[5 * i + 2] || 0.1), y + lines[5 * i + 3]);
    }
    context.stroke();
  }
}

const copperPath = (view, layer, i) =>
  view.path('a' + layer + '/' + i, () => ringsPath(view.data.copper[layer].areas[i].rings));

export function drawCopper(view, context, visible, scale) {
  for (const layer of view.copperInSight()) {
    const copper = view.data.copper[layer];
    const grid = view.copperGrid[layer]();
    context.fillStyle = copper.outer ? view.colours.copper : view.colours.inside;
    context.strokeStyle = context.fillStyle;
    grid.areas.find(visible, i => {
      const box = copper.areas[i].box;
      if ((box[2] - box[0]) * scale < 0.6 && (box[3] - box[1]) * scale < 0.6) return;
      context.fill(copperPath(view, layer, i), 'evenodd');
    });
    const list = [];
    grid.lines.find(visible, i => {
      if (copper.lines[5 * i + 4] * 2 * scale >= 0.25) list.push(i);
    });
    drawStrokes(context, copper.lines, list);
  }
}

/** The copper of the nets that are highlighted, on all layers: that of the other layers shines through. */
function drawNets(view, context) {
  if (!view.found.nets.size) return;
  context.strokeStyle = view.colours.find;
  context.fillStyle = view.colours.find;
  view.data.copper.forEach((copper, layer) => {
    for (const net of view.found.nets) {
      context.globalAlpha = copper.outer === view.side ? 0.75 : 0.22;
      const [first, last] = copper.linesOf.get(net) || [0, 0];
      drawStrokes(
        context,
        copper.lines,
        Array.from({ length: last - first }, (_none, i) => first + i),
      );
      // A plane would cover all else.
      if (copper.outer === view.side) context.globalAlpha = 0.35;
      const [from, to] = copper.areasOf.get(net) || [0, 0];
      for (let i = from; i < to; i++) context.fill(copperPath(view, layer, i), 'evenodd');
    }
  });
  context.globalAlpha = 1;
}

/** Colours the board by deflection or strain. */
export function drawStress(view, context, what) {
  const strain = view.data.strain;
  const values = strain[what];
  let lo = Infinity;
  let hi = -Infinity;
  for (const value of values) {
    lo = Math.min(lo, value);
    hi = Math.max(hi, value);
  }
  const over = what === 'microstrain' ? strain.limit : Infinity;
  if (what === 'microstrain') {
    lo = 0;
    hi = over;
  }
  for (let i = 0; i < strain.triangles.length; i += 3) {
    const corners = [strain.triangles[i], strain.triangles[i + 1], strain.triangles[i + 2]];
    const mean = (values[corners[0]] + values[corners[1]] + values[corners[2]]) / 3;
    context.fillStyle =
      mean > over ? view.colours.over : ramp(hi > lo ? Math.min(1, (mean - lo) / (hi - lo)) : 0, 0.82);
    context.beginPath();
    corners.forEach((node, j) => context[j ? 'lineTo' : 'moveTo'](strain.nodes[2 * node], strain.nodes[2 * node + 1]));
    context.closePath();
    context.fill();
  }
}

export function drawHoles(view, context, visible, scale) {
  context.fillStyle = view.colours.hole;
  context.strokeStyle = view.colours.edge;
  for (const [x, y, dia, , tooling] of view.data.holes) {
    if (x < visible[0] - dia || x > visible[2] + dia || y < visible[1] - dia || y > visible[3] + dia || dia * scale < 1)
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

export function drawParts(view, context, visible, scale) {
  context.strokeStyle = view.colours.part;
  context.fillStyle = view.colours.partFill;
  view.partGrid[view.side].find(visible, i => {
    const part = view.data.parts[i];
    const box = part.box;
    if (!part.area.length || Math.max(box[2] - box[0], box[3] - box[1]) * scale < 2) return;
    const path = view.path('p' + i, () => ringsPath(part.area));
    context.fill(path, 'evenodd');
    context.setLineDash(part.known === 'confirmed' ? [] : [4 / scale, 3 / scale]);
    context.lineWidth = 1 / scale;
    context.stroke(path);
  });
  context.setLineDash([]);
}

function oddsColour(miss) {
  return ramp(Math.min(Math.max((Math.log10(Math.max(miss, 1e-12)) + 12) / 10, 0), 1));
}

function padColour(view, target) {
  if (target.state === 'blocked') return view.colours.blocked + '55';
  return view.on.odds ? oddsColour(target.miss) : view.colours.open + '44';
}

export function drawTargets(view, context, visible, scale) {
  const colours = view.colours;
  const data = view.data;
  const small = { open: new Path2D(), blocked: new Path2D(), probed: new Path2D() };
  view.targetGrid[view.side].find(visible, i => {
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
    const path = view.path('s' + target.shape, () => ringsPath(data.shapes[target.shape]));
    context.fillStyle = padColour(view, target);
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

/** The probes of the plan; while two plans are compared, those of both, each as far as it is turned up. */
export function drawProbes(view, context, visible, scale) {
  const now = view.compared ? view.compared.share : 1;
  if (view.compared) drawSome(view, view.compared.probes, 1 - now, context, visible, scale);
  drawSome(view, view.data.probes, now, context, visible, scale);
}
function drawSome(view, probes, share, context, visible, scale) {
  if (!(share > 0)) return;
  context.globalAlpha = share;
  for (const probe of probes) {
    if (
      probe.side !== view.side ||
      probe.x < visible[0] - 3000 ||
      probe.x > visible[2] + 3000 ||
      probe.y < visible[1] - 3000 ||
      probe.y > visible[3] + 3000
    )
      continue;
    const radius = Math.max(probe.head / 2, 3.2 / scale);
    const colour = CLASS_COLOURS[probe.cls % CLASS_COLOURS.length];
    symbol(context, probe.cls, probe.x, probe.y, radius);
    context.fillStyle = colour + 'cc';
    context.fill();
    context.strokeStyle = view.colours.text;
    context.lineWidth = 0.8 / scale;
    context.stroke();
  }
  context.globalAlpha = 1;
}

export function drawKeepOuts(view, context, px) {
  context.strokeStyle = view.colours.keep;
  context.fillStyle = view.colours.keep + '22';
  context.lineWidth = 1.2 * px;
  context.setLineDash([6 * px, 3 * px]);
  for (const [, side, area] of view.data.keep_outs)
    if (side === 'both' || side === view.side) {
      const path = ringsPath(area);
      context.fill(path, 'evenodd');
      context.stroke(path);
    }
  context.setLineDash([]);
}

export function drawPlates(view, context, px) {
  context.lineWidth = px;
  for (const plate of view.data.plates) {
    if (plate.side !== view.side) continue;
    context.strokeStyle = view.colours.edge;
    context.fillStyle = view.colours.edge + '14';
    for (const pocket of plate.pockets) {
      const path = ringsPath(pocket);
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

export function drawOld(view, context, px) {
  context.strokeStyle = view.colours.old;
  context.lineWidth = 1.2 * px;
  context.setLineDash([5 * px, 3 * px]);
  context.stroke(ringsPath(view.data.old.outline));
  for (const part of view.data.old.parts) if (part.side === view.side) context.stroke(ringsPath(part.area));
  context.beginPath();
  for (const [side, x0, y0, x1, y1] of view.data.old.pads)
    if ((side ? 'bottom' : 'top') === view.side) context.rect(x0, y0, x1 - x0, y1 - y0);
  context.lineWidth = 0.8 * px;
  context.stroke();
  context.setLineDash([]);
}

export function drawWires(view, context, px) {
  const mine = new Set(view.data.probes.filter(probe => probe.side === view.side).map(probe => probe.name));
  context.strokeStyle = view.colours.text + '66';
  context.lineWidth = 0.8 * px;
  context.beginPath();
  for (const wire of view.data.wires)
    if (mine.has(wire[1])) {
      context.moveTo(wire[3], wire[4]);
      context.lineTo(wire[5], wire[6]);
    }
  context.stroke();
}

export function drawSupports(view, context, px) {
  for (const [, side, finger, x, y] of view.data.supports) {
    if ((side ? 'bottom' : 'top') !== view.side) continue;
    symbol(context, finger ? 2 : 1, x, y, Math.max(1300, 6 * px));
    context.fillStyle = view.colours.text + '33';
    context.fill();
    context.strokeStyle = view.colours.text;
    context.lineWidth = 1.6 * px;
    context.stroke();
  }
}

export function drawAdvice(view, context, px) {
  context.strokeStyle = view.colours.advice;
  context.lineWidth = 1.6 * px;
  for (const [, , side, x, y, free] of view.data.advice) {
    if ((side ? 'bottom' : 'top') !== view.side || !(free > 0)) continue;
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

export function drawNames(view, context, matrix, scale, visible) {
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
    context.strokeStyle = view.colours.board;
    context.lineWidth = 3;
    context.strokeText(text, px, py);
    context.fillStyle = view.colours.text;
    context.fillText(text, px, py);
  };
  const ratio = view.pixelRatio || 1;
  if (view.on.parts)
    view.partGrid[view.side].find(visible, i => {
      const part = view.data.parts[i];
      const box = part.box;
      const width = Math.min(box[2] - box[0], box[3] - box[1]) * scale;
      if (part.area.length && width > 16 * ratio)
        put(part.name, (box[0] + box[2]) / 2, (box[1] + box[3]) / 2, Math.min(12 * ratio, width * 0.45), '400');
    });
  if (view.on.probes && scale > 0.025 * ratio)
    for (const probe of view.data.probes)
      if (
        probe.side === view.side &&
        probe.x > visible[0] &&
        probe.x < visible[2] &&
        probe.y > visible[1] &&
        probe.y < visible[3]
      )
        put(
          scale > 0.07 * ratio ? probe.name + ' ' + probe.net : probe.name,
          probe.x,
          probe.y - (probe.head / 2 + (9 * ratio) / scale) * (view.turn === 2 ? -1 : 1),
          11 * ratio,
          '600',
        );
  context.restore();
}

/** Draws what is highlighted over everything else. */
export function drawHighlights(view, context, visible) {
  const colours = view.colours;
  const px = 1 / view.scale;
  context.setTransform(...view.matrix());
  drawNets(view, context);
  context.strokeStyle = colours.find;
  context.lineWidth = 2.4 * px;
  for (const i of view.found.parts) {
    const part = view.data.parts[i];
    if (part.side === view.side && part.area.length) context.stroke(view.path('p' + i, () => ringsPath(part.area)));
  }
  let count = 0;
  // Copper shows where a net is; rings are for what has none.
  const rings = !(view.found.nets.size && view.data.copper.length);
  for (const i of rings ? view.found.targets : []) {
    const target = view.data.targets[i];
    if (
      target.side !== view.side ||
      target.box[2] < visible[0] ||
      target.box[0] > visible[2] ||
      target.box[3] < visible[1] ||
      target.box[1] > visible[3] ||
      ++count > 4000
    )
      continue;
    const radius = Math.max((target.box[2] - target.box[0]) / 2, (target.box[3] - target.box[1]) / 2, 4 * px) + 3 * px;
    context.beginPath();
    context.arc(target.x, target.y, radius, 0, 7);
    context.stroke();
  }
  view.tool?.paint?.(context, px, colours);
  for (const i of view.found.probes) {
    const probe = view.data.probes[i];
    if (probe.side === view.side) {
      symbol(context, probe.cls, probe.x, probe.y, Math.max(probe.head / 2, 6 * px) + 4 * px);
      context.stroke();
    }
  }
}
