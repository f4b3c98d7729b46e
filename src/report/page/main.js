// Puts the page together: the board, the search, what is known about a thing, the lists, the charts, and the address,
// which remembers what is picked.
import { boxAround, describe, marked } from './about.js';
import { lookAs, readAddress, viewEntries, writeAddress } from './address.js';
import { BoardView, nothing } from './board.js';
import { charts } from './charts.js';
import { $, make } from './elements.js';
import { FixtureView } from './fixture.js';
import { showLegend } from './legend.js';
import { Lists } from './lists.js';
import { measureOn } from './measure.js';
import { paperMenu } from './paper.js';
import { startSearch } from './search.js';

const KEYS = [
  ['arrow keys', 'move the board'],
  ['+ and -', 'zoom in and out'],
  ['0', 'show the whole board'],
  ['f', 'look at the other side'],
  ['b', 'both sides side by side'],
  ['r', 'turn by 90 degrees'],
  ['m', 'measure'],
  ['3', 'the fixture in three dimensions'],
  ['/', 'search'],
  ['Escape', 'end what is under way, or pick nothing'],
  ['?', 'this help'],
];

export class Page {
  /** more: (page, kind, id, box) adds to what is shown about a thing. before: the page that this one replaces. */
  constructor(data, more, before) {
    this.data = data;
    this.more = more;
    this.end = new AbortController();
    const pick = what => {
      if (!what) this.clear();
      else if (what.kind === 'place') this.pickAdvice(what.id);
      else this.choose(what.kind, what.id, true);
    };
    this.onPick = pick;
    this.view = new BoardView($('board'), data, pick);
    this.controls();
    startSearch(this);
    addEventListener('hashchange', () => this.fromHash(), { signal: this.end.signal });
    addEventListener('keydown', event => this.key(event), { signal: this.end.signal });
    if (before) this.view.look(before.view);
    if (!this.fromHash(Boolean(before))) this.clear();
    if (before?.view.twin) this.both(true);
    if (before?.inSpace) this.solid(true);
    this.view.onMove = () => this.remember();
    window.teaselPage = this; // The tests look at it.
    document.body.dataset.ready = 'board';
    // The board can be used before the lists are there.
    requestAnimationFrame(() =>
      setTimeout(() => {
        if (this.end.signal.aborted) return;
        this.lists = new Lists($('lists'), data, {
          onRow: (key, value, row, head) => this.fromRow(key, value, row, head),
          onSelect: (key, rows, head) => this.fromRows(key, rows, head),
          onShow: () => this.remember(),
        });
        $('charts').innerHTML = charts(data);
        if (before?.lists) this.lists.take(before.lists);
        this.openList(readAddress(location.hash));
        if (this.namesToMark) this.lists.mark(this.namesToMark);
        document.body.dataset.ready = 'all';
        // The lists have pushed down what the address may name.
        const named = document.getElementById(location.hash.slice(1));
        if (named?.tagName === 'H2') named.scrollIntoView();
      }, 0),
    );
  }
  /** What a key does wherever the focus is, except where somebody types. */
  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === 'Escape' && !this.view.tool && this.picked && event.target === document.body) this.clear();
    if (/^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName)) return;
    if (event.key === '?') this.help();
    else if (event.key === 'm') this.measure();
    else if (event.key === 'b') this.both(!this.view.twin);
    else if (event.key === '3') this.solid(!this.fixture);
    else if (event.key === '/') {
      event.preventDefault();
      $('search').focus();
    }
  }
  help() {
    const box = make('dialog', null, { id: 'help' });
    box.setAttribute('aria-label', 'Keys');
    const list = make('dl');
    for (const [key, words] of KEYS) list.append(make('dt', key), make('dd', words));
    const close = make('button', 'Close');
    close.onclick = () => box.close();
    box.onclose = () => box.remove();
    box.append(
      make('h3', 'Keys'),
      list,
      make(
        'p',
        'The wheel or a pinch zooms, and dragging moves the board. The address says what is picked, ' +
          'the side, the place, the layers and the list: send it to show the same.',
      ),
      close,
    );
    document.body.append(box);
    box.showModal();
  }
  /** Measures on the board, or ends it. */
  measure() {
    if (this.view.tool) {
      this.view.tool.cancel?.();
      return;
    }
    $('do-measure').setAttribute('aria-pressed', 'true');
    measureOn(
      this.view,
      words => {
        $('under').textContent = words;
      },
      () => {
        $('under').textContent = '';
        $('do-measure').setAttribute('aria-pressed', 'false');
      },
    );
  }
  /** Shows both sides side by side, or one. */
  both(on) {
    const view = this.view;
    if (Boolean(view.twin) === on) return;
    if (on) {
      const canvas = make('canvas', null, { id: 'other-board', tabIndex: 0, role: 'img' });
      canvas.setAttribute('aria-label', 'Drawing of the other side of the board');
      $('sides').append(canvas);
      view.twin = new BoardView(canvas, this.data, this.onPick);
      view.twin.twin = view;
      view.draw();
    } else {
      view.twin.leave();
      view.twin.canvas.remove();
      view.twin = null;
    }
    $('do-both').setAttribute('aria-pressed', String(on));
    view.resize();
    this.side();
    this.remember();
  }
  /** Shows the fixture in place of the board, or the board again. */
  solid(on) {
    if (Boolean(this.fixture) === on || !this.data.plates.length) return;
    document.querySelector('.stage').classList.toggle('in-space', on);
    $('do-space').setAttribute('aria-pressed', String(on));
    if (on) {
      const box = make('div', null, { id: 'space' });
      $('sides').after(box);
      this.fixture = new FixtureView(box, this, what => this.choose(what.kind, what.id));
    } else {
      this.fixture.leave();
      this.fixture = null;
      $('space').remove();
    }
    this.remember();
  }
  /** Says in the address what is shown, a little later. */
  remember() {
    clearTimeout(this.later);
    this.later = setTimeout(() => {
      if (!this.end.signal.aborted) this.write();
    }, 250);
  }
  write() {
    const entries = this.picked?.name ? [[this.picked.kind, this.picked.name]] : [];
    entries.push(...viewEntries(this.view), ['both', this.view.twin ? '1' : ''], ['fixture', this.fixture ? '1' : '']);
    if (this.lists?.isOpen)
      entries.push(['list', this.lists.file], ['rows', this.lists.filter.value], ['by', this.lists.grouped.value]);
    const address = writeAddress(entries);
    // A heading that somebody went to is not taken away again.
    if (!address && /^#[^=]+$/.test(location.hash)) return;
    if (address !== location.hash) history.replaceState(null, '', location.pathname + location.search + address);
  }
  /** Opens the list that the address names. */
  openList(entries) {
    const lists = this.lists;
    if (!lists?.tables.has(entries.get('list'))) return;
    lists.show(entries.get('list'));
    lists.filter.value = entries.get('rows') || '';
    lists.grouped.value = entries.get('by') || '';
    lists.rows();
    lists.open(true);
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
    this.inSpace = Boolean(this.fixture);
    this.end.abort();
    clearTimeout(this.later);
    this.view.twin?.leave();
    $('other-board')?.remove();
    this.solid(false);
    this.view.leave();
    for (const id of ['legend', 'lists', 'charts', 'suggest']) $(id).replaceChildren();
    $('controls').replaceChildren();
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
      return element;
    };
    button('Flip', 'Look at the other side (f)', () => view.flip());
    button('Turn', 'Turn the board by 90 degrees (r)', () => view.rotate());
    button('+', 'Zoom in (+)', () => view.zoom(1.4));
    button('\u2212', 'Zoom out (-)', () => view.zoom(1 / 1.4));
    button('All', 'Show the whole board (0)', () => view.all());
    for (const [id, text, label, action] of [
      ['do-both', 'Both sides', 'Both sides side by side (b)', () => this.both(!view.twin)],
      ['do-measure', 'Measure', 'Measure distances (m)', () => this.measure()],
      ['do-space', 'Fixture', 'The fixture in three dimensions (3)', () => this.solid(!this.fixture)],
    ]) {
      const element = button(text, label, action);
      element.id = id;
      element.setAttribute('aria-pressed', 'false');
    }
    const more = make('details');
    const box = make('div', null, { className: 'layers' });
    more.append(make('summary', 'Layers'), box);
    const menus = [more, paperMenu(this)];
    const close = (event, other) => {
      for (const menu of menus) if (menu.open && !(other && menu.contains(event.target))) menu.open = false;
    };
    addEventListener('pointerdown', event => close(event, true), { signal: this.end.signal });
    addEventListener('keydown', event => event.key === 'Escape' && close(event), { signal: this.end.signal });
    bar.append(...menus);
    button('?', 'Keys (?)', () => this.help());
    const groups = [make('div'), make('div')];
    groups[0].append(make('b', 'On the board'));
    groups[1].append(make('b', 'Over it'));
    box.append(...groups);
    for (const [key, words, , over] of view.layers) {
      const label = make('label');
      const check = make('input', null, { type: 'checkbox', checked: view.on[key] });
      check.dataset.layer = key;
      check.onchange = () => {
        view.set(key, check.checked);
        showLegend(view);
      };
      label.append(check, ' ' + words);
      groups[over ? 1 : 0].append(label);
    }
    view.onView = () => {
      this.side();
      showLegend(view);
      for (const check of box.querySelectorAll('input')) check.checked = view.on[check.dataset.layer];
      this.remember();
    };
    this.side();
    showLegend(view);
  }
  side() {
    const words = {
      top: 'top side, seen from above',
      bottom: 'bottom side, seen from below: mirrored against the board frame',
    };
    $('side').textContent = this.view.twin
      ? `left: ${this.view.side} side; right: the other one. Each is seen from its own side.`
      : words[this.view.side];
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
  /** Highlights what the rows that are selected are about. */
  fromRows(key, rows, head) {
    const found = nothing();
    const side = head.indexOf('side');
    for (const row of rows) {
      const value = row[head.indexOf(key)];
      const target =
        key === 'target' &&
        this.data.targets.find(item => item.name === value && (side < 0 || item.side === row[side]));
      if (target) found.targets.add(target.id);
      else if (this.names.has(value.toLowerCase())) {
        const { kind, id } = this.names.get(value.toLowerCase());
        marked(this.data, kind, id, found);
      }
    }
    this.picked = null;
    this.view.highlight(found);
    this.fixture?.draw();
    const boxes = [...found.targets].map(id => this.data.targets[id]);
    const here = boxes.filter(item => item.side === this.view.side);
    $('about').replaceChildren(
      make('h3', rows.length === 1 ? '1 row is selected' : `${rows.length} rows are selected`),
      make('p', rows.map(row => row[head.indexOf(key)]).join(', ')),
      make('p', `${here.length} of ${boxes.length} places are on the side in sight.`, { className: 'soft' }),
    );
    // What is out of sight is brought into it.
    const shown = here.length ? here : boxes;
    if (shown.length) this.view.reach(boxAround(shown.map(item => item.box)), shown[0].side);
    this.remember();
  }
  pickAdvice(id) {
    this.choose('net', this.data.advice[id][0], true);
    this.showPlace(id);
  }
  fromHash(inPlace) {
    const entries = readAddress(location.hash);
    const seen = ['side', 'turn', 'at', 'layers'].some(key => entries.has(key));
    if (entries.get('both') === '1') this.both(true);
    if (seen && !inPlace) lookAs(this.view, entries);
    if (entries.get('fixture') === '1') this.solid(true);
    this.openList(entries);
    for (const [kind, list] of [
      ['net', this.data.nets],
      ['pad', this.data.targets],
      ['part', this.data.parts],
      ['probe', this.data.probes],
    ]) {
      if (!entries.has(kind)) continue;
      const [name, side] = entries.get(kind).split('@@');
      const thing = list.find(item => item.name === name && (!side || item.side === side));
      if (thing) this.choose(kind, thing.id, inPlace || entries.has('at'));
      return Boolean(thing);
    }
    return false;
  }
  clear() {
    this.view.highlight(nothing());
    const about = $('about');
    $('search').value = '';
    this.picked = null;
    about.replaceChildren(
      make('h3', 'Nothing picked', { className: 'hint' }),
      make(
        'p',
        'Click a pad, a part or a probe on the board or a name in a list, or search for a net, part, pad or probe. ' +
          'The wheel or a pinch zooms, and dragging moves the board. The key ? shows what the keys do.',
      ),
    );
    this.more?.(this, '', -1, about);
    this.remember();
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
   * inPlace: the board stays where it is.
   */
  choose(kind, id, inPlace) {
    const data = this.data;
    const { name, box, side, found } = describe(this, kind, id);
    this.view.highlight(found);
    this.fixture?.draw();
    if (document.activeElement !== $('search')) $('search').value = '';
    this.picked = { kind, id, name };
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
    this.remember();
  }
}
