// Unpacks the page's data (schema 1, see page_data.h) into plain objects.

/** Turns "[x0, y0, dx, dy, ...]" rings into one flat array of absolute micrometres each. */
function unfold(rings) {
  for (const r of rings) for (let i = 2; i < r.length; i += 2) { r[i] += r[i - 2]; r[i + 1] += r[i - 1]; }
  return rings;
}
function boxOf(rings) {
  const b = [Infinity, Infinity, -Infinity, -Infinity];
  for (const r of rings) for (let i = 0; i < r.length; i += 2) {
    if (r[i] < b[0]) b[0] = r[i];
    if (r[i] > b[2]) b[2] = r[i];
    if (r[i + 1] < b[1]) b[1] = r[i + 1];
    if (r[i + 1] > b[3]) b[3] = r[i + 1];
  }
  return b;
}

async function inflate(text) {
  const letters = atob(text), bytes = new Uint8Array(letters.length);
  for (let i = 0; i < letters.length; i++) bytes[i] = letters.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream('gzip'));
  return new Response(stream).text();
}

/** RFC 4180: rows of cells. */
export function readCsv(text) {
  const rows = [];
  let row = [], cell = '', quoted = false;
  for (let i = 0; i < text.length; i++) {
    const c = text[i];
    if (quoted) {
      if (c !== '"') cell += c;
      else if (text[i + 1] === '"') { cell += '"'; i++; }
      else quoted = false;
    } else if (c === '"') quoted = true;
    else if (c === ',') { row.push(cell); cell = ''; }
    else if (c === '\n') { row.push(cell); rows.push(row); row = []; cell = ''; }
    else if (c !== '\r') cell += c;
  }
  if (cell || row.length) { row.push(cell); rows.push(row); }
  return rows;
}
export function writeCsv(rows) {
  return rows.map(r => r.map(c => /[",\n]/.test(c) ? '"' + c.replaceAll('"', '""') + '"' : c).join(',')).join('\n') + '\n';
}

const STATES = ['blocked', 'open', 'probed'];
function reasonsOf(list, s) {
  const out = [];
  for (let i = 0; i < list.length; i += 6) out.push({ cls: list[i], reason: s(list[i + 1]), measured: list[i + 2], required: list[i + 3], unit: s(list[i + 4]), obstacle: s(list[i + 5]) });
  return out;
}
function placeProbes(d, list, s) {
  d.probes = list.map((p, id) => {
    const t = d.targets[p[1]];
    t.probes.push(id);
    if (t.net >= 0) d.nets[t.net].probes.push(id);
    return { id, name: p[0], target: p[1], x: p[2], y: p[3], cls: p[4], tip: s(p[5]), force: p[6], odds: s(p[7]), head: p[8], net: p[9], miss: p[10], side: t.side };
  });
}

/** Follows an edit: probes, keep-outs, the targets judged anew, and how many probes each net has got. */
export function patchData(d, patch) {
  const s = i => patch.strings[i];
  for (const t of d.targets) { t.probes = []; if (t.state === 'probed') t.state = 'open'; }
  for (const n of d.nets) n.probes = [];
  for (const [id, state, miss, reasons] of patch.targets) Object.assign(d.targets[id], { state: STATES[state], miss, reasons: reasonsOf(reasons, s) });
  placeProbes(d, patch.probes, s);
  for (const p of d.probes) d.targets[p.target].state = 'probed';
  for (const [net, wanted, got] of patch.nets) {
    const n = d.nets[net];
    if (n.wanted === wanted && n.got === got) continue;
    Object.assign(n, { wanted, got, status: wanted && got < wanted ? got ? 'partial' : 'unmet' : 'met', reason: '' });
  }
  d.keep_outs = patch.keep_outs;
  for (const k of d.keep_outs) unfold(k[2]);
}

export async function loadData(text) {
  const d = JSON.parse(text.startsWith('{') ? text : await inflate(text));
  const s = i => d.strings[i];
  const sides = ['top', 'bottom'];
  d.outline = unfold(d.outline);
  d.nets = d.nets.map((n, id) => ({ id, name: n[0], role: s(n[1]), mandatory: !!n[2], wanted: n[3], got: n[4], status: s(n[5]), reason: s(n[6]), targets: [], probes: [] }));
  d.parts = d.parts.map((p, id) => ({ id, name: p[0], side: sides[p[1]], height: p[2] / 1000, known: s(p[3]), fitted: p[4], value: s(p[5]), area: unfold(p[6]), targets: [] }));
  for (const p of d.parts) p.box = boxOf(p.area);
  d.shapes = d.shapes.map(unfold);
  d.shapeBox = d.shapes.map(boxOf);
  d.targets = d.targets.map((t, id) => {
    const reasons = reasonsOf(t[11], s);
    const b = d.shapeBox[t[8]];
    return { id, name: t[0], net: t[1], side: sides[t[2]], x: t[3], y: t[4], kind: s(t[5]), part: t[6], pin: s(t[7]), shape: t[8], state: STATES[t[9]], miss: t[10], reasons, probes: [], box: [b[0] + t[3], b[1] + t[4], b[2] + t[3], b[3] + t[4]] };
  });
  for (const t of d.targets) {
    if (t.net >= 0) d.nets[t.net].targets.push(t.id);
    if (t.part >= 0) d.parts[t.part].targets.push(t.id);
  }
  d.classes = d.classes.map(c => ({ name: c[0], spacing: c[1] }));
  placeProbes(d, d.probes, s);
  for (const k of d.keep_outs) unfold(k[2]);
  for (const side of sides) if (d.copper[side]) {
    const c = d.copper[side];
    d.copper[side] = { lines: c.lines, areas: c.areas.map(a => ({ rings: unfold(a), box: null })) };
    for (const a of d.copper[side].areas) a.box = boxOf(a.rings);
  }
  for (const p of d.plates) {
    p.side = sides[p.side];
    p.pockets = p.pockets.map(unfold);
  }
  if (d.old) {
    unfold(d.old.outline);
    d.old.parts = d.old.parts.map(p => ({ name: p[0], side: sides[p[1]], area: unfold(p[2]) }));
  }
  return d;
}
