// Puts the page together: the board, the search, what is known about a thing, the lists, the charts, and the address,
// which remembers what is picked.
import { BoardView, CLASS_COLOURS, LAYERS } from './board.js';
import { Lists } from './lists.js';
import { charts } from './charts.js';
import { readCsv } from './data.js';

export const $ = id => document.getElementById(id);
export const make = (tag, text, props) => {
  const element = Object.assign(document.createElement(tag), props);
  if (text != null) element.textContent = text;
  return element;
};
/** Micrometres as text. */
const mm = um => (um / 1000).toFixed(3) + ' mm';

/** The part of the address behind the #. What somebody typed there may not decode. */
const plainHash = () => {
  try {
    return decodeURIComponent(location.hash);
  } catch {
    return '';
  }
};

const STATE_WORDS = { probed: 'probed', open: 'open to a probe', blocked: 'blocked' };

/** What was measured and what is required, where the reason is about an amount. */
function amountOf(reason) {
  if (!reason.unit) return '';
  // A unit of "1" marks a bare number, which has an upper limit; all else is a length, which has a lower one.
  if (reason.unit === '1') return `, ${reason.measured}, at most ${reason.required}`;
  return `, ${mm(reason.measured)}, needs ${mm(reason.required)}`;
}

export class Page {
  /** more: (page, kind, id, box) adds to what is shown about a thing. before: the page that this one replaces. */
  constructor(data, more, before) {
    this.data = data;
    this.more = more;
    this.end = new AbortController();
    this.view = new BoardView($('board'), data, what => {
      if (!what) this.clear();
      else if (what.kind === 'place') this.pickAdvice(what.id);
      else this.choose(what.kind, what.id, true);
    });
    this.controls();
    this.search();
    addEventListener('hashchange', () => this.fromHash(), { signal: this.end.signal });
    if (before) this.view.look(before.view);
    if (!this.fromHash(Boolean(before))) this.clear();
    window.teaselPage = this; // The tests look at it.
    document.body.dataset.ready = 'board';
    // The board can be used before the lists are there.
    requestAnimationFrame(() =>
      setTimeout(() => {
        if (this.end.signal.aborted) return;
        this.lists = new Lists($('lists'), data, (key, value, row, head) => this.fromRow(key, value, row, head));
        $('charts').innerHTML = charts(data);
        if (before?.lists) this.lists.take(before.lists);
        if (this.namesToMark) this.lists.mark(this.namesToMark);
        document.body.dataset.ready = 'all';
      }, 0),
    );
  }

  /** All that can be searched for, by its name in lower case. */
  get names() {
    if (this.known) return this.known;
    const data = this.data;
    this.known = new Map();
    const add = (word, what) => {
      if (word && !this.known.has(word.toLowerCase())) this.known.set(word.toLowerCase(), what);
    };
    for (const probe of data.probes)
      add(probe.name, { kind: 'probe', id: probe.id, word: probe.name, hint: 'probe on ' + probe.net });
    for (const net of data.nets) add(net.name, { kind: 'net', id: net.id, word: net.name, hint: 'net, ' + net.role });
    for (const part of data.parts)
      add(part.name, { kind: 'part', id: part.id, word: part.name, hint: 'part, ' + part.side });
    for (const target of data.targets)
      add(target.name, { kind: 'pad', id: target.id, word: target.name, hint: 'pad, ' + target.side });
    return this.known;
  }
  get words() {
    return [...this.names.values()];
  }

  /** Leaves the document as it was, so that another page can take its place. */
  leave() {
    this.end.abort();
    this.view.leave();
    for (const id of ['legend', 'lists', 'charts', 'suggest']) $(id).replaceChildren();
    const side = $('side');
    $('controls').replaceChildren(side);
  }

