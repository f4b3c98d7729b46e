// Small charts as SVG: every bar has its number beside it, so that nothing hangs on colour or length alone.
const esc = s => String(s).replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('"', '&quot;');

/** rows: [label, parts: [[value, class name, words]...]] */
export function bars(title, rows, unit) {
  const most = Math.max(1e-9, ...rows.map(r => r[1].reduce((a, p) => a + p[0], 0))), h = 22, w = 520, left = 150;
  let s = `<figure><figcaption>${esc(title)}</figcaption><svg viewBox="0 0 ${w} ${rows.length * h + 4}" role="img" aria-label="${esc(title)}">`;
  rows.forEach(([label, parts], i) => {
    let x = left;
    const y = i * h + 3;
    s += `<text x="${left - 6}" y="${y + 13}" text-anchor="end">${esc(label)}</text>`;
    for (const [v, cls, words] of parts) {
      const len = v / most * (w - left - 190);
      if (v > 0) s += `<rect class="${cls}" x="${x}" y="${y}" width="${Math.max(len, 1)}" height="${h - 6}"><title>${esc(words)}</title></rect>`;
      x += len;
    }
    s += `<text x="${x + 6}" y="${y + 13}">${esc(parts.filter(p => p[0] > 0).map(p => p[2]).join(', '))}${unit ? ' ' + esc(unit) : ''}</text>`;
  });
  return s + '</svg></figure>';
}

export function charts(d) {
  let out = '';
  // Chances of a miss, decade by decade.
  const decades = new Map();
  for (const p of d.probes) {
    const miss = p.miss, k = miss <= 1e-12 ? -12 : Math.max(-12, Math.floor(Math.log10(miss)));
    decades.set(k, (decades.get(k) || 0) + 1);
  }
  out += bars('Probes by the chance that one touch misses', [...decades].sort((a, b) => a[0] - b[0]).map(([k, n]) => [k <= -12 ? 'below 1e-11' : `1e${k} to 1e${k + 1}`, [[n, 'b1', String(n)]]]), 'probes');
  const force = d.classes.map((c, i) => [c.name, ['bottom', 'top'].map(side => d.probes.filter(p => p.cls === i && p.side === side).reduce((a, p) => a + p.force, 0))]).filter(r => r[1][0] + r[1][1] > 0);
  out += bars('Force by class and side', force.map(([n, [b, t]]) => [n, [[b, 'b1', b.toFixed(1) + ' bottom'], [t, 'b2', t.toFixed(1) + ' top']]]), 'N');
  const roles = new Map();
  for (const n of d.nets) if (n.wanted > 0) {
    const r = roles.get(n.role) || [0, 0, 0];
    r[n.got >= n.wanted ? 0 : n.got > 0 ? 1 : 2]++;
    roles.set(n.role, r);
  }
  out += bars('Wanted nets by role', [...roles].map(([n, r]) => [n, [[r[0], 'b1', r[0] + ' in full'], [r[1], 'b2', r[1] + ' in part'], [r[2], 'b3', r[2] + ' not']]]), '');
  return out;
}
