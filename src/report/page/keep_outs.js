// Keep-outs: drawn on the board as a rectangle or corner by corner, moved by dragging; or all of it by numbers.
import { make } from './main.js';
import { choice, field, push } from './edits.js';

const umText = um => (um / 1000).toFixed(3) + ' mm';
const ringPath = points => {
  const path = new Path2D();
  points.forEach(([x, y], i) => path[i ? 'lineTo' : 'moveTo'](x, y));
  path.closePath();
  return path;
};

/** Paints corners that are not yet, or no longer, what the plan knows. */
const painter = corners => (context, px, colours) => {
  const list = corners();
  if (!list.length) return;
  context.strokeStyle = colours.find;
  context.fillStyle = colours.find + '22';
  context.lineWidth = 2 * px;
  const path = ringPath(list);
  context.fill(path);
  context.stroke(path);
  for (const [x, y] of list) context.strokeRect(x - 3 * px, y - 3 * px, 6 * px, 6 * px);
};

function stop(page) {
  page.view.tool = null;
  page.view.draw();
}

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
function drawCorners(page, done) {
  const list = [];
  let last = null;
  page.view.tool = {
    down: () => true,
    move: (x, y) => {
      last = [x, y];
    },
    up: (x, y) => {
      const near = (8 * page.view.k) / page.view.scale;
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
    const polygon = points.control.value
      .split(';')
      .map(pair =>
        pair
          .trim()
          .split(/[\s,]+/)
          .map(Number),
      )
      .filter(pair => pair.length === 2 && pair.every(Number.isFinite))
      .map(pair => pair.map(number => number.toFixed(3) + ' mm'));
    if (polygon.length < 3) {
      live.say('A keep-out has three corners or more, such as 1 2; 5 2; 5 7');
      return;
    }
    const value = { kind: kind.control.value, side: side.control.value, polygon };
    for (const [k, entered] of [
      ['name', name],
      ['from_height', low],
      ['to_height', high],
    ])
      if (entered.control.value.trim()) value[k] = entered.control.value.trim();
    if (!path) {
      live.send([{ do: 'append', path: 'keep_out', value }]);
      return;
    }
    const edits = [];
    for (const k of ['from', 'to']) if (entry[k] !== undefined) edits.push({ do: 'remove', path: `${path}.${k}` });
    for (const [k, value] of Object.entries(value))
      if (JSON.stringify(entry[k]) !== JSON.stringify(value)) edits.push({ do: 'set', path: `${path}.${k}`, value: value });
    for (const k of ['name', 'from_height', 'to_height'])
      if (entry[k] !== undefined && value[k] === undefined) edits.push({ do: 'remove', path: `${path}.${k}` });
    live.send(edits);
  };
  return box;
}

/** With nothing picked: ways to draw one. */
export function keepOutStart(live, page, box) {
  if (live.shop.panel) {
    box.append(make('p', 'On a panel keep-outs are changed in the job file.'));
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
    push('Draw a keep-out: rectangle', () => {
      hint.textContent = 'Drag from corner to corner on the board.';
      drawRectangle(page, drawn);
    }),
    push('corner by corner', () => {
      hint.textContent = 'Click its corners; the first one again ends it.';
      drawCorners(page, drawn);
    }),
    push('by numbers', () => drawn([])),
    hint,
    holder,
  );
}

export function keepOutChanges(live, page, id, box) {
  const entry = (live.job.keep_out || [])[id];
  const area = page.d.keep_outs[id]?.[2]?.[0];
  if (!entry || !area || live.shop.panel) return;
  const corners = Array.from({ length: area.length / 2 }, (_none, i) => [area[2 * i], area[2 * i + 1]]);
  const path = `keep_out[${id}]`;
  const hint = make('p', '', { className: 'soft' });
  box.append(
    push('Move it', () => {
      let from = null;
      let by = [0, 0];
      hint.textContent = 'Drag on the board.';
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
          const at = (x, y) => [umText(x + by[0]), umText(y + by[1])];
          const xs = corners.map(corner => corner[0]);
          const ys = corners.map(corner => corner[1]);
          live.send(
            entry.polygon
              ? [{ do: 'set', path: path + '.polygon', value: corners.map(corner => at(...corner)) }]
              : [
                  { do: 'set', path: path + '.from', value: at(Math.min(...xs), Math.min(...ys)) },
                  { do: 'set', path: path + '.to', value: at(Math.max(...xs), Math.max(...ys)) },
                ],
          );
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