  controls() {
    const bar = $('controls');
    const view = this.view;
    const button = (text, label, action) => {
      const element = make('button', text, { title: label });
      element.setAttribute('aria-label', label);
      element.onclick = () => {
        action();
        this.side();
      };
      bar.append(element);
    };
    button('Flip', 'Look at the other side (f)', () => view.flip());
    button('Turn', 'Turn the board by 90 degrees (r)', () => view.rotate());
    button('+', 'Zoom in (+)', () => view.zoom(1.4));
    button('\u2212', 'Zoom out (-)', () => view.zoom(1 / 1.4));
    button('All', 'Show the whole board (0)', () => view.all());
    bar.append($('side'));
    const more = make('details');
    const box = make('div', null, { className: 'layers' });
    more.append(make('summary', 'What is drawn'), box);
    addEventListener(
      'pointerdown',
      event => {
        if (more.open && !more.contains(event.target)) more.open = false;
      },
      { signal: this.end.signal },
    );
    addEventListener(
      'keydown',
      event => {
        if (event.key === 'Escape') more.open = false;
      },
      { signal: this.end.signal },
    );
    bar.insertBefore(more, $('side'));
    const there = {
      copper: Object.keys(this.data.copper).length,
      deflection: this.data.strain,
      strain: this.data.strain,
      supports: this.data.supports.length,
      keep: this.data.keep_outs.length,
      wires: this.data.wires.length,
      advice: this.data.advice.length,
      old: this.data.old,
    };
    for (const [key, words] of LAYERS) {
      if (key in there && !there[key]) continue;
      const label = make('label');
      const check = make('input', null, { type: 'checkbox', checked: view.on[key] });
      check.dataset.layer = key;
      check.onchange = () => {
        view.set(key, check.checked);
        this.legend();
      };
      label.append(check, ' ' + words);
      box.append(label);
    }
    view.onView = () => {
      this.side();
      this.legend();
    };
    this.side();
    this.legend();
  }
  side() {
    $('side').textContent =
      this.view.side === 'top'
        ? 'top side, seen from above'
        : 'bottom side, seen from below: mirrored against the board frame';
  }
  legend() {
    const view = this.view;
    const box = $('legend');
    box.replaceChildren();
    const entry = (words, draw) => {
      const canvas = make('canvas', null, { width: 26, height: 22 });
      const context = canvas.getContext('2d');
      draw(context);
      const item = make('span');
      item.append(canvas, words);
      box.append(item);
    };
    if (view.on.probes)
      this.data.classes.forEach((cls, i) => {
        const count = this.data.probes.filter(probe => probe.cls === i).length;
        if (count)
          entry(`probe ${cls.name} (${count})`, context => {
            context.setTransform(1, 0, 0, -1, 0, 22);
            BoardView.symbol(context, i, 13, 11, 7);
            context.fillStyle = CLASS_COLOURS[i % CLASS_COLOURS.length];
            context.fill();
          });
      });
    const pad = (colour, cross) => context => {
      context.strokeStyle = colour;
      context.lineWidth = 2;
      context.strokeRect(6, 4, 14, 14);
      if (cross) {
        context.beginPath();
        context.moveTo(9, 7);
        context.lineTo(17, 15);
        context.moveTo(17, 7);
        context.lineTo(9, 15);
        context.stroke();
      }
    };
    if (view.on.targets) {
      entry('pad open to a probe', pad(view.colours.open));
      entry('pad blocked', pad(view.colours.blocked, true));
    }
    if (view.on.parts)
      entry('part (dashed: height assumed)', context => {
        context.strokeStyle = view.colours.part;
        context.strokeRect(5, 5, 16, 12);
      });
    if (view.on.keep && this.data.keep_outs.length)
      entry('keep-out', context => {
        context.strokeStyle = view.colours.keep;
        context.fillStyle = view.colours.keep + '22';
        context.setLineDash([5, 3]);
        context.fillRect(4, 4, 18, 14);
        context.strokeRect(4, 4, 18, 14);
      });
    if (view.on.supports)
      for (const [words, finger] of [
        ['board stop', 0],
        ['push finger', 1],
      ])
        if (this.data.supports.some(support => support[2] === finger))
          entry(words, context => {
            context.setTransform(1, 0, 0, -1, 0, 22);
            BoardView.symbol(context, finger ? 2 : 1, 13, 11, 7);
            context.fillStyle = view.colours.text + '33';
            context.fill();
            context.strokeStyle = view.colours.text;
            context.lineWidth = 1.6;
            context.stroke();
          });
    if (view.on.holes)
      entry('tooling hole', context => {
        context.strokeStyle = view.colours.edge;
        context.beginPath();
        context.arc(13, 11, 6, 0, 7);
        context.moveTo(3, 11);
        context.lineTo(23, 11);
        context.moveTo(13, 1);
        context.lineTo(13, 21);
        context.stroke();
      });
    if (view.on.advice && this.data.advice.length)
      entry('room for a test pad (click for details)', context => {
        context.strokeStyle = view.colours.advice;
        context.lineWidth = 1.6;
        context.beginPath();
        context.arc(13, 11, 7, 0, 7);
        context.moveTo(9, 11);
        context.lineTo(17, 11);
        context.moveTo(13, 7);
        context.lineTo(13, 15);
        context.stroke();
      });
    if ((view.on.deflection || view.on.strain) && this.data.strain) {
      const strain = this.data.strain;
      const shape = `board ${strain.free_shape} before it is pressed`;
      const list = view.on.strain ? strain.microstrain : strain.deflection;
      const hi = list.reduce((left, right) => Math.max(left, right), -Infinity);
      const lo = view.on.strain ? 0 : list.reduce((left, right) => Math.min(left, right), Infinity);
      box.append(
        make(
          'span',
          view.on.strain
            ? `strain: 0 (dark) to ${hi} microstrain (bright), limit ${strain.limit}, ${shape}`
            : `deflection towards the top: ${mm(lo)} (dark) to ${mm(hi)} (bright), ${shape}`,
        ),
      );
    }
    if (view.on.odds) box.append(make('span', 'chance of a miss per touch: 1e-12 (dark) to 1 in 100 (bright)'));
  }

