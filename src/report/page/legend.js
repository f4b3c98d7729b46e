// The legend: the symbol of each layer that is drawn.
import { CLASS_COLOURS, ramp } from './colours.js';
import { $, make, mm } from './elements.js';
import { symbol } from './layers.js';

const highest = list => list.reduce((left, right) => Math.max(left, right), -Infinity);
const lowest = list => list.reduce((left, right) => Math.min(left, right), Infinity);

/** The colours of bending, with its limit. */
function scaleOf(view, box) {
  const strain = view.data.strain;
  const width = 120;
  const over = view.on.strain ? 26 : 0;
  const canvas = make('canvas', null, { width: width + over, height: 12 });
  const context = canvas.getContext('2d');
  for (let x = 0; x < width; x++) {
    context.fillStyle = ramp(x / width);
    context.fillRect(x, 0, 1, 12);
  }
  if (over) {
    context.fillStyle = view.colours.over;
    context.fillRect(width, 0, over, 12);
    context.fillStyle = view.colours.text;
    context.fillRect(width - 1, 0, 2, 12);
  }
  const item = make('span');
  const shape = `board ${strain.free_shape} before it is pressed`;
  if (view.on.strain)
    item.append(
      'strain, microstrain: 0 ',
      canvas,
      ` limit ${strain.limit} of ball grids and ceramics; most ${highest(strain.microstrain)}; ${shape}`,
    );
  else
    item.append(
      `deflection towards the top: ${mm(lowest(strain.deflection))} `,
      canvas,
      ` ${mm(highest(strain.deflection))}; ${shape}`,
    );
  box.append(item);
}

/** Writes the legend of the layers that are drawn. */
export function showLegend(view) {
  const data = view.data;
  const box = $('legend');
  box.replaceChildren();
  const entry = (words, draw) => {
    const canvas = make('canvas', null, { width: 26, height: 22 });
    const context = canvas.getContext('2d');
    draw(context);
    const item = make('span');
    item.append(canvas, words);
    box.append(item);
  };
  if (view.on.probes)
    data.classes.forEach((cls, i) => {
      const count = data.probes.filter(probe => probe.cls === i).length;
      if (count)
        entry(`probe ${cls.name} (${count})`, context => {
          context.setTransform(1, 0, 0, -1, 0, 22);
          symbol(context, i, 13, 11, 7);
          context.fillStyle = CLASS_COLOURS[i % CLASS_COLOURS.length];
          context.fill();
        });
    });
  const pad = (colour, cross) => context => {
    context.strokeStyle = colour;
    context.lineWidth = 2;
    context.strokeRect(6, 4, 14, 14);
    if (cross) {
      context.beginPath();
      context.moveTo(9, 7);
      context.lineTo(17, 15);
      context.moveTo(17, 7);
      context.lineTo(9, 15);
      context.stroke();
    }
  };
  if (view.on.targets) {
    entry('pad open to a probe', pad(view.colours.open));
    entry('pad blocked', pad(view.colours.blocked, true));
  }
  if (view.on.parts)
    entry('part (dashed: height assumed)', context => {
      context.strokeStyle = view.colours.part;
      context.strokeRect(5, 5, 16, 12);
    });
  if (view.on.keep && data.keep_outs.length)
    entry('keep-out', context => {
      context.strokeStyle = view.colours.keep;
      context.fillStyle = view.colours.keep + '22';
      context.setLineDash([5, 3]);
      context.fillRect(4, 4, 18, 14);
      context.strokeRect(4, 4, 18, 14);
    });
  if (view.on.supports)
    for (const [words, finger] of [
      ['board stop', 0],
      ['push finger', 1],
    ])
      if (data.supports.some(support => support[2] === finger))
        entry(words, context => {
          context.setTransform(1, 0, 0, -1, 0, 22);
          symbol(context, finger ? 2 : 1, 13, 11, 7);
          context.fillStyle = view.colours.text + '33';
          context.fill();
          context.strokeStyle = view.colours.text;
          context.lineWidth = 1.6;
          context.stroke();
        });
  if (view.on.holes)
    entry('tooling hole', context => {
      context.strokeStyle = view.colours.edge;
      context.beginPath();
      context.arc(13, 11, 6, 0, 7);
      context.moveTo(3, 11);
      context.lineTo(23, 11);
      context.moveTo(13, 1);
      context.lineTo(13, 21);
      context.stroke();
    });
  if (view.on.advice && data.advice.length)
    entry('room for a test pad (click for details)', context => {
      context.strokeStyle = view.colours.advice;
      context.lineWidth = 1.6;
      context.beginPath();
      context.arc(13, 11, 7, 0, 7);
      context.moveTo(9, 11);
      context.lineTo(17, 11);
      context.moveTo(13, 7);
      context.lineTo(13, 15);
      context.stroke();
    });
  if ((view.on.deflection || view.on.strain) && data.strain) scaleOf(view, box);
  if (view.on.odds) box.append(make('span', 'chance of a miss per touch: 1e-12 (dark) to 1 in 100 (bright)'));
}
