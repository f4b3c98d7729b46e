// The rule: distances on the board between two places, and from edge to edge where these are pads.

const HELP = 'Click two places to measure between them. Escape ends it.';

/** The corners of a pad in board micrometres, ring by ring. */
function ringsOf(data, target) {
  return data.shapes[target.shape].map(ring => ring.map((value, i) => value + (i % 2 ? target.y : target.x)));
}

/** The distance from a place to a stretch between two others. */
export function toStretch(px, py, ax, ay, bx, by) {
  const length2 = (bx - ax) ** 2 + (by - ay) ** 2;
  const along = length2 ? Math.min(1, Math.max(0, ((px - ax) * (bx - ax) + (py - ay) * (by - ay)) / length2)) : 0;
  return Math.hypot(px - ax - along * (bx - ax), py - ay - along * (by - ay));
}

/** The least distance between the edges of two areas that do not overlap; 0 where they cross. */
export function betweenEdges(left, right) {
  let least = Infinity;
  const stretches = rings =>
    rings.flatMap(ring =>
      Array.from({ length: ring.length / 2 }, (_none, i) => {
        const j = (2 * i + 2) % ring.length;
        return [ring[2 * i], ring[2 * i + 1], ring[j], ring[j + 1]];
      }),
    );
  // On which side of the line through a stretch a place lies.
  const turn = (stretch, px, py) =>
    Math.sign((stretch[2] - stretch[0]) * (py - stretch[1]) - (stretch[3] - stretch[1]) * (px - stretch[0]));
  const parts = (one, other) => turn(one, other[0], other[1]) * turn(one, other[2], other[3]) < 0;
  for (const one of stretches(left))
    for (const other of stretches(right)) {
      if (parts(one, other) && parts(other, one)) return 0;
      least = Math.min(
        least,
        toStretch(one[0], one[1], ...other),
        toStretch(one[2], one[3], ...other),
        toStretch(other[0], other[1], ...one),
        toStretch(other[2], other[3], ...one),
      );
    }
  return least;
}

const millimetres = um => (um / 1000).toFixed(3);

/** What is said of two ends, each {x, y, pad}. */
export function distanceInWords(data, from, to) {
  const dx = to.x - from.x;
  const dy = to.y - from.y;
  let words = `${millimetres(Math.hypot(dx, dy))} mm (dx ${millimetres(dx)}, dy ${millimetres(dy)})`;
  if (from.pad && to.pad && from.pad !== to.pad)
    words += `, edge to edge ${millimetres(betweenEdges(ringsOf(data, from.pad), ringsOf(data, to.pad)))} mm`;
  return words;
}

/** Begins to measure on a view, and says what it finds. end: it was ended. */
export function measureOn(view, say, end) {
  let from = null;
  let to = null;
  let fixed = false;
  const endAt = (x, y) => {
    // On a pad its middle is meant.
    const found = view.padAt(x, y);
    return found ? { x: found.x, y: found.y, pad: found } : { x, y, pad: null };
  };
  say(HELP);
  view.tool = {
    down: () => true,
    move: () => {},
    hover: (x, y) => {
      if (!from || fixed) return;
      to = endAt(x, y);
      say(distanceInWords(view.data, from, to));
      view.draw();
    },
    up: (x, y) => {
      if (!from || fixed) {
        from = endAt(x, y);
        to = null;
        fixed = false;
        say(HELP);
        return;
      }
      to = endAt(x, y);
      fixed = true;
      say(distanceInWords(view.data, from, to));
    },
    cancel: () => {
      view.tool = null;
      view.draw();
      end();
    },
    paint: (context, px, colours) => {
      if (!from) return;
      context.strokeStyle = colours.find;
      context.lineWidth = 1.6 * px;
      context.beginPath();
      for (const at of [from, to])
        if (at) {
          context.moveTo(at.x - 5 * px, at.y);
          context.lineTo(at.x + 5 * px, at.y);
          context.moveTo(at.x, at.y - 5 * px);
          context.lineTo(at.x, at.y + 5 * px);
        }
      if (to) {
        context.moveTo(from.x, from.y);
        context.lineTo(to.x, to.y);
      }
      context.stroke();
    },
  };
}
