// Small charts as SVG: every bar has its number beside it, so that nothing hangs on colour or length alone.
const esc = text => String(text).replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('"', '&quot;');

/** rows: [label, parts: [[value, class name, words]...]] */
export function bars(title, rows, unit) {
  const most = Math.max(1e-9, ...rows.map(row => row[1].reduce((sum, part) => sum + part[0], 0)));
  const height = 22;
  const width = 520;
  const left = 150;
  let svg = `<figure><figcaption>${esc(title)}</figcaption><svg viewBox="0 0 ${width} ${rows.length * height + 4}" role="img" aria-label="${esc(title)}">`;
  rows.forEach(([label, parts], i) => {
    let x = left;
    const y = i * height + 3;
    svg += `<text x="${left - 6}" y="${y + 13}" text-anchor="end">${esc(label)}</text>`;
    for (const [value, cls, words] of parts) {
      const len = (value / most) * (width - left - 190);
      if (value > 0)
        svg += `<rect class="${cls}" x="${x}" y="${y}" width="${Math.max(len, 1)}" height="${height - 6}"><title>${esc(words)}</title></rect>`;
      x += len;
    }
    svg += `<text x="${x + 6}" y="${y + 13}">${esc(
      parts
        .filter(part => part[0] > 0)
        .map(part => part[2])
        .join(', '),
    )}${unit ? ' ' + esc(unit) : ''}</text>`;
  });
  return svg + '</svg></figure>';
}

export function charts(data) {
  let out = '';
  // Chances of a miss, decade by decade.
  const decades = new Map();
  for (const probe of data.probes) {
    const miss = probe.miss;
    const k = miss <= 1e-12 ? -12 : Math.max(-12, Math.floor(Math.log10(miss)));
    decades.set(k, (decades.get(k) || 0) + 1);
  }
  out += bars(
    'Probes by the chance that one touch misses',
    [...decades]
      .sort((left, right) => left[0] - right[0])
      .map(([k, count]) => [k <= -12 ? 'below 1e-11' : `1e${k} to 1e${k + 1}`, [[count, 'b1', String(count)]]]),
    'probes',
  );
  const force = data.classes
    .map((cls, i) => [
      cls.name,
      ['bottom', 'top'].map(side =>
        data.probes.filter(probe => probe.cls === i && probe.side === side).reduce((sum, probe) => sum + probe.force, 0),
      ),
    ])
    .filter(row => row[1][0] + row[1][1] > 0);
  out += bars(
    'Force by class and side',
    force.map(([name, [bottom, top]]) => [
      name,
      [
        [bottom, 'b1', bottom.toFixed(1) + ' bottom'],
        [top, 'b2', top.toFixed(1) + ' top'],
      ],
    ]),
    'N',
  );
  const roles = new Map();
  for (const net of data.nets)
    if (net.wanted > 0) {
      const counts = roles.get(net.role) || [0, 0, 0];
      counts[net.got >= net.wanted ? 0 : net.got > 0 ? 1 : 2]++;
      roles.set(net.role, counts);
    }
  out += bars(
    'Wanted nets by role',
    [...roles].map(([role, counts]) => [
      role,
      [
        [counts[0], 'b1', counts[0] + ' in full'],
        [counts[1], 'b2', counts[1] + ' in part'],
        [counts[2], 'b3', counts[2] + ' not'],
      ],
    ]),
    '',
  );
  return out;
}
