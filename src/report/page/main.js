// Puts the page together: board, search, what is known of a thing, lists, charts, and the place in the address.
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
const mm = um => (um / 1000).toFixed(3) + ' mm';

/** A hash that somebody typed may not decode. */
const plainHash = () => {
  try {
    return decodeURIComponent(location.hash);
  } catch {
    return '';
  }
};

export class Page {
  /** more: (page, kind, id, box) adds to what is known of a thing; before: the page whose place this one takes. */
  constructor(data, more, before) {
    this.d = data;
    this.more = more;
    this.end = new AbortController();
    this.view = new BoardView($('board'), data, what =>
      what ? (what.kind === 'place' ? this.pickAdvice(what.id) : this.choose(what.kind, what.id, true)) : this.clear(),
    );
    this.controls();
    this.search();
    addEventListener('hashchange', () => this.fromHash(), { signal: this.end.signal });
    if (before) this.view.look(before.view);
    if (!this.fromHash(Boolean(before))) this.clear();
    window.teaselPage = this; // for tests
    document.body.dataset.ready = 'board';
    // The board can be used before the lists stand.
    requestAnimationFrame(() =>
      setTimeout(() => {
        if (this.end.signal.aborted) return;
        this.lists = new Lists($('lists'), data, (key, value, row, head) => this.fromRow(key, value, row, head));
        $('charts').innerHTML = charts(data);
        if (before?.lists) this.lists.take(before.lists);
        if (this.names_of) this.lists.mark(this.names_of);
        document.body.dataset.ready = 'all';
      }, 0),
    );
  }

  /** All that can be searched for, by name in small letters. */
  get names() {
    if (this.known) return this.known;
    const data = this.d;
    this.known = new Map();
    const add = (word, what) => {
      if (word && !this.known.has(word.toLowerCase())) this.known.set(word.toLowerCase(), what);
    };
    for (const probe of data.probes) add(probe.name, { kind: 'probe', id: probe.id, word: probe.name, hint: 'probe on ' + probe.net });
    for (const net of data.nets) add(net.name, { kind: 'net', id: net.id, word: net.name, hint: 'net, ' + net.role });
    for (const part of data.parts) add(part.name, { kind: 'part', id: part.id, word: part.name, hint: 'part, ' + part.side });
    for (const target of data.targets) add(target.name, { kind: 'pad', id: target.id, word: target.name, hint: 'pad, ' + target.side });
    return this.known;
  }
  get words() {
    return [...this.names.values()];
  }

