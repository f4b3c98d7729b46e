// Unpacks the page's data (schema 2, see page_data.h) into plain objects.

/**
 * A ring is stored as [x0, y0, dx, dy, ...]: its first corner, then the step to each next one, in micrometres. Turns
 * each ring in place into [x0, y0, x1, y1, ...].
 */
export function unfold(rings) {
  for (const ring of rings)
    for (let i = 2; i < ring.length; i += 2) {
      ring[i] += ring[i - 2];
      ring[i + 1] += ring[i - 1];
    }
  return rings;
}
/**
 * The box around rings: [left, bottom, right, top]. Without corners it is empty: its left is greater than its right.
 */
export function boxOf(rings) {
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  for (const ring of rings)
    for (let i = 0; i < ring.length; i += 2) {
      if (ring[i] < box[0]) box[0] = ring[i];
      if (ring[i] > box[2]) box[2] = ring[i];
      if (ring[i + 1] < box[1]) box[1] = ring[i + 1];
      if (ring[i + 1] > box[3]) box[3] = ring[i + 1];
    }
  return box;
}

/** The text that lies behind gzip and base64. */
async function inflate(text) {
  const letters = atob(text);
  const bytes = new Uint8Array(letters.length);
  for (let i = 0; i < letters.length; i++) bytes[i] = letters.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream('gzip'));
  return new Response(stream).text();
}

