// What the page says about the thing that is picked: a net, a pad, a probe, a part or a keep-out. Each function writes
// its lines and returns the name for the address, and the box and side to show.
import { nothing } from './board.js';
import { readCsv } from './data.js';
import { $, make, mm } from './elements.js';
import { STATE_WORDS } from './reading.js';

/** A chance as it is worth: two digits. */
const inPercent = chance => `${Number((100 * chance).toPrecision(2))} %`;

/** What was measured and what is required, where the reason is about an amount. */
function amountOf(reason) {
  if (!reason.unit) return '';
  // A unit of "1" marks a bare number, which has an upper limit; all else is a length, which has a lower one.
  if (reason.unit === '1') return `, ${inPercent(reason.measured)}, at most ${inPercent(reason.required)}`;
  return `, ${mm(reason.measured)}, needs ${mm(reason.required)}`;
}

/** A box around boxes. */
export const boxAround = list =>
  list.reduce(
    (sum, next) => [
      Math.min(sum[0], next[0]),
      Math.min(sum[1], next[1]),
      Math.max(sum[2], next[2]),
      Math.max(sum[3], next[3]),
    ],
    [Infinity, Infinity, -Infinity, -Infinity],
  );

/** Writes lines into the place where things are described. */
class Writer {
  constructor(page) {
    this.page = page;
    this.about = $('about');
    this.about.replaceChildren();
  }
  head(text) {
    this.about.append(make('h3', text));
  }
  line(term, text) {
    if (text === '' || text == null) return;
    const paragraph = make('p');
    paragraph.append(make('b', term + ' '), text);
    this.about.append(paragraph);
  }
  link(kind, id, text) {
    const button = make('button', text, { className: 'link' });
    button.onclick = () => this.page.choose(kind, id);
    return button;
  }
  links(term, list, most = 40) {
    if (!list.length) return;
    const paragraph = make('p');
    paragraph.append(make('b', term + ' '));
    list.slice(0, most).forEach((item, i) => paragraph.append(i ? ', ' : '', item));
    if (list.length > most) paragraph.append(` and ${list.length - most} more`);
    this.about.append(paragraph);
  }
}

const wireOf = (data, probe) => data.wires.find(wire => wire[1] === probe.name);

function probeLine(data, writer, id) {
  const probe = data.probes[id];
  const target = data.targets[probe.target];
  const wire = wireOf(data, probe);
  const wired = wire ? `, wire ${wire[0]} to pin ${data.strings[wire[2]]}` : '';
  const line = make('p');
  line.append(
    make('b', 'probe '),
    writer.link('probe', id, probe.name),
    ' on ',
    writer.link('pad', probe.target, target.name),
    `, ${probe.side}, ${data.classes[probe.cls].name}, chance of a hit ${probe.odds}${wired}`,
  );
  writer.about.append(line);
}

/** The places where the layout could have a test pad for this net. */
function placesFor(page, writer, net) {
  page.data.advice.forEach(([netId, action, side, x, y, free], i) => {
    if (netId !== net) return;
    const line = make('p');
    const name = ['top', 'bottom'][side];
    line.append(make('b', 'advice '), page.data.strings[action]);
    if (free > 0) {
      const button = make('button', `show ${mm(x)}, ${mm(y)} on the ${name}, ${mm(free)} free`, { className: 'link' });
      button.onclick = () => page.showPlace(i);
      line.append(' ', button);
    }
    writer.about.append(line);
  });
}

function aboutNet(page, writer, id) {
  const data = page.data;
  const net = data.nets[id];
  writer.head('Net ' + net.name);
  writer.line('wanted as', net.role + (net.mandatory ? ', mandatory' : ''));
  writer.line('probes', net.wanted || net.got ? `${net.got} of ${net.wanted}: ${net.status}` : net.status);
  writer.line('reason', net.reason);
  for (const probe of net.probes) probeLine(data, writer, probe);
  placesFor(page, writer, id);
  writer.links(
    'pads',
    net.targets.map(target =>
      writer.link(
        'pad',
        target,
        `${data.targets[target].name} (${data.targets[target].side}, ${data.targets[target].state})`,
      ),
    ),
  );
  // The board shows where the net is probed, and stays on its side if there is such a place.
  const probed = net.probes.map(probe => data.probes[probe].target);
  const of = probed.length ? probed : net.targets;
  const here = of.filter(target => data.targets[target].side === page.view.side);
  const first = of.length ? data.targets[of[0]].side : '';
  const list = here.length ? here : of.filter(target => data.targets[target].side === first);
  if (!list.length) return { name: net.name };
  return {
    name: net.name,
    box: boxAround(list.map(target => data.targets[target].box)),
    side: data.targets[list[0]].side,
  };
}

