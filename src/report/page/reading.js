// The line under the board says what lies under the pointer, and where. On the canvas stand a scale, and a small
// picture of the whole board while only a part is in sight.
import { $ } from './elements.js';

export const STATE_WORDS = { probed: 'probed', open: 'open to a probe', blocked: 'blocked' };

/** A round number of micrometres that is drawn no longer than so many pixels: 1, 2 or 5 times a power of ten. */
export function roundLength(pixels, scale) {
  const most = pixels / scale;
  const decade = 10 ** Math.floor(Math.log10(most));
  return [5, 2, 1].map(times => times * decade).find(length => length <= most);
}

/** What a thing under the pointer is, in a few words. */
export function inWords(data, what) {
  if (!what) return '';
  if (what.kind === 'probe') {
    const probe = data.probes[what.id];
    return `probe ${probe.name} on ${data.targets[probe.target].name}, net ${probe.net}`;
  }
  if (what.kind === 'pad') {
    const target = data.targets[what.id];
    const net = target.net >= 0 ? `, net ${data.nets[target.net].name}` : '';
    const why = target.state === 'blocked' && target.reasons.length ? ': ' + target.reasons.at(-1).reason : '';
    return `pad ${target.name}${net}, ${STATE_WORDS[target.state]}${why}`;
  }
  if (what.kind === 'part') {
    const part = data.parts[what.id];
    return `part ${part.name}${part.value ? ', ' + part.value : ''}, ${part.height.toFixed(2)} mm high (${part.known})`;
  }
  if (what.kind === 'keep-out') return 'keep-out ' + data.keep_outs[what.id][0];
  return `room for a test pad of net ${data.nets[data.advice[what.id][0]].name}`;
}

/** Says in the line under the board where the pointer is. */
export function readAt(view, px, py) {
  const [x, y] = view.toBoard(px, py);
  $('where').textContent = `${(x / 1000).toFixed(2)}, ${(y / 1000).toFixed(2)} mm`;
  if (!view.tool) $('under').textContent = inWords(view.data, view.pick(px, py));
}

/** A scale in the lower left corner. */
export function drawScale(view, context) {
  const ratio = view.pixelRatio;
  const length = roundLength(140 * ratio, view.scale);
  const pixels = length * view.scale;
  const left = 12 * ratio;
  const y = view.canvas.height - 12 * ratio;
  context.setTransform(1, 0, 0, 1, 0, 0);
  context.strokeStyle = view.colours.text;
  context.fillStyle = view.colours.text;
  context.lineWidth = 1.5 * ratio;
  context.beginPath();
  context.moveTo(left, y - 5 * ratio);
  context.lineTo(left, y);
  context.lineTo(left + pixels, y);
  context.lineTo(left + pixels, y - 5 * ratio);
  context.stroke();
  context.font = `${12 * ratio}px system-ui,sans-serif`;
  context.textAlign = 'left';
  context.textBaseline = 'bottom';
  context.fillText(length >= 1000 ? `${length / 1000} mm` : `${length} \u00b5m`, left + 4 * ratio, y - 5 * ratio);
}

const SMALL = 150; // Pixels of the screen along the longer edge of the small picture.

/** The box of the small picture, [left, top, width, height] in pixels of the canvas. None while all is in sight. */
export function smallBox(view) {
  if (view.paper || view.scale < 1.6 * view.home || view.canvas.height < 2 * SMALL * view.pixelRatio) return null;
  const box = view.data.box;
  const quarter = view.turn % 2;
  const wide = quarter ? box[3] - box[1] : box[2] - box[0];
  const high = quarter ? box[2] - box[0] : box[3] - box[1];
  const scale = (SMALL * view.pixelRatio) / Math.max(wide, high);
  const edge = 10 * view.pixelRatio;
  return [view.canvas.width - wide * scale - edge, edge, wide * scale, high * scale];
}

/** From the small picture to the board, for a place in its box. */
function smallMatrix(view, [left, top, width, height]) {
  const box = view.data.box;
  const scale = Math.max(width, height) / Math.max(box[2] - box[0], box[3] - box[1]);
  const matrix = view.matrix(scale, (box[0] + box[2]) / 2, (box[1] + box[3]) / 2, width, height);
  matrix[4] += left;
  matrix[5] += top;
  return matrix;
}

/** Draws the small picture, with a frame around what is in sight. */
export function drawSmall(view, context) {
  const at = smallBox(view);
  if (!at) return;
  view.small ||= view.paint(2 * SMALL * view.pixelRatio, true);
  context.setTransform(1, 0, 0, 1, 0, 0);
  context.fillStyle = view.colours.ground;
  context.strokeStyle = view.colours.edge;
  context.lineWidth = view.pixelRatio;
  context.fillRect(...at);
  context.globalAlpha = 0.85;
  context.drawImage(view.small.canvas, ...at);
  context.globalAlpha = 1;
  context.strokeRect(...at);
  const matrix = smallMatrix(view, at);
  const seen = view.visibleBox();
  const place = (x, y) => [matrix[0] * x + matrix[2] * y + matrix[4], matrix[1] * x + matrix[3] * y + matrix[5]];
  const ends = [place(seen[0], seen[1]), place(seen[2], seen[3])];
  const [left, right] = [ends[0][0], ends[1][0]].sort((one, other) => one - other);
  const [top, bottom] = [ends[0][1], ends[1][1]].sort((one, other) => one - other);
  context.save();
  context.beginPath();
  context.rect(...at);
  context.clip();
  context.strokeStyle = view.colours.find;
  context.lineWidth = 2 * view.pixelRatio;
  context.strokeRect(left, top, Math.max(4, right - left), Math.max(4, bottom - top));
  context.restore();
}

/** The place of the board under a point of the small picture; nothing beside it. */
export function placeInSmall(view, px, py) {
  const at = smallBox(view);
  if (!at || px < at[0] || py < at[1] || px > at[0] + at[2] || py > at[1] + at[3]) return null;
  const matrix = smallMatrix(view, at);
  const det = matrix[0] * matrix[3] - matrix[1] * matrix[2];
  const x = px - matrix[4];
  const y = py - matrix[5];
  return [(matrix[3] * x - matrix[2] * y) / det, (matrix[0] * y - matrix[1] * x) / det];
}