  search() {
    const input = $('search');
    const list = $('suggest');
    let at = -1;
    const close = () => {
      list.hidden = true;
      input.setAttribute('aria-expanded', 'false');
      at = -1;
    };
    const take = entry => {
      input.value = entry.word;
      close();
      this.choose(entry.kind, entry.id);
    };
    const offer = () => {
      const query = input.value.trim().toLowerCase();
      list.replaceChildren();
      if (!query) {
        close();
        return;
      }
      const words = this.words;
      const begin = words.filter(entry => entry.word.toLowerCase().startsWith(query));
      const inside = words.filter(
        entry => !entry.word.toLowerCase().startsWith(query) && entry.word.toLowerCase().includes(query),
      );
      this.offered = [...begin, ...inside].slice(0, 12);
      this.offered.forEach((entry, i) => {
        const option = make('li', null, { role: 'option', id: 'option' + i });
        option.append(make('b', entry.word), ' ', make('span', entry.hint, { className: 'soft' }));
        option.onpointerdown = event => {
          event.preventDefault();
          take(entry);
        };
        list.append(option);
      });
      list.hidden = !this.offered.length;
      input.setAttribute('aria-expanded', String(!list.hidden));
    };
    input.oninput = offer;
    input.onblur = () => setTimeout(close, 100);
    input.onkeydown = event => {
      const count = list.children.length;
      if (event.key === 'Escape') {
        close();
        return;
      }
      if (event.key === 'Enter') {
        const entry =
          at >= 0 ? this.offered[at] : this.names.get(input.value.trim().toLowerCase()) || this.offered?.[0];
        if (entry) take(entry);
        else $('about').replaceChildren(make('p', 'Nothing on this board has the name ' + input.value));
        return;
      }
      if ((event.key !== 'ArrowDown' && event.key !== 'ArrowUp') || !count) return;
      event.preventDefault();
      at = (at + (event.key === 'ArrowDown' ? 1 : -1) + count) % count;
      [...list.children].forEach((option, i) => option.setAttribute('aria-selected', i === at));
      input.setAttribute('aria-activedescendant', 'option' + at);
    };
  }

