// Keep-outs are drawn on the board as a rectangle or corner by corner, and moved by dragging. All of this can be done
// with numbers as well.
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
  page.view.tool = {
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
  };
}

/** Has corners drawn one after another, and hands them to done. */
function drawCorners(page, done) {
  const list = [];
  let last = null;
  page.view.tool = {
    down: () => true,
    move: (x, y) => {
      last = [x, y];
    },
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
  };
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
  const hint = make('p', '', { className: 'soft' });
  box.append(
    push('Move it', () => {
      let from = null;
      let by = [0, 0];
      hint.textContent = 'Drag it on the board.';
      page.view.tool = {
        down: (x, y) => {
          from = [x, y];
          return true;
        },
        move: (x, y) => {
          by = [x - from[0], y - from[1]];
        },
        up: () => {
          stop(page);
          if (Math.hypot(...by) < 1) return;
          live.send(movedEdits(entry, corners, by, path));
        },
        paint: painter(() => corners.map(([x, y]) => [x + by[0], y + by[1]])),
      };
      page.view.draw();
    }),
    push('Remove it', () => live.send([{ do: 'remove', path }])),
    hint,
    form(live, page, corners, entry, path),
  );
}
