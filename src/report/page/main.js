// Puts the page together: the board, the search, what is known about a thing, the lists, the charts, and the address,
// which remembers what is picked.
import { describe } from './about.js';
import { BoardView } from './board.js';
import { charts } from './charts.js';
import { $, make } from './elements.js';
import { LAYERS } from './layers.js';
import { showLegend } from './legend.js';
import { Lists } from './lists.js';
import { startSearch } from './search.js';

/** The part of the address behind the #. What somebody typed there may not decode. */
const plainHash = () => {
  try {
    return decodeURIComponent(location.hash);
  } catch {
    return '';
  }
};

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
    startSearch(this);
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
        // The lists have pushed down what the address may name.
        const named = document.getElementById(plainHash().slice(1));
        if (named?.tagName === 'H2') named.scrollIntoView();
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
        showLegend(view);
      };
      label.append(check, ' ' + words);
      box.append(label);
    }
    view.onView = () => {
      this.side();
      showLegend(view);
    };
    this.side();
    showLegend(view);
  }
  side() {
    $('side').textContent =
      this.view.side === 'top'
        ? 'top side, seen from above'
        : 'bottom side, seen from below: mirrored against the board frame';
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

  showPlace(place) {
    const [, , side, x, y] = this.data.advice[place];
    this.view.on.advice = true;
    const box = document.querySelector('[data-layer=advice]');
    if (box) box.checked = true;
    this.view.show([x - 3000, y - 3000, x + 3000, y + 3000], ['top', 'bottom'][side]);
    this.view.changed();
  }
  /**
   * Picks a thing: shows what is known about it, highlights it on the board, and marks it in the list.
   * inPlace: the board stays where it is. fromHash: the address says so already.
   */
  choose(kind, id, inPlace, fromHash) {
    const data = this.data;
    const { name, box, side, found } = describe(this, kind, id);
    this.view.highlight(found);
    if (document.activeElement !== $('search')) $('search').value = '';
    this.picked = { kind, id };
    this.more?.(this, kind, id, $('about'));
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
