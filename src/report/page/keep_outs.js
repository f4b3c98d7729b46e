// Keep-outs: drawn on the board as a rectangle or corner by corner, moved by dragging; or all of it by numbers.
import { make } from './main.js';
import { choice, field, push } from './edits.js';

const umText = um => (um / 1000).toFixed(3) + ' mm';
const ringPath = points => { const p = new Path2D(); points.forEach(([x, y], i) => p[i ? 'lineTo' : 'moveTo'](x, y)); p.closePath(); return p; };

/** Paints corners that are not yet, or no longer, what the plan knows. */
const painter = corners => (g, px, c) => {
  const list = corners();
  if (!list.length) return;
  g.strokeStyle = c.find; g.fillStyle = c.find + '22'; g.lineWidth = 2 * px;
  const p = ringPath(list);
  g.fill(p); g.stroke(p);
  for (const [x, y] of list) g.strokeRect(x - 3 * px, y - 3 * px, 6 * px, 6 * px);
};

function stop(page) { page.view.tool = null; page.view.draw(); }

function drawRectangle(page, done) {
  let a = null, b = null;
  const corners = () => a && b ? [[a[0], a[1]], [b[0], a[1]], [b[0], b[1]], [a[0], b[1]]] : [];
  page.view.tool = { down: (x, y) => { a = [x, y]; b = [x, y]; return true; }, move: (x, y) => { b = [x, y]; }, up: (x, y) => { b = [x, y]; const c = corners(); stop(page); if (Math.abs(a[0] - b[0]) > 20 && Math.abs(a[1] - b[1]) > 20) done(c); }, paint: painter(corners) };
}
function drawCorners(page, done) {
  const list = [];
  let last = null;
  page.view.tool = {
    down: () => true, move: (x, y) => { last = [x, y]; },
    up: (x, y) => {
      const near = 8 * page.view.k / page.view.scale;
      if (list.length > 2 && Math.hypot(x - list[0][0], y - list[0][1]) < near) { stop(page); done(list); return; }
      list.push([x, y]); last = null;
    },
    paint: painter(() => last ? [...list, last] : list), list };
}

function form(live, page, corners, entry, path) {
  const box = make('form', null, { className: 'changes' }), kinds = live.shop.kinds?.length ? live.shop.kinds : ['keep-out'];
  const name = field('name', entry.name || '', {}), kind = choice('kind', kinds, entry.kind || 'keep-out'), side = choice('side', ['both', 'top', 'bottom'], entry.side || 'both');
  const low = field('from height', entry.from_height || '', { placeholder: '0 mm' }), high = field('to height', entry.to_height || '', { placeholder: 'all' });
  const points = field('corners, x y in mm', corners.map(([x, y]) => `${(x / 1000).toFixed(3)} ${(y / 1000).toFixed(3)}`).join('; '), { className: 'wide', spellcheck: false });
  box.append(name, kind, side, low, high, points, make('button', path ? 'Change it' : 'Add it', { type: 'submit' }));
  box.onsubmit = e => {
    e.preventDefault();
    const polygon = points.control.value.split(';').map(p => p.trim().split(/[\s,]+/).map(Number)).filter(p => p.length === 2 && p.every(Number.isFinite)).map(p => p.map(v => v.toFixed(3) + ' mm'));
    if (polygon.length < 3) { live.say('A keep-out has three corners or more, such as 1 2; 5 2; 5 7'); return; }
    const value = { kind: kind.control.value, side: side.control.value, polygon };
    for (const [k, f] of [['name', name], ['from_height', low], ['to_height', high]]) if (f.control.value.trim()) value[k] = f.control.value.trim();
    if (!path) { live.send([{ do: 'append', path: 'keep_out', value }]); return; }
    const edits = [];
    for (const k of ['from', 'to']) if (entry[k] !== undefined) edits.push({ do: 'remove', path: `${path}.${k}` });
    for (const [k, v] of Object.entries(value)) if (JSON.stringify(entry[k]) !== JSON.stringify(v)) edits.push({ do: 'set', path: `${path}.${k}`, value: v });
    for (const k of ['name', 'from_height', 'to_height']) if (entry[k] !== undefined && value[k] === undefined) edits.push({ do: 'remove', path: `${path}.${k}` });
    live.send(edits);
  };
  return box;
}

/** With nothing picked: ways to draw one. */
export function keepOutStart(live, page, box) {
  if (live.shop.panel) { box.append(make('p', 'On a panel keep-outs are changed in the job file.')); return; }
  const hint = make('p', '', { className: 'soft' }), holder = make('div');
  hint.setAttribute('role', 'status');
  const drawn = corners => { hint.textContent = ''; holder.replaceChildren(form(live, page, corners, { side: page.view.side }, '')); holder.querySelector('input').focus(); };
  box.append(push('Draw a keep-out: rectangle', () => { hint.textContent = 'Drag from corner to corner on the board.'; drawRectangle(page, drawn); }),
    push('corner by corner', () => { hint.textContent = 'Click its corners; the first one again ends it.'; drawCorners(page, drawn); }),
    push('by numbers', () => drawn([])), hint, holder);
}

export function keepOutChanges(live, page, id, box) {
  const entry = (live.job.keep_out || [])[id], area = page.d.keep_outs[id]?.[2]?.[0];
  if (!entry || !area || live.shop.panel) return;
  const corners = Array.from({ length: area.length / 2 }, (_, i) => [area[2 * i], area[2 * i + 1]]), path = `keep_out[${id}]`;
  const hint = make('p', '', { className: 'soft' });
  box.append(push('Move it', () => {
    let from = null, by = [0, 0];
    hint.textContent = 'Drag on the board.';
    page.view.tool = {
      down: (x, y) => { from = [x, y]; return true; }, move: (x, y) => { by = [x - from[0], y - from[1]]; },
      up: () => {
        stop(page);
        if (Math.hypot(...by) < 1) return;
        const at = (x, y) => [umText(x + by[0]), umText(y + by[1])], xs = corners.map(p => p[0]), ys = corners.map(p => p[1]);
        live.send(entry.polygon ? [{ do: 'set', path: path + '.polygon', value: corners.map(p => at(...p)) }]
          : [{ do: 'set', path: path + '.from', value: at(Math.min(...xs), Math.min(...ys)) }, { do: 'set', path: path + '.to', value: at(Math.max(...xs), Math.max(...ys)) }]);
      },
      paint: painter(() => corners.map(([x, y]) => [x + by[0], y + by[1]])) };
    page.view.draw();
  }), push('Remove it', () => live.send([{ do: 'remove', path }])), hint, form(live, page, corners, entry, path));
}
