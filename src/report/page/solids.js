// What the fixture is made of, as triangles in millimetres: plates, board, parts, probes, stops and fingers. Heights
// run from the lower plates to the upper ones, with the board's lower face at 0. Without a browser.

/** Cuts a simple ring [x, y, ...] into triangles by its ears: [corner, corner, corner, ...]. */
export function earsOf(ring) {
  const count = ring.length / 2;
  const turn = (one, two, three) =>
    (ring[2 * two] - ring[2 * one]) * (ring[2 * three + 1] - ring[2 * one + 1]) -
    (ring[2 * two + 1] - ring[2 * one + 1]) * (ring[2 * three] - ring[2 * one]);
  let area = 0;
  for (let i = 0; i < count; i++) {
    const next = (i + 1) % count;
    area += ring[2 * i] * ring[2 * next + 1] - ring[2 * next] * ring[2 * i + 1];
  }
  const left = Array.from({ length: count }, (_none, i) => (area < 0 ? count - 1 - i : i));
  const out = [];
  const isEar = i => {
    const three = [left.at(i - 1), left[i], left[(i + 1) % left.length]];
    if (turn(...three) <= 0) return false;
    return left.every(
      other =>
        three.includes(other) ||
        turn(three[0], three[1], other) < 0 ||
        turn(three[1], three[2], other) < 0 ||
        turn(three[2], three[0], other) < 0,
    );
  };
  while (left.length > 3) {
    let ear = left.findIndex((_none, i) => isEar(i));
    // A ring that crosses itself has none left: any corner goes.
    if (ear < 0) ear = 0;
    out.push(left.at(ear - 1), left[ear], left[(ear + 1) % left.length]);
    left.splice(ear, 1);
  }
  if (left.length === 3) out.push(...left);
  return out;
}

/** Collects triangles, each with a normal, a colour, a thing to pick, and what moves it. */
export class Mesh {
  constructor() {
    this.numbers = []; // x, y, z, normal x, y, z, red, green, blue, opacity, thing, group
    this.things = [null];
    this.edges = []; // As above, two ends to each.
  }
  thing(what) {
    this.things.push(what);
    return this.things.length - 1;
  }
  triangle(corners, colour, thing, group) {
    const [one, two, three] = corners;
    const way = (from, to) => [to[0] - from[0], to[1] - from[1], to[2] - from[2]];
    const [ux, uy, uz] = way(one, two);
    const [vx, vy, vz] = way(one, three);
    const normal = [uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx];
    const length = Math.hypot(...normal) || 1;
    for (const corner of corners)
      this.numbers.push(...corner, ...normal.map(value => value / length), ...colour, thing, group);
  }
  /** A ring between two heights, with both faces. */
  prism(ring, low, high, colour, thing, group) {
    const ears = earsOf(ring);
    const at = (i, z) => [ring[2 * i], ring[2 * i + 1], z];
    for (let i = 0; i < ears.length; i += 3) {
      this.triangle([at(ears[i], high), at(ears[i + 1], high), at(ears[i + 2], high)], colour, thing, group);
      this.triangle([at(ears[i], low), at(ears[i + 2], low), at(ears[i + 1], low)], colour, thing, group);
    }
    for (let i = 0; i < ring.length / 2; i++) {
      const next = (i + 1) % (ring.length / 2);
      this.triangle([at(i, low), at(next, low), at(next, high)], colour, thing, group);
      this.triangle([at(i, low), at(next, high), at(i, high)], colour, thing, group);
    }
  }
  /** The edges of a ring between two heights. */
  outline(ring, low, high, colour, group) {
    const end = (i, z) => {
      const at = (2 * i) % ring.length;
      this.edges.push(ring[at], ring[at + 1], z, 0, 0, 1, ...colour, 0, group);
    };
    for (let i = 0; i < ring.length / 2; i++)
      for (const z of [low, high]) {
        end(i, z);
        end(i + 1, z);
      }
    for (let i = 0; i < ring.length / 2; i++) {
      end(i, low);
      end(i, high);
    }
  }
  /** A round rod. */
  rod(x, y, radius, low, high, colour, thing, group) {
    const ring = [];
    for (let i = 0; i < 8; i++)
      ring.push(x + radius * Math.cos((i * Math.PI) / 4), y + radius * Math.sin((i * Math.PI) / 4));
    this.prism(ring, low, high, colour, thing, group);
  }
}

/** What moves together while the fixture closes. */
export const GROUP_BOARD = 0;

/** Micrometres of the board, seen with the side that lies down below: millimetres. */
function places(data) {
  const flip = data.board.side_down === 0 ? -1 : 1;
  return {
    ring: list => list.map((value, i) => (i % 2 ? (flip * value) / 1000 : value / 1000)),
    x: value => value / 1000,
    y: value => (flip * value) / 1000,
    down: ['top', 'bottom'][data.board.side_down],
  };
}