  fromRow(key, value, row, head) {
    const side = row[head.indexOf('side')];
    const name = value.toLowerCase();
    if (key === 'target') {
      const target = this.data.targets.find(item => item.name === value && (!side || item.side === side));
      if (target) {
        this.choose('pad', target.id);
        return;
      }
    }
    const what = this.names.get(name);
    if (what) this.choose(what.kind, what.id);
    // A row that names a place shows that place.
    const x = Number(row[head.indexOf('x_mm')]);
    const y = Number(row[head.indexOf('y_mm')]);
    if (head.includes('free_diameter_mm') && row[head.indexOf('x_mm')]) {
      const i = this.data.advice.findIndex(
        advice =>
          Math.abs(advice[3] / 1000 - x) < 0.002 &&
          Math.abs(advice[4] / 1000 - y) < 0.002 &&
          ['top', 'bottom'][advice[2]] === side,
      );
      if (i >= 0) this.showPlace(i);
    }
    $('board').scrollIntoView({ block: 'nearest' });
  }
  pickAdvice(id) {
    this.choose('net', this.data.advice[id][0], true);
    this.showPlace(id);
  }
  fromHash(inPlace) {
    const match = /^#(net|pad|part|probe)=(.+)$/.exec(plainHash());
    if (!match) return false;
    const list = { net: this.data.nets, pad: this.data.targets, part: this.data.parts, probe: this.data.probes }[
      match[1]
    ];
    const [name, side] = match[2].split('@@');
    const thing = list.find(item => item.name === name && (!side || item.side === side));
    if (thing) this.choose(match[1], thing.id, inPlace, true);
    return !!thing;
  }
  clear() {
    this.view.highlight({ targets: new Set(), parts: new Set(), probes: new Set() });
    const about = $('about');
    this.picked = null;
    about.replaceChildren(
      make('h3', 'Nothing picked', { className: 'hint' }),
      make(
        'p',
        'Click a pad, a part or a probe on the board or a name in a list, or search for a net, part, pad or probe. ' +
          'The wheel or a pinch zooms, and dragging moves the board. While the board has the focus, the arrow keys ' +
          'move it, + and - zoom, 0 shows all of it, f flips it and r turns it.',
      ),
    );
    this.more?.(this, '', -1, about);
    if (location.hash) history.replaceState(null, '', location.pathname + location.search);
  }

  probeLine(about, link, id) {
    const probe = this.data.probes[id];
    const target = this.data.targets[probe.target];
    const wire = this.data.wires.find(candidate => candidate[1] === probe.name);
    const line = make('p');
    const wired = wire ? `, wire ${wire[0]} to pin ${this.data.strings[wire[2]]}` : '';
    line.append(
      make('b', 'probe '),
      link('probe', id, probe.name),
      ' on ',
      link('pad', probe.target, target.name),
      `, ${probe.side}, ${this.data.classes[probe.cls].name}, chance of a hit ${probe.odds}${wired}`,
    );
    about.append(line);
  }
  /** The places where the layout could have a test pad for this net. */
  placesFor(about, net) {
    this.data.advice.forEach(([netId, action, side, x, y, free], i) => {
      if (netId !== net) return;
      const line = make('p');
      const name = ['top', 'bottom'][side];
      line.append(make('b', 'advice '), this.data.strings[action]);
      if (free > 0) {
        const button = make('button', `show ${mm(x)}, ${mm(y)} on the ${name}, ${mm(free)} free`, {
          className: 'link',
        });
        button.onclick = () => this.showPlace(i);
        line.append(' ', button);
      }
      about.append(line);
    });
  }
  showPlace(place) {
    const [, , side, x, y] = this.data.advice[place];
    this.view.on.advice = true;
    const box = document.querySelector('[data-layer=advice]');
    if (box) box.checked = true;
    this.view.show([x - 3000, y - 3000, x + 3000, y + 3000], ['top', 'bottom'][side]);
    this.view.changed();
  }
  strainOf(part) {
    if (!this.strains) {
      const [head, ...rows] = readCsv(this.data.lists['strain.csv'] || 'component\n');
      this.strains = new Map(rows.map(row => [row[0], Object.fromEntries(head.map((title, i) => [title, row[i]]))]));
    }
    return this.strains.get(part);
  }

