// Small charts as SVG. Every bar has its number beside it, so that a reader depends neither on colour nor on length.
const esc = text => String(text).replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('"', '&quot;');

/** One chart. rows: [label, parts], and parts: [value, class of the style sheet, words] each. */
export function bars(title, rows, unit) {
  const most = Math.max(1e-9, ...rows.map(row => row[1].reduce((sum, part) => sum + part[0], 0)));
  const height = 22;
  const width = 520;
  const left = 150;
  const size = `0 0 ${width} ${rows.length * height + 4}`;
  let svg = `<figure><figcaption>${esc(title)}</figcaption>`;
  svg += `<svg viewBox="${size}" role="img" aria-label="${esc(title)}">`;
  rows.forEach(([label, parts], i) => {
    let x = left;
    const y = i * height + 3;
    svg += `<text x="${left - 6}" y="${y + 13}" text-anchor="end">${esc(label)}</text>`;
    for (const [value, cls, words] of parts) {
      const length = (value / most) * (width - left - 190);
      if (value > 0) {
        svg += `<rect class="${cls}" x="${x}" y="${y}" width="${Math.max(length, 1)}" height="${height - 6}">`;
        svg += `<title>${esc(words)}</title></rect>`;
      }
      x += length;
    }
    const numbers = parts.filter(part => part[0] > 0).map(part => part[2]);
    svg += `<text x="${x + 6}" y="${y + 13}">${esc(numbers.join(', '))}${unit ? ' ' + esc(unit) : ''}</text>`;
  });
  return svg + '</svg></figure>';
}

/** 0: all wanted probes are there; 1: some of them; 2: none. */
function degreeOf(net) {
  if (net.got >= net.wanted) return 0;
  return net.got > 0 ? 1 : 2;
}

/** All charts of the page as one text. */
export function charts(data) {
  let out = '';
  // How likely one touch misses, decade by decade.
  const decades = new Map();
  for (const probe of data.probes) {
    const miss = probe.miss;
    const decade = miss <= 1e-12 ? -12 : Math.max(-12, Math.floor(Math.log10(miss)));
    decades.set(decade, (decades.get(decade) || 0) + 1);
  }
  out += bars(
    'Probes by the chance that one touch misses',
    [...decades]
      .sort((left, right) => left[0] - right[0])
      .map(([decade, count]) => [
        decade <= -12 ? 'below 1e-11' : `1e${decade} to 1e${decade + 1}`,
        [[count, 'b1', count === 1 ? '1 probe' : `${count} probes`]],
      ]),
    '',
  );
  const force = data.classes
    .map((cls, i) => [
      cls.name,
      ['bottom', 'top'].map(side =>
        data.probes
          .filter(probe => probe.cls === i && probe.side === side)
          .reduce((sum, probe) => sum + probe.force, 0),
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
      counts[degreeOf(net)]++;
      roles.set(net.role, counts);
    }
  out += bars(
    'Wanted nets by role, and how far they are probed',
    [...roles].map(([role, counts]) => [
      role,
      [
        [counts[0], 'b1', counts[0] + ' fully'],
        [counts[1], 'b2', counts[1] + ' partly'],
        [counts[2], 'b3', counts[2] + ' not at all'],
      ],
    ]),
    '',
  );
  return out;
}