function aboutPad(page, writer, id) {
  const data = page.data;
  const target = data.targets[id];
  writer.head('Pad ' + target.name);
  if (target.net >= 0) writer.links('net', [writer.link('net', target.net, data.nets[target.net].name)]);
  if (target.part >= 0) writer.links('part', [writer.link('part', target.part, data.parts[target.part].name)]);
  writer.line('lies at', `${mm(target.x)}, ${mm(target.y)} on the ${target.side} side; ${target.kind}`);
  writer.line('state', STATE_WORDS[target.state]);
  if (target.state !== 'blocked')
    writer.line(
      'chance of a miss',
      (target.miss <= 1e-12 ? 'below 1e-12' : target.miss) + ' per touch with the best class',
    );
  writer.links(
    'probes',
    target.probes.map(probe => writer.link('probe', probe, data.probes[probe].name)),
  );
  for (const reason of target.reasons)
    writer.line(
      'class ' + data.classes[reason.cls].name + ':',
      reason.reason + amountOf(reason) + (reason.obstacle ? ' (' + reason.obstacle + ')' : ''),
    );
  return { name: target.name + '@@' + target.side, box: target.box, side: target.side };
}

function aboutProbe(page, writer, id) {
  const data = page.data;
  const probe = data.probes[id];
  const target = data.targets[probe.target];
  writer.head('Probe ' + probe.name);
  writer.links('net', [writer.link('net', target.net, probe.net)]);
  writer.links('lands on', [writer.link('pad', probe.target, target.name)]);
  writer.line('aims at', `${mm(probe.x)}, ${mm(probe.y)} on the ${probe.side} side`);
  writer.line('class', `${data.classes[probe.cls].name}, ${probe.tip}, head ${mm(probe.head)}, ${probe.force} N`);
  writer.line('chance of a hit', probe.odds);
  const wire = wireOf(data, probe);
  if (wire) writer.line('wire', `${wire[0]} to pin ${data.strings[wire[2]]}`);
  return {
    name: probe.name,
    box: [probe.x - 800, probe.y - 800, probe.x + 800, probe.y + 800],
    side: probe.side,
  };
}

function aboutKeepOut(page, writer, id) {
  const [words, sides, area] = page.data.keep_outs[id];
  writer.head('Keep-out ' + words);
  writer.line('applies', sides === 'both' ? 'on both sides' : `on the ${sides} side`);
  writer.line(
    'corners',
    area[0]
      ? Array.from(
          { length: area[0].length / 2 },
          (_none, i) => `${mm(area[0][2 * i])}, ${mm(area[0][2 * i + 1])}`,
        ).join('; ')
      : '',
  );
  return { name: '' };
}

/** The row of strain.csv for a part. */
function strainOf(page, part) {
  if (!page.strains) {
    const [head, ...rows] = readCsv(page.data.lists['strain.csv'] || 'component\n');
    page.strains = new Map(rows.map(row => [row[0], Object.fromEntries(head.map((title, i) => [title, row[i]]))]));
  }
  return page.strains.get(part);
}

function aboutPart(page, writer, id) {
  const data = page.data;
  const part = data.parts[id];
  writer.head('Part ' + part.name);
  writer.line('value', part.value);
  const strain = strainOf(page, part.name);
  if (strain)
    writer.line(
      'strain at its corners',
      `${strain.strain_ue} of ${strain.limit_ue} microstrain at ${strain.x_mm}, ${strain.y_mm} ` +
        `(${strain.state}, the worse of a flat and a bowed board)`,
    );
  writer.line('mounted on the', `${part.side} side, ${part.height.toFixed(2)} mm high (${part.known})`);
  writer.line('fitting', ['not fitted', 'fitted in some variants', ''][part.fitted]);
  const nets = [...new Set(part.targets.map(target => data.targets[target].net))].filter(net => net >= 0);
  writer.links(
    'nets',
    nets.map(net => writer.link('net', net, data.nets[net].name)),
  );
  writer.links(
    'pads',
    part.targets.map(target =>
      writer.link('pad', target, `${data.targets[target].name} (${data.targets[target].state})`),
    ),
  );
  if (part.area.length) return { name: part.name, box: part.box, side: part.side };
  if (!part.targets.length) return { name: part.name };
  return {
    name: part.name,
    box: boxAround(part.targets.map(target => data.targets[target].box)),
    side: data.targets[part.targets[0]].side,
  };
}

const ABOUT = { net: aboutNet, pad: aboutPad, probe: aboutProbe, part: aboutPart, 'keep-out': aboutKeepOut };

/** Adds what is highlighted with a thing: a net with its pads and probes, a part with its pads. */
export function marked(data, kind, id, found) {
  if (kind === 'net') {
    found.nets?.add(id);
    data.nets[id].targets.forEach(target => found.targets.add(target));
    data.nets[id].probes.forEach(probe => found.probes.add(probe));
  } else if (kind === 'part') {
    found.parts.add(id);
    data.parts[id].targets.forEach(target => found.targets.add(target));
  } else if (kind === 'pad') found.targets.add(id);
  else if (kind === 'probe') found.probes.add(id);
  return found;
}

/** Says what is known about a thing. */
export function describe(page, kind, id) {
  return { found: marked(page.data, kind, id, nothing()), ...ABOUT[kind](page, new Writer(page), id) };
}