  /**
   * Picks a thing: shows what is known about it, highlights it on the board, and marks it in the list.
   * inPlace: the board stays where it is. fromHash: the address says so already.
   */
  choose(kind, id, inPlace, fromHash) {
    const data = this.data;
    const about = $('about');
    const found = { targets: new Set(), parts: new Set(), probes: new Set() };
    about.replaceChildren();
    const line = (term, text) => {
      if (text === '' || text == null) return;
      const paragraph = make('p');
      paragraph.append(make('b', term + ' '), text);
      about.append(paragraph);
    };
    const link = (what, other, text) => {
      const button = make('button', text, { className: 'link' });
      button.onclick = () => this.choose(what, other);
      return button;
    };
    const links = (term, list, most = 40) => {
      if (!list.length) return;
      const paragraph = make('p');
      paragraph.append(make('b', term + ' '));
      list.slice(0, most).forEach((item, i) => paragraph.append(i ? ', ' : '', item));
      if (list.length > most) paragraph.append(` and ${list.length - most} more`);
      about.append(paragraph);
    };
    let box = null;
    let side = null;
    let name = '';
    const boxes = list =>
      list.reduce(
        (sum, next) => [
          Math.min(sum[0], next[0]),
          Math.min(sum[1], next[1]),
          Math.max(sum[2], next[2]),
          Math.max(sum[3], next[3]),
        ],
        [Infinity, Infinity, -Infinity, -Infinity],
      );
    if (kind === 'net') {
      const net = data.nets[id];
      name = net.name;
      about.append(make('h3', 'Net ' + net.name));
      line('wanted as', net.role + (net.mandatory ? ', mandatory' : ''));
      line('probes', net.wanted || net.got ? `${net.got} of ${net.wanted}: ${net.status}` : net.status);
      line('reason', net.reason);
      for (const probe of net.probes) this.probeLine(about, link, probe);
      this.placesFor(about, id);
      links(
        'pads',
        net.targets.map(target =>
          link(
            'pad',
            target,
            `${data.targets[target].name} (${data.targets[target].side}, ${data.targets[target].state})`,
          ),
        ),
      );
      net.targets.forEach(target => found.targets.add(target));
      net.probes.forEach(probe => found.probes.add(probe));
      // The board shows where the net is probed, and stays on its side if there is such a place.
      const probed = net.probes.map(probe => data.probes[probe].target);
      const of = probed.length ? probed : net.targets;
      const here = of.filter(target => data.targets[target].side === this.view.side);
      const first = of.length ? data.targets[of[0]].side : '';
      const list = here.length ? here : of.filter(target => data.targets[target].side === first);
      if (list.length) {
        box = boxes(list.map(target => data.targets[target].box));
        side = data.targets[list[0]].side;
      }
    } else if (kind === 'pad') {
      const target = data.targets[id];
      name = target.name + '@@' + target.side;
      about.append(make('h3', 'Pad ' + target.name));
      if (target.net >= 0) links('net', [link('net', target.net, data.nets[target.net].name)]);
      if (target.part >= 0) links('part', [link('part', target.part, data.parts[target.part].name)]);
      line('lies at', `${mm(target.x)}, ${mm(target.y)} on the ${target.side} side; ${target.kind}`);
      line('state', STATE_WORDS[target.state]);
      if (target.state !== 'blocked')
        line(
          'chance of a miss',
          (target.miss <= 1e-12 ? 'below 1e-12' : target.miss) + ' per touch with the best class',
        );
      links(
        'probes',
        target.probes.map(probe => link('probe', probe, data.probes[probe].name)),
      );
      for (const reason of target.reasons)
        line(
          'class ' + data.classes[reason.cls].name + ':',
          reason.reason + amountOf(reason) + (reason.obstacle ? ' (' + reason.obstacle + ')' : ''),
        );
      found.targets.add(id);
      box = target.box;
      side = target.side;
    } else if (kind === 'probe') {
      const probe = data.probes[id];
      const target = data.targets[probe.target];
      name = probe.name;
      about.append(make('h3', 'Probe ' + probe.name));
      links('net', [link('net', target.net, probe.net)]);
      links('lands on', [link('pad', probe.target, target.name)]);
      line('aims at', `${mm(probe.x)}, ${mm(probe.y)} on the ${probe.side} side`);
      line('class', `${data.classes[probe.cls].name}, ${probe.tip}, head ${mm(probe.head)}, ${probe.force} N`);
      line('chance of a hit', probe.odds);
      const wire = data.wires.find(candidate => candidate[1] === probe.name);
      if (wire) line('wire', `${wire[0]} to pin ${data.strings[wire[2]]}`);
      found.probes.add(id);
      box = [probe.x - 800, probe.y - 800, probe.x + 800, probe.y + 800];
      side = probe.side;
    } else if (kind === 'keep-out') {
      const [words, sides, area] = data.keep_outs[id];
      about.append(make('h3', 'Keep-out ' + words));
      line('applies', sides === 'both' ? 'on both sides' : `on the ${sides} side`);
      line(
        'corners',
        area[0]
          ? Array.from(
              { length: area[0].length / 2 },
              (_none, i) => `${mm(area[0][2 * i])}, ${mm(area[0][2 * i + 1])}`,
            ).join('; ')
          : '',
      );
    } else {
      const part = data.parts[id];
      name = part.name;
      about.append(make('h3', 'Part ' + part.name));
      line('value', part.value);
      const strain = this.strainOf(part.name);
      if (strain)
        line(
          'strain at its corners',
          `${strain.strain_ue} of ${strain.limit_ue} microstrain at ${strain.x_mm}, ${strain.y_mm} ` +
            `(${strain.state}, the worse of a flat and a bowed board)`,
        );
      line('mounted on the', `${part.side} side, ${part.height.toFixed(2)} mm high (${part.known})`);
      line('fitting', ['not fitted', 'fitted in some variants', ''][part.fitted]);
      const nets = [...new Set(part.targets.map(target => data.targets[target].net))].filter(net => net >= 0);
      links(
        'nets',
        nets.map(net => link('net', net, data.nets[net].name)),
      );
      links(
        'pads',
        part.targets.map(target => link('pad', target, `${data.targets[target].name} (${data.targets[target].state})`)),
      );
      found.parts.add(id);
      part.targets.forEach(target => found.targets.add(target));
      if (part.area.length) {
        box = part.box;
        side = part.side;
      } else if (part.targets.length) {
        box = boxes(part.targets.map(target => data.targets[target].box));
        side = data.targets[part.targets[0]].side;
      }
    }
    this.view.highlight(found);
    if (document.activeElement !== $('search')) $('search').value = '';
    this.picked = { kind, id };
    this.more?.(this, kind, id, about);
    // The open list marks the thing itself and what belongs to it.
    this.namesToMark = new Set([
      name.split('@@')[0],
      ...[...found.probes].map(probe => data.probes[probe].name),
      ...[...found.targets].map(target => data.targets[target].name),
    ]);
    if (kind === 'pad' || kind === 'probe') {
      const target = kind === 'pad' ? data.targets[id] : data.targets[data.probes[id].target];
      if (target.net >= 0) this.namesToMark.add(data.nets[target.net].name);
      target.probes.forEach(probe => this.namesToMark.add(data.probes[probe].name));
    }
    this.lists?.mark(this.namesToMark);
    if (!inPlace && box) this.view.show(box, side);
    this.side();
    if (!fromHash && name) history.replaceState(null, '', '#' + kind + '=' + encodeURIComponent(name));
  }
}
