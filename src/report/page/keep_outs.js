// Keep-outs are drawn on the board as a rectangle or corner by corner. One that is picked has handles: a corner or the
// whole of it is dragged. All of this can be done with numbers as well.
import { inside } from './board.js';
import { choice, field, push } from './edits.js';
import { make, mm } from './elements.js';

const ringPath = points => {
  const path = new Path2D();
  points.forEach(([x, y], i) => path[i ? 'lineTo' : 'moveTo'](x, y));
  path.closePath();
  return path;
};

/** Paints corners that the plan does not know yet, or no longer knows. */
const painter = cornersNow => (context, px, colours) => {
  const list = cornersNow();
  if (!list.length) return;
  context.strokeStyle = colours.find;
  context.fillStyle = colours.find + '22';
  context.lineWidth = 2 * px;
  const path = ringPath(list);
  context.fill(path);
  context.stroke(path);
  for (const [x, y] of list) context.strokeRect(x - 3 * px, y - 3 * px, 6 * px, 6 * px);
};

/** Ends drawing. */
function stop(page) {
  page.view.tool = null;
  page.view.draw();
}

/** A tool while somebody draws: the page stays as it is, and Escape ends it. */
const drawingTool = (page, tool) => ({ busy: true, cancel: () => stop(page), ...tool });

/** Has a rectangle drawn, and hands its corners to done. */
function drawRectangle(page, done) {
  let from = null;
  let to = null;
  const corners = () =>
    from && to
      ? [
          [from[0], from[1]],
          [to[0], from[1]],
          [to[0], to[1]],
          [from[0], to[1]],
        ]
      : [];
  page.view.tool = drawingTool(page, {
    down: (x, y) => {
      from = [x, y];
      to = [x, y];
      return true;
    },
    move: (x, y) => {
      to = [x, y];
    },
    up: (x, y) => {
      to = [x, y];
      const drawn = corners();
      stop(page);
      if (Math.abs(from[0] - to[0]) > 20 && Math.abs(from[1] - to[1]) > 20) done(drawn);
    },
    paint: painter(corners),
  });
}

/** Has corners drawn one after another, and hands them to done. */
function drawCorners(page, done) {
  const list = [];
  let last = null;
  const follow = (x, y) => {
    last = [x, y];
    page.view.draw();
  };
  page.view.tool = drawingTool(page, {
    down: () => true,
    move: follow,
    hover: follow,
    up: (x, y) => {
      const near = (8 * page.view.pixelRatio) / page.view.scale;
      if (list.length > 2 && Math.hypot(x - list[0][0], y - list[0][1]) < near) {
        stop(page);
        done(list);
        return;
      }
      list.push([x, y]);
      last = null;
    },
    paint: painter(() => (last ? [...list, last] : list)),
    list,
  });
}

/** Whether a place lies in a ring of [x, y] corners. */
export const isInside = (corners, x, y) => inside([corners.flat()], x, y);

/** The edits that put one corner elsewhere. A rectangle stays one: the corner across from it stays. */
export function corneredEdits(entry, corners, i, to, path) {
  if (entry.polygon) {
    const value = corners.map((corner, k) => (k === i ? to : corner).map(mm));
    return [{ do: 'set', path: path + '.polygon', value }];
  }
  const across = corners[(i + 2) % 4];
  const ends = [0, 1].map(axis => [across[axis], to[axis]].sort((one, other) => one - other));
  return ['from', 'to'].map((key, end) => ({
    do: 'set',
    path: `${path}.${key}`,
    value: ends.map(pair => mm(pair[end])),
  }));
}

/** Handles of the keep-out that is picked: they take a stroke that begins on them, and leave all others. */
function handles(live, page, entry, corners, path) {
  let grip = -1; // The corner that is dragged; -2: the whole; -1: nothing.
  let from = null;
  let to = null;
  const now = () => {
    if (!to) return corners;
    if (grip === -2) return corners.map(([x, y]) => [x + to[0] - from[0], y + to[1] - from[1]]);
    if (entry.polygon) return corners.map((corner, i) => (i === grip ? to : corner));
    const across = corners[(grip + 2) % 4];
    return [across, [to[0], across[1]], to, [across[0], to[1]]];
  };
  const tool = {
    isHandles: true,
    down: (x, y) => {
      // What is small on the screen can be held in its middle as well.
      const sides = corners.map(([x1, y1], i) => Math.hypot(x1 - corners.at(i - 1)[0], y1 - corners.at(i - 1)[1]));
      const near = Math.min((9 * page.view.pixelRatio) / page.view.scale, Math.min(...sides) / 4);
      grip = corners.findIndex(corner => Math.hypot(corner[0] - x, corner[1] - y) < near);
      if (grip < 0 && isInside(corners, x, y)) grip = -2;
      from = [x, y];
      tool.busy = grip !== -1;
      return tool.busy;
    },
    move: (x, y) => {
      to = [x, y];
    },
    up: () => {
      tool.busy = false;
      const end = to;
      to = null;
      if (!end || Math.hypot(end[0] - from[0], end[1] - from[1]) < 2 / page.view.scale) return;
      live.send(
        grip === -2
          ? movedEdits(entry, corners, [end[0] - from[0], end[1] - from[1]], path)
          : corneredEdits(entry, corners, grip, end, path),
      );
    },
    paint: (context, px, colours) => painter(now)(context, px, colours),
  };
  page.view.tool = tool;
  page.view.draw();
}