  /** Takes itself out of the document, so that another page can be put there. */
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
      const button = make('button', text, { title: label });
      button.setAttribute('aria-label', label);
      button.onclick = () => {
        action();
        this.side();
      };
      bar.append(button);
    };
    button('Flip', 'Look at the other side (f)', () => view.flip());
    button('Turn', 'Turn by a right angle (r)', () => view.rotate());
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
      copper: Object.keys(this.d.copper).length,
      deflection: this.d.strain,
      strain: this.d.strain,
      supports: this.d.supports.length,
      keep: this.d.keep_outs.length,
      wires: this.d.wires.length,
      advice: this.d.advice.length,
      old: this.d.old,
    };
    for (const [key, words] of LAYERS) {
      if (key in there && !there[key]) continue;
      const label = make('label');
      const box = make('input', null, { type: 'checkbox', checked: view.on[key] });
      box.dataset.layer = key;
      box.onchange = () => {
        view.set(key, box.checked);
        this.legend();
      };
      label.append(box, ' ' + words);
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
        ? 'top side, as one looks at it'
        : 'bottom side, as one looks at it: mirrored against the board frame';
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
      this.d.classes.forEach((cls, i) => {
        const count = this.d.probes.filter(probe => probe.cls === i).length;
        if (count)
          entry(`probe ${cls.name} (${count})`, context => {
            context.setTransform(1, 0, 0, -1, 0, 22);
            BoardView.mark(context, i, 13, 11, 7);
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
    if (view.on.keep && this.d.keep_outs.length)
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
        if (this.d.supports.some(support => support[2] === finger))
          entry(words, context => {
            context.setTransform(1, 0, 0, -1, 0, 22);
            BoardView.mark(context, finger ? 2 : 1, 13, 11, 7);
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
    if (view.on.advice && this.d.advice.length)
      entry('place where a test pad would fit: click it', context => {
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
    if ((view.on.deflection || view.on.strain) && this.d.strain) {
      const strain = this.d.strain;
      const list = view.on.strain ? strain.microstrain : strain.deflection;
      const hi = list.reduce((left, right) => Math.max(left, right), -Infinity);
      const lo = view.on.strain ? 0 : list.reduce((left, right) => Math.min(left, right), Infinity);
      box.append(
        make(
          'span',
          view.on.strain
            ? `strain: dark 0, bright ${hi} microstrain (limit ${strain.limit}), board ${strain.free_shape} before it was pressed`
            : `deflection: dark ${mm(lo)}, bright ${mm(hi)} towards the top, board ${strain.free_shape} before it was pressed`,
        ),
      );
    }
    if (view.on.odds) box.append(make('span', 'odds: dark a miss in 1e12 touches, bright one in a hundred'));
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
      const inside = words.filter(entry => !entry.word.toLowerCase().startsWith(query) && entry.word.toLowerCase().includes(query));
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
        const entry = at >= 0 ? this.offered[at] : this.names.get(input.value.trim().toLowerCase()) || this.offered?.[0];
        if (entry) take(entry);
        else $('about').replaceChildren(make('p', 'Nothing has this name: ' + input.value));
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
      const target = this.d.targets.find(x => x.name === value && (!side || x.side === side));
      if (target) {
        this.choose('pad', target.id);
        return;
      }
    }
    const what = this.names.get(name);
    if (what) this.choose(what.kind, what.id);
    // A row with a place of its own shows that.
    const x = Number(row[head.indexOf('x_mm')]);
    const y = Number(row[head.indexOf('y_mm')]);
    if (head.includes('free_diameter_mm') && row[head.indexOf('x_mm')]) {
      const i = this.d.advice.findIndex(
        advice => Math.abs(advice[3] / 1000 - x) < 0.002 && Math.abs(advice[4] / 1000 - y) < 0.002 && ['top', 'bottom'][advice[2]] === side,
      );
      if (i >= 0) this.showPlace(i);
    }
    $('board').scrollIntoView({ block: 'nearest' });
  }
  pickAdvice(id) {
    this.choose('net', this.d.advice[id][0], true);
    this.showPlace(id);
  }
  fromHash(inPlace) {
    const match = /^#(net|pad|part|probe)=(.+)$/.exec(plainHash());
    if (!match) return false;
    const list = { net: this.d.nets, pad: this.d.targets, part: this.d.parts, probe: this.d.probes }[match[1]];
    const [name, side] = match[2].split('@@');
    const x = list.find(item => item.name === name && (!side || item.side === side));
    if (x) this.choose(match[1], x.id, inPlace, true);
    return !!x;
  }
  clear() {
    this.view.mark({ targets: new Set(), parts: new Set(), probes: new Set() });
    const about = $('about');
    this.picked = null;
    about.replaceChildren(
      make('h3', 'Nothing picked', { className: 'hint' }),
      make(
        'p',
        'Click a pad, part or probe on the board, a name in a list, or search for a net, part, pad or probe. Wheel or pinch zooms, drag moves; with the board in focus arrows move, + and - zoom, 0 shows all, f flips, r turns.',
      ),
    );
    this.more?.(this, '', -1, about);
    if (location.hash) history.replaceState(null, '', location.pathname + location.search);
  }

  probeLine(about, link, id) {
    const probe = this.d.probes[id];
    const target = this.d.targets[probe.target];
    const wire = this.d.wires.find(candidate => candidate[1] === probe.name);
    const line = make('p');
    line.append(
      make('b', 'probe '),
      link('probe', id, probe.name),
      ' on ',
      link('pad', probe.target, target.name),
      `, ${probe.side}, ${this.d.classes[probe.cls].name}, odds of a hit ${probe.odds}${wire ? `, wire ${wire[0]} to pin ${this.d.strings[wire[2]]}` : ''}`,
    );
    about.append(line);
  }
  /** Where the layout could put a pad for this net. */
  placesFor(about, net) {
    this.d.advice.forEach(([netId, action, side, x, y, free], i) => {
      if (netId !== net) return;
      const line = make('p');
      const name = ['top', 'bottom'][side];
      line.append(make('b', 'advice '), this.d.strings[action]);
      if (free > 0) {
        const button = make('button', `show ${mm(x)}, ${mm(y)} on the ${name}, ${mm(free)} free`, { className: 'link' });
        button.onclick = () => this.showPlace(i);
        line.append(' ', button);
      }
      about.append(line);
    });
  }
  showPlace(i) {
    const [, , side, x, y] = this.d.advice[i];
    this.view.on.advice = true;
    const box = document.querySelector('[data-layer=advice]');
    if (box) box.checked = true;
    this.view.show([x - 3000, y - 3000, x + 3000, y + 3000], ['top', 'bottom'][side]);
    this.view.changed();
  }
  strainOf(part) {
    if (!this.strains) {
      const [head, ...rows] = readCsv(this.d.lists['strain.csv'] || 'component\n');
      this.strains = new Map(rows.map(row => [row[0], Object.fromEntries(head.map((title, i) => [title, row[i]]))]));
    }
    return this.strains.get(part);
  }

  /** inPlace: the view stays where it is. */
  choose(kind, id, inPlace, fromHash) {
    const data = this.d;
    const about = $('about');
    const found = { targets: new Set(), parts: new Set(), probes: new Set() };
    about.replaceChildren();
    const line = (term, text) => {
      if (text === '' || text == null) return;
      const paragraph = make('p');
      paragraph.append(make('b', term + ' '), text);
      about.append(paragraph);
    };
    const link = (k, x, text) => {
      const button = make('button', text, { className: 'link' });
      button.onclick = () => this.choose(k, x);
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
        (sum, x) => [Math.min(sum[0], x[0]), Math.min(sum[1], x[1]), Math.max(sum[2], x[2]), Math.max(sum[3], x[3])],
        [Infinity, Infinity, -Infinity, -Infinity],
      );
    if (kind === 'net') {
      const net = data.nets[id];
      name = net.name;
      about.append(make('h3', 'Net ' + net.name));
      line('wanted as', net.role + (net.mandatory ? ', mandatory' : ''));
      line('probes', net.wanted || net.got ? `${net.got} of ${net.wanted}: ${net.status}` : net.status);
      line('because', net.reason);
      for (const probe of net.probes) this.probeLine(about, link, probe);
      this.placesFor(about, id);
      links(
        'pads',
        net.targets.map(target => link('pad', target, `${data.targets[target].name} (${data.targets[target].side}, ${data.targets[target].state})`)),
      );
      net.targets.forEach(target => found.targets.add(target));
      net.probes.forEach(probe => found.probes.add(probe));
      // Where it is probed, on the side in sight if there is such a place.
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
      line('state', target.state === 'probed' ? 'probed' : target.state === 'open' ? 'open to a probe' : 'blocked');
      if (target.state !== 'blocked')
        line(
          'chance of a miss',
          target.miss <= 1e-12 ? 'below 1e-12 at a touch, best class' : target.miss + ' at a touch, best class',
        );
      links(
        'probes',
        target.probes.map(probe => link('probe', probe, data.probes[probe].name)),
      );
      for (const reason of target.reasons)
        line(
          'class ' + data.classes[reason.cls].name + ':',
          reason.reason +
            (reason.unit
              ? reason.unit === '1'
                ? `, ${reason.measured}, at most ${reason.required}`
                : `, ${mm(reason.measured)}, needs ${mm(reason.required)}`
              : '') +
            (reason.obstacle ? ' (' + reason.obstacle + ')' : ''),
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
      line('aim', `${mm(probe.x)}, ${mm(probe.y)} on the ${probe.side} side`);
      line('class', `${data.classes[probe.cls].name}, ${probe.tip}, head ${mm(probe.head)}, ${probe.force} N`);
      line('odds of a hit', probe.odds);
      const wire = data.wires.find(candidate => candidate[1] === probe.name);
      if (wire) line('wire', `${wire[0]} to pin ${data.strings[wire[2]]}`);
      found.probes.add(id);
      box = [probe.x - 800, probe.y - 800, probe.x + 800, probe.y + 800];
      side = probe.side;
    } else if (kind === 'keep-out') {
      const [words, side, area] = data.keep_outs[id];
      about.append(make('h3', 'Keep-out ' + words));
      line('holds', side === 'both' ? 'on both sides' : `on the ${side} side`);
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
          `${strain.strain_ue} of ${strain.limit_ue} microstrain at ${strain.x_mm}, ${strain.y_mm} (${strain.state}, the worst of flat and bowed)`,
        );
      line('stands on the', `${part.side} side, ${part.height.toFixed(2)} mm high (${part.known})`);
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
    this.view.mark(found);
    if (document.activeElement !== $('search')) $('search').value = '';
    this.picked = { kind, id };
    this.more?.(this, kind, id, about);
    // In whichever list is open: the thing itself and what goes with it.
    this.names_of = new Set([
      name.split('@@')[0],
      ...[...found.probes].map(probe => data.probes[probe].name),
      ...[...found.targets].map(target => data.targets[target].name),
    ]);
    if (kind === 'pad' || kind === 'probe') {
      const target = kind === 'pad' ? data.targets[id] : data.targets[data.probes[id].target];
      if (target.net >= 0) this.names_of.add(data.nets[target.net].name);
      target.probes.forEach(probe => this.names_of.add(data.probes[probe].name));
    }
    this.lists?.mark(this.names_of);
    if (!inPlace && box) this.view.show(box, side);
    this.side();
    if (!fromHash && name) history.replaceState(null, '', '#' + kind + '=' + encodeURIComponent(name));
  }
}
