// What the mouse, fingers and keys do on the board, and what happens to it on paper.
import { $ } from './elements.js';
import { placeInSmall, readAt } from './reading.js';

/** Moves, scales and picks as the user asks, until the view ends. */
export function listenTo(view) {
  const canvas = view.canvas;
  const at = event => {
    const rect = canvas.getBoundingClientRect();
    return [(event.clientX - rect.left) * view.pixelRatio, (event.clientY - rect.top) * view.pixelRatio];
  };
  const on = (what, handler, more) => canvas.addEventListener(what, handler, { signal: view.end.signal, ...more });
  on(
    'wheel',
    event => {
      event.preventDefault();
      view.zoom(Math.exp(-event.deltaY * (event.ctrlKey ? 0.01 : 0.0016)), ...at(event));
    },
    { passive: false },
  );
  const down = new Map();
  let moved = 0;
  let drawing = false;
  let inSmall = false;
  /** Goes to the place that is pointed at in the small picture. */
  const goTo = point => {
    const place = placeInSmall(view, ...point);
    if (!place) return false;
    [view.cx, view.cy] = place;
    view.draw();
    return true;
  };
  on('pointerdown', event => {
    canvas.setPointerCapture(event.pointerId);
    inSmall = goTo(at(event));
    if (inSmall) return;
    down.set(event.pointerId, at(event));
    if (down.size === 1) moved = 0;
    drawing = Boolean(down.size === 1 && view.tool?.down(...view.toBoard(...at(event))));
  });
  let reading = null;
  on('pointerleave', () => {
    $('under').textContent = '';
    $('where').textContent = '';
  });
  on('pointermove', event => {
    if (inSmall) {
      goTo(at(event));
      return;
    }
    if (!down.has(event.pointerId)) {
      if (event.pointerType === 'touch') return;
      // Once a frame is often enough.
      if (!reading)
        requestAnimationFrame(() => {
          readAt(view, ...reading);
          view.tool?.hover?.(...view.toBoard(...reading));
          reading = null;
        });
      reading = at(event);
      return;
    }
    const before = [...down.values()].map(point => [...point]);
    const was = down.get(event.pointerId);
    const now = at(event);
    down.set(event.pointerId, now);
    moved += Math.hypot(now[0] - was[0], now[1] - was[1]);
    if (drawing) {
      view.tool?.move(...view.toBoard(...now));
      view.draw();
      return;
    }
    if (down.size === 1) {
      view.pan(now[0] - was[0], now[1] - was[1]);
      return;
    }
    const after = [...down.values()];
    const distance = points => Math.hypot(points[0][0] - points[1][0], points[0][1] - points[1][1]);
    view.zoom(
      distance(after) / Math.max(distance(before), 1),
      (after[0][0] + after[1][0]) / 2,
      (after[0][1] + after[1][1]) / 2,
    );
  });
  const up = event => {
    inSmall = false;
    if (!down.delete(event.pointerId)) return;
    if (drawing) {
      drawing = false;
      view.tool?.up(...view.toBoard(...at(event)));
      view.draw();
      return;
    }
    if (event.type === 'pointercancel') return;
    if (moved < 5 * view.pixelRatio && !down.size) view.onPick(view.pick(...at(event)));
  };
  on('pointerup', up);
  on('pointercancel', up);
  on('keydown', event => {
    const step = 80 * view.pixelRatio;
    const shift = { ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] }[
      event.key
    ];
    if (shift) view.pan(...shift);
    else if (event.key === '+' || event.key === '=') view.zoom(1.4);
    else if (event.key === '-') view.zoom(1 / 1.4);
    else if (event.key === '0') view.all();
    else if (event.key === 'f') view.flip();
    else if (event.key === 'r') view.rotate();
    else return;
    event.preventDefault();
  });
  addEventListener(
    'keydown',
    event => {
      if (event.key === 'Escape') view.tool?.cancel?.();
    },
    { signal: view.end.signal },
  );
  // On paper the ground is white, and the whole board is shown.
  addEventListener(
    'beforeprint',
    () => {
      view.paper = { scale: view.scale, cx: view.cx, cy: view.cy };
      view.picture = null;
      view.all();
      view.frame();
    },
    { signal: view.end.signal },
  );
  addEventListener(
    'afterprint',
    () => {
      Object.assign(view, view.paper);
      view.paper = null;
      view.changed();
    },
    { signal: view.end.signal },
  );
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => view.changed(), {
    signal: view.end.signal,
  });
}