/**
 * The whole fixture at work. Each plate is a group of its own, which moves by lifts[group]. Probes, stops and fingers
 * go with their plate. Returns {mesh, groups [{name, lower, away mm [rest, first touch, work]}]}.
 */
export function fixtureMesh(data, colours) {
  const mesh = new Mesh();
  const at = places(data);
  const thick = data.board.thick / 1000;
  const groups = [{ name: 'board', lower: null, away: [0, 0, 0] }];
  const none = mesh.thing(null);
  mesh.prism(at.ring(data.outline[0]), 0, thick, colours.board, none, GROUP_BOARD);
  for (const part of data.parts) {
    if (part.area.length !== 1 || part.fitted === 0 || !(part.height > 0)) continue;
    const down = part.side === at.down;
    const thing = mesh.thing({ kind: 'part', id: part.id });
    const heights = down ? [-part.height, 0] : [thick, thick + part.height];
    mesh.prism(at.ring(part.area[0]), ...heights, colours.part, thing, GROUP_BOARD);
  }
  const nearest = new Map();
  data.plates.forEach((plate, i) => {
    const away = plate.away.map(value => value / 1000);
    const face = plate.lower ? -away[2] : thick + away[2];
    const heights = plate.lower ? [face - plate.thick / 1000, face] : [face, face + plate.thick / 1000];
    groups.push({ name: plate.name, lower: Boolean(plate.lower), away });
    mesh.prism(at.ring(plate.outline[0]), ...heights, colours.plate, mesh.thing({ plate: i }), i + 1);
    mesh.outline(at.ring(plate.outline[0]), ...heights, colours.edge, i + 1);
    const found = nearest.get(plate.lower);
    if (plate.kind === 'probe') nearest.set('probe' + plate.lower, { face, group: i + 1 });
    if (plate.kind !== 'base' && plate.kind !== 'bridge' && (!found || away[2] < found.away))
      nearest.set(plate.lower, { face, group: i + 1, away: away[2] });
  });
  for (const probe of data.probes) {
    const lower = probe.side === at.down ? 1 : 0;
    const holder = nearest.get('probe' + lower);
    if (!holder) continue;
    const thing = mesh.thing({ kind: 'probe', id: probe.id });
    const face = lower ? 0 : thick;
    const tail = holder.face + (lower ? -12 : 12);
    const colour = colours.classes[probe.cls % colours.classes.length];
    const rod = (radius, from, to) =>
      mesh.rod(
        at.x(probe.x),
        at.y(probe.y),
        radius,
        Math.min(from, to),
        Math.max(from, to),
        colour,
        thing,
        holder.group,
      );
    rod(Math.max(0.2, probe.head / 4000), holder.face, face);
    rod(Math.max(0.4, probe.head / 2000), tail, holder.face);
  }
  for (const [, side, finger, x, y] of data.supports) {
    const lower = side === data.board.side_down ? 1 : 0;
    const holder = nearest.get(lower);
    if (!holder) continue;
    const face = lower ? 0 : thick;
    const heights = [Math.min(face, holder.face), Math.max(face, holder.face)];
    mesh.rod(at.x(x), at.y(y), finger ? 1 : 2, ...heights, colours.support, none, holder.group);
  }
  return { mesh, groups };
}

/**
 * How far each group stands over its place at work. closing: 0 at rest, 1 at first touch, 2 at work. apart: 0 as
 * built, to 1 well apart. The lower probe plate stands still, so that the board moves with what it lies on.
 */
export function liftsOf(groups, closing, apart) {
  const step = Math.min(1, Math.floor(closing));
  const share = closing - step;
  const awayOf = group => group.away[step] + share * (group.away[step + 1] - group.away[step]);
  const fixed = groups.find(group => group.lower && group.name.includes('probe'));
  // Over the lower probe plate the board stands as far as that plate is away from it.
  const board = fixed ? awayOf(fixed) - fixed.away[2] : 0;
  const order = groups.map((group, i) => ({ group, i })).filter(({ group }) => group.lower !== null);
  const lifts = groups.map(() => 0);
  lifts[GROUP_BOARD] = board;
  for (const lower of [true, false])
    order
      .filter(({ group }) => group.lower === lower)
      .sort((one, other) => one.group.away[2] - other.group.away[2])
      .forEach(({ group, i }, rank) => {
        const sign = lower ? -1 : 1;
        lifts[i] = board + sign * (awayOf(group) - group.away[2]) + sign * apart * 28 * (rank + 1);
      });
  return lifts;
}