/** Reads CSV as RFC 4180 has it into rows of cells. */
export function readCsv(text) {
  const rows = [];
  let row = [];
  let cell = '';
  let quoted = false;
  for (let i = 0; i < text.length; i++) {
    const letter = text[i];
    if (quoted) {
      if (letter !== '"') cell += letter;
      else if (text[i + 1] === '"') {
        cell += '"';
        i++;
      } else quoted = false;
    } else if (letter === '"') quoted = true;
    else if (letter === ',') {
      row.push(cell);
      cell = '';
    } else if (letter === '\n') {
      row.push(cell);
      rows.push(row);
      row = [];
      cell = '';
    } else if (letter !== '\r') cell += letter;
  }
  if (cell || row.length) {
    row.push(cell);
    rows.push(row);
  }
  return rows;
}
/** Writes rows of cells as CSV that readCsv reads back. */
export function writeCsv(rows) {
  return (
    rows
      .map(row => row.map(cell => (/[",\n]/.test(cell) ? '"' + cell.replaceAll('"', '""') + '"' : cell)).join(','))
      .join('\n') + '\n'
  );
}

// In the order in which page_data.cpp numbers them.
const STATES = ['blocked', 'open', 'probed'];
/** Six numbers make one reason; what is a word is the index of that word. */
function reasonsOf(list, wordAt) {
  const out = [];
  for (let i = 0; i < list.length; i += 6)
    out.push({
      cls: list[i],
      reason: wordAt(list[i + 1]),
      measured: list[i + 2],
      required: list[i + 3],
      unit: wordAt(list[i + 4]),
      obstacle: wordAt(list[i + 5]),
    });
  return out;
}
/** Makes the probes of a list, and notes each one at its target and at its net. */
function placeProbes(data, list, wordAt) {
  data.probes = list.map((probe, id) => {
    const target = data.targets[probe[1]];
    target.probes.push(id);
    if (target.net >= 0) data.nets[target.net].probes.push(id);
    return {
      id,
      name: probe[0],
      target: probe[1],
      x: probe[2],
      y: probe[3],
      cls: probe[4],
      tip: wordAt(probe[5]),
      force: probe[6],
      odds: wordAt(probe[7]),
      head: probe[8],
      net: probe[9],
      miss: probe[10],
      side: target.side,
    };
  });
}

/** Which of a list in the order of their nets belong to each net: [first, after the last]. */
function runsOf(list) {
  const runs = new Map();
  let at = 0;
  for (let i = 0; i < list.length; i += 2) {
    runs.set(list[i], [at, at + list[i + 1]]);
    at += list[i + 1];
  }
  return runs;
}

/** Turns steps from each value to the next into values, in place. size: how many values belong to one thing. */
function addUp(list, size) {
  for (let i = size; i < list.length; i++) list[i] += list[i - size];
}

/** Unpacks the bending of the board. */
function unfoldStrain(strain) {
  addUp(strain.nodes, 2);
  addUp(strain.deflection, 1);
  addUp(strain.microstrain, 1);
  const list = strain.triangles;
  for (let i = 0; i < list.length; i += 3) {
    if (i) list[i] += list[i - 3];
    list[i + 1] += list[i];
    list[i + 2] += list[i];
  }
}

/** How far a net has got with the probes it wants. */
function statusOf(wanted, got) {
  if (got >= wanted) return 'met';
  return got ? 'partial' : 'unmet';
}

/**
 * Brings the data up to an edit. The patch holds all probes, all keep-outs, the targets that were judged anew, and how
 * many probes each net wants and has got.
 */
export function patchData(data, patch) {
  const wordAt = i => patch.strings[i];
  for (const target of data.targets) {
    target.probes = [];
    if (target.state === 'probed') target.state = 'open';
  }
  for (const net of data.nets) net.probes = [];
  for (const [id, state, miss, reasons] of patch.targets)
    Object.assign(data.targets[id], { state: STATES[state], miss, reasons: reasonsOf(reasons, wordAt) });
  placeProbes(data, patch.probes, wordAt);
  for (const probe of data.probes) data.targets[probe.target].state = 'probed';
  for (const [net, wanted, got] of patch.nets) {
    const entry = data.nets[net];
    if (entry.wanted === wanted && entry.got === got) continue;
    Object.assign(entry, {
      wanted,
      got,
      status: statusOf(wanted, got),
      reason: '',
    });
  }
  data.keep_outs = patch.keep_outs;
  for (const keepOut of data.keep_outs) unfold(keepOut[2]);
}

/** Unpacks the data block: plain JSON, or the same behind gzip and base64. */
export async function loadData(text) {
  const data = JSON.parse(text.startsWith('{') ? text : await inflate(text));
  const wordAt = i => data.strings[i];
  const sides = ['top', 'bottom'];
  data.outline = unfold(data.outline);
  data.nets = data.nets.map((net, id) => ({
    id,
    name: net[0],
    role: wordAt(net[1]),
    mandatory: Boolean(net[2]),
    wanted: net[3],
    got: net[4],
    status: wordAt(net[5]),
    reason: wordAt(net[6]),
    targets: [],
    probes: [],
  }));
  data.parts = data.parts.map((part, id) => ({
    id,
    name: part[0],
    side: sides[part[1]],
    height: part[2] / 1000,
    known: wordAt(part[3]),
    fitted: part[4],
    value: wordAt(part[5]),
    area: unfold(part[6]),
    targets: [],
  }));
  for (const part of data.parts) part.box = boxOf(part.area);
  data.shapes = data.shapes.map(unfold);
  data.shapeBox = data.shapes.map(boxOf);
  for (let i = 1; i < data.targets.length; i++)
    for (const axis of [3, 4]) data.targets[i][axis] += data.targets[i - 1][axis];
  data.targets = data.targets.map((target, id) => {
    const reasons = reasonsOf(target[11], wordAt);
    const box = data.shapeBox[target[8]];
    return {
      id,
      name: target[0] || `${data.parts[target[6]].name}-${wordAt(target[7])}`,
      net: target[1],
      side: sides[target[2]],
      x: target[3],
      y: target[4],
      kind: wordAt(target[5]),
      part: target[6],
      pin: wordAt(target[7]),
      shape: target[8],
      state: STATES[target[9]],
      miss: target[10],
      reasons,
      probes: [],
      box: [box[0] + target[3], box[1] + target[4], box[2] + target[3], box[3] + target[4]],
    };
  });
  for (const target of data.targets) {
    if (target.net >= 0) data.nets[target.net].targets.push(target.id);
    if (target.part >= 0) data.parts[target.part].targets.push(target.id);
  }
  data.classes = data.classes.map(cls => ({ name: cls[0], spacing: cls[1] }));
  placeProbes(data, data.probes, wordAt);
  for (const keepOut of data.keep_outs) unfold(keepOut[2]);
  data.copper = data.copper.map(layer => {
    for (let i = 5; i < layer.lines.length; i += 5) {
      layer.lines[i] += layer.lines[i - 5];
      layer.lines[i + 1] += layer.lines[i - 4];
    }
    const areas = layer.areas.map(area => ({ rings: unfold(area), box: null }));
    for (const area of areas) area.box = boxOf(area.rings);
    return {
      number: layer.number,
      outer: layer.outer,
      lines: layer.lines,
      areas,
      linesOf: runsOf(layer.line_nets),
      areasOf: runsOf(layer.area_nets),
    };
  });
  if (data.strain) unfoldStrain(data.strain);
  for (const plate of data.plates) {
    plate.side = sides[plate.side];
    plate.pockets = plate.pockets.map(unfold);
    plate.outline = unfold(plate.outline);
  }
  if (data.old) {
    unfold(data.old.outline);
    data.old.parts = data.old.parts.map(part => ({ name: part[0], side: sides[part[1]], area: unfold(part[2]) }));
  }
  return data;
}