/**
 * The corners that somebody typed, such as "1 2; 5 2; 5 7", as a job file writes them. What is no corner is left out.
 */
export function polygonOf(text) {
  const polygon = [];
  for (const part of text.split(';')) {
    const corner = part
      .trim()
      .split(/[\s,]+/)
      .map(Number);
    if (corner.length === 2 && corner.every(Number.isFinite))
      polygon.push(corner.map(number => number.toFixed(3) + ' mm'));
  }
  return polygon;
}

/** The edits that turn an entry of the job, which stands at this path, into another value. */
export function changedEdits(entry, value, path) {
  const edits = [];
  // The polygon takes the place of the two corners of a rectangle.
  for (const key of ['from', 'to']) if (entry[key] !== undefined) edits.push({ do: 'remove', path: `${path}.${key}` });
  for (const [key, wanted] of Object.entries(value))
    if (JSON.stringify(entry[key]) !== JSON.stringify(wanted))
      edits.push({ do: 'set', path: `${path}.${key}`, value: wanted });
  for (const key of ['name', 'from_height', 'to_height'])
    if (entry[key] !== undefined && value[key] === undefined) edits.push({ do: 'remove', path: `${path}.${key}` });
  return edits;
}

/** The edits that move a keep-out by [dx, dy] micrometres. corners: where they are now. */
export function movedEdits(entry, corners, by, path) {
  const at = (x, y) => [mm(x + by[0]), mm(y + by[1])];
  if (entry.polygon) return [{ do: 'set', path: path + '.polygon', value: corners.map(corner => at(...corner)) }];
  const xs = corners.map(corner => corner[0]);
  const ys = corners.map(corner => corner[1]);
  return [
    { do: 'set', path: path + '.from', value: at(Math.min(...xs), Math.min(...ys)) },
    { do: 'set', path: path + '.to', value: at(Math.max(...xs), Math.max(...ys)) },
  ];
}

/**
 * Name, kind, side, heights and corners of a keep-out, to fill in. path: its entry in the job, or nothing for a new
 * one.
 */
function form(live, page, corners, entry, path) {
  const box = make('form', null, { className: 'changes' });
  const kinds = live.shop.kinds?.length ? live.shop.kinds : ['keep-out'];
  const name = field('name', entry.name || '', {});
  const kind = choice('kind', kinds, entry.kind || 'keep-out');
  const side = choice('side', ['both', 'top', 'bottom'], entry.side || 'both');
  const low = field('from height', entry.from_height || '', { placeholder: '0 mm' });
  const high = field('to height', entry.to_height || '', { placeholder: 'all' });
  const points = field(
    'corners, x y in mm',
    corners.map(([x, y]) => `${(x / 1000).toFixed(3)} ${(y / 1000).toFixed(3)}`).join('; '),
    { className: 'wide', spellcheck: false },
  );
  box.append(name, kind, side, low, high, points, make('button', path ? 'Change it' : 'Add it', { type: 'submit' }));
  box.onsubmit = event => {
    event.preventDefault();
    const polygon = polygonOf(points.control.value);
    if (polygon.length < 3) {
      live.say('A keep-out needs at least three corners, for example 1 2; 5 2; 5 7');
      return;
    }
    const value = { kind: kind.control.value, side: side.control.value, polygon };
    for (const [key, entered] of [
      ['name', name],
      ['from_height', low],
      ['to_height', high],
    ])
      if (entered.control.value.trim()) value[key] = entered.control.value.trim();
    if (!path) {
      live.send([{ do: 'append', path: 'keep_out', value }]);
      return;
    }
    live.send(changedEdits(entry, value, path));
  };
  return box;
}

/** Offers the ways to make a keep-out, while nothing is picked. */
export function keepOutStart(live, page, box) {
  if (live.shop.panel) {
    box.append(make('p', 'On a panel, keep-outs can only be changed in the job file.'));
    return;
  }
  const hint = make('p', '', { className: 'soft' });
  const holder = make('div');
  hint.setAttribute('role', 'status');
  const drawn = corners => {
    hint.textContent = '';
    holder.replaceChildren(form(live, page, corners, { side: page.view.side }, ''));
    holder.querySelector('input').focus();
  };
  box.append(
    push('Draw a keep-out as a rectangle', () => {
      hint.textContent = 'Drag from corner to corner on the board.';
      drawRectangle(page, drawn);
    }),
    push('Draw it corner by corner', () => {
      hint.textContent = 'Click the corners one after another. Click the first one again to finish.';
      drawCorners(page, drawn);
    }),
    push('Enter its corners', () => drawn([])),
    hint,
    holder,
  );
}

/** Offers to move, change and remove the keep-out that is picked. */
export function keepOutChanges(live, page, id, box) {
  const entry = (live.job.keep_out || [])[id];
  const area = page.data.keep_outs[id]?.[2]?.[0];
  if (!entry || !area || live.shop.panel) return;
  const corners = Array.from({ length: area.length / 2 }, (_none, i) => [area[2 * i], area[2 * i + 1]]);
  const path = `keep_out[${id}]`;
  handles(live, page, entry, corners, path);
  box.append(
    make('p', 'Drag it, or one of its corners, on the board.', { className: 'soft' }),
    push('Remove it', () => live.send([{ do: 'remove', path }])),
    form(live, page, corners, entry, path),
  );
}
