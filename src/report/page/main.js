// Puts the page together: board, search, what is known of a thing, lists, charts, and the place in the address.
import { BoardView, CLASS_COLOURS, LAYERS } from './board.js';
import { Lists } from './lists.js';
import { charts } from './charts.js';
import { readCsv } from './data.js';

export const $ = id => document.getElementById(id);
export const make = (tag, text, props) => { const e = Object.assign(document.createElement(tag), props); if (text != null) e.textContent = text; return e; };
const mm = um => (um / 1000).toFixed(3) + ' mm';

/** A hash that somebody typed may not decode. */
const plainHash = () => { try { return decodeURIComponent(location.hash); } catch { return ''; } };

export class Page {
  /** more: (page, kind, id, box) adds to what is known of a thing; before: the page whose place this one takes. */
  constructor(d, more, before) {
    this.d = d; this.more = more;
    this.end = new AbortController();
    this.view = new BoardView($('board'), d, what => what ? what.kind === 'place' ? this.pickAdvice(what.id) : this.choose(what.kind, what.id, true) : this.clear());
    this.controls();
    this.search();
    addEventListener('hashchange', () => this.fromHash(), { signal: this.end.signal });
    if (before) this.view.look(before.view);
    if (!this.fromHash(Boolean(before))) this.clear();
    window.teaselPage = this;  // for tests
    document.body.dataset.ready = 'board';
    // The board can be used before the lists stand.
    requestAnimationFrame(() => setTimeout(() => {
      if (this.end.signal.aborted) return;
      this.lists = new Lists($('lists'), d, (key, value, row, head) => this.fromRow(key, value, row, head));
      $('charts').innerHTML = charts(d);
      if (before?.lists) this.lists.take(before.lists);
      if (this.names_of) this.lists.mark(this.names_of);
      document.body.dataset.ready = 'all';
    }, 0));
  }

  /** All that can be searched for, by name in small letters. */
  get names() {
    if (this.known) return this.known;
    const d = this.d;
    this.known = new Map();
    const add = (word, what) => { if (word && !this.known.has(word.toLowerCase())) this.known.set(word.toLowerCase(), what); };
    for (const p of d.probes) add(p.name, { kind: 'probe', id: p.id, word: p.name, hint: 'probe on ' + p.net });
    for (const n of d.nets) add(n.name, { kind: 'net', id: n.id, word: n.name, hint: 'net, ' + n.role });
    for (const p of d.parts) add(p.name, { kind: 'part', id: p.id, word: p.name, hint: 'part, ' + p.side });
    for (const t of d.targets) add(t.name, { kind: 'pad', id: t.id, word: t.name, hint: 'pad, ' + t.side });
    return this.known;
  }
  get words() { return [...this.names.values()]; }

  /** Takes itself out of the document, so that another page can be put there. */
  leave() {
    this.end.abort();
    this.view.leave();
    for (const id of ['legend', 'lists', 'charts', 'suggest']) $(id).replaceChildren();
    const side = $('side');
    $('controls').replaceChildren(side);
  }

  controls() {
    const bar = $('controls'), v = this.view;
    const button = (text, label, f) => { const b = make('button', text, { title: label }); b.setAttribute('aria-label', label); b.onclick = () => { f(); this.side(); }; bar.append(b); };
    button('Flip', 'Look at the other side (f)', () => v.flip());
    button('Turn', 'Turn by a right angle (r)', () => v.rotate());
    button('+', 'Zoom in (+)', () => v.zoom(1.4));
    button('\u2212', 'Zoom out (-)', () => v.zoom(1 / 1.4));
    button('All', 'Show the whole board (0)', () => v.all());
    bar.append($('side'));
    const more = make('details'), box = make('div', null, { className: 'layers' });
    more.append(make('summary', 'What is drawn'), box);
    addEventListener('pointerdown', e => { if (more.open && !more.contains(e.target)) more.open = false; }, { signal: this.end.signal });
    addEventListener('keydown', e => { if (e.key === 'Escape') more.open = false; }, { signal: this.end.signal });
    bar.insertBefore(more, $('side'));
    const there = { copper: Object.keys(this.d.copper).length, deflection: this.d.strain, strain: this.d.strain, supports: this.d.supports.length, keep: this.d.keep_outs.length, wires: this.d.wires.length, advice: this.d.advice.length, old: this.d.old };
    for (const [key, words] of LAYERS) {
      if (key in there && !there[key]) continue;
      const l = make('label'), c = make('input', null, { type: 'checkbox', checked: v.on[key] });
      c.dataset.layer = key;
      c.onchange = () => { v.set(key, c.checked); this.legend(); };
      l.append(c, ' ' + words);
      box.append(l);
    }
    v.onView = () => { this.side(); this.legend(); };
    this.side();
    this.legend();
  }
  side() { $('side').textContent = this.view.side === 'top' ? 'top side, as one looks at it' : 'bottom side, as one looks at it: mirrored against the board frame'; }
  legend() {
    const v = this.view, box = $('legend');
    box.replaceChildren();
    const entry = (words, draw) => {
      const c = make('canvas', null, { width: 26, height: 22 }), g = c.getContext('2d');
      draw(g);
      const s = make('span'); s.append(c, words); box.append(s);
    };
    if (v.on.probes) this.d.classes.forEach((c, i) => {
      const n = this.d.probes.filter(p => p.cls === i).length;
      if (n) entry(`probe ${c.name} (${n})`, g => { g.setTransform(1, 0, 0, -1, 0, 22); BoardView.mark(g, i, 13, 11, 7); g.fillStyle = CLASS_COLOURS[i % CLASS_COLOURS.length]; g.fill(); });
    });
    const pad = (colour, cross) => g => { g.strokeStyle = colour; g.lineWidth = 2; g.strokeRect(6, 4, 14, 14); if (cross) { g.beginPath(); g.moveTo(9, 7); g.lineTo(17, 15); g.moveTo(17, 7); g.lineTo(9, 15); g.stroke(); } };
    if (v.on.targets) { entry('pad open to a probe', pad(v.colours.open)); entry('pad blocked', pad(v.colours.blocked, true)); }
    if (v.on.parts) entry('part (dashed: height assumed)', g => { g.strokeStyle = v.colours.part; g.strokeRect(5, 5, 16, 12); });
    if (v.on.keep && this.d.keep_outs.length) entry('keep-out', g => { g.strokeStyle = v.colours.keep; g.fillStyle = v.colours.keep + '22'; g.setLineDash([5, 3]); g.fillRect(4, 4, 18, 14); g.strokeRect(4, 4, 18, 14); });
    if (v.on.supports) for (const [words, finger] of [['board stop', 0], ['push finger', 1]])
      if (this.d.supports.some(q => q[2] === finger)) entry(words, g => { g.setTransform(1, 0, 0, -1, 0, 22); BoardView.mark(g, finger ? 2 : 1, 13, 11, 7); g.fillStyle = v.colours.text + '33'; g.fill(); g.strokeStyle = v.colours.text; g.lineWidth = 1.6; g.stroke(); });
    if (v.on.holes) entry('tooling hole', g => { g.strokeStyle = v.colours.edge; g.beginPath(); g.arc(13, 11, 6, 0, 7); g.moveTo(3, 11); g.lineTo(23, 11); g.moveTo(13, 1); g.lineTo(13, 21); g.stroke(); });
    if (v.on.advice && this.d.advice.length) entry('place where a test pad would fit: click it', g => { g.strokeStyle = v.colours.advice; g.lineWidth = 1.6; g.beginPath(); g.arc(13, 11, 7, 0, 7); g.moveTo(9, 11); g.lineTo(17, 11); g.moveTo(13, 7); g.lineTo(13, 15); g.stroke(); });
    if ((v.on.deflection || v.on.strain) && this.d.strain) {
      const s = this.d.strain, list = v.on.strain ? s.microstrain : s.deflection, hi = list.reduce((a, b) => Math.max(a, b), -Infinity), lo = v.on.strain ? 0 : list.reduce((a, b) => Math.min(a, b), Infinity);
      box.append(make('span', v.on.strain ? `strain: dark 0, bright ${hi} microstrain (limit ${s.limit}), board ${s.free_shape} before it was pressed` : `deflection: dark ${mm(lo)}, bright ${mm(hi)} towards the top, board ${s.free_shape} before it was pressed`));
    }
    if (v.on.odds) box.append(make('span', 'odds: dark a miss in 1e12 touches, bright one in a hundred'));
  }

  search() {
    const input = $('search'), list = $('suggest');
    let at = -1;
    const close = () => { list.hidden = true; input.setAttribute('aria-expanded', 'false'); at = -1; };
    const take = w => { input.value = w.word; close(); this.choose(w.kind, w.id); };
    const offer = () => {
      const q = input.value.trim().toLowerCase();
      list.replaceChildren();
      if (!q) { close(); return; }
      const words = this.words, begin = words.filter(w => w.word.toLowerCase().startsWith(q)), inside = words.filter(w => !w.word.toLowerCase().startsWith(q) && w.word.toLowerCase().includes(q));
      this.offered = [...begin, ...inside].slice(0, 12);
      this.offered.forEach((w, i) => {
        const o = make('li', null, { role: 'option', id: 'option' + i });
        o.append(make('b', w.word), ' ', make('span', w.hint, { className: 'soft' }));
        o.onpointerdown = e => { e.preventDefault(); take(w); };
        list.append(o);
      });
      list.hidden = !this.offered.length; input.setAttribute('aria-expanded', String(!list.hidden));
    };
    input.oninput = offer;
    input.onblur = () => setTimeout(close, 100);
    input.onkeydown = e => {
      const n = list.children.length;
      if (e.key === 'Escape') { close(); return; }
      if (e.key === 'Enter') {
        const w = at >= 0 ? this.offered[at] : this.names.get(input.value.trim().toLowerCase()) || this.offered?.[0];
        if (w) take(w); else $('about').replaceChildren(make('p', 'Nothing has this name: ' + input.value));
        return;
      }
      if (e.key !== 'ArrowDown' && e.key !== 'ArrowUp' || !n) return;
      e.preventDefault();
      at = (at + (e.key === 'ArrowDown' ? 1 : -1) + n) % n;
      [...list.children].forEach((o, i) => o.setAttribute('aria-selected', i === at));
      input.setAttribute('aria-activedescendant', 'option' + at);
    };
  }

  fromRow(key, value, row, head) {
    const side = row[head.indexOf('side')], name = value.toLowerCase();
    if (key === 'target') {
      const t = this.d.targets.find(x => x.name === value && (!side || x.side === side));
      if (t) { this.choose('pad', t.id); return; }
    }
    const what = this.names.get(name);
    if (what) this.choose(what.kind, what.id);
    // A row with a place of its own shows that.
    const x = Number(row[head.indexOf('x_mm')]), y = Number(row[head.indexOf('y_mm')]);
    if (head.includes('free_diameter_mm') && row[head.indexOf('x_mm')]) {
      const i = this.d.advice.findIndex(a => Math.abs(a[3] / 1000 - x) < .002 && Math.abs(a[4] / 1000 - y) < .002 && ['top', 'bottom'][a[2]] === side);
      if (i >= 0) this.showPlace(i);
    }
    $('board').scrollIntoView({ block: 'nearest' });
  }
  pickAdvice(id) { this.choose('net', this.d.advice[id][0], true); this.showPlace(id); }
  fromHash(inPlace) {
    const m = /^#(net|pad|part|probe)=(.+)$/.exec(plainHash());
    if (!m) return false;
    const list = { net: this.d.nets, pad: this.d.targets, part: this.d.parts, probe: this.d.probes }[m[1]], [name, side] = m[2].split('@@');
    const x = list.find(q => q.name === name && (!side || q.side === side));
    if (x) this.choose(m[1], x.id, inPlace, true);
    return !!x;
  }
  clear() {
    this.view.mark({ targets: new Set(), parts: new Set(), probes: new Set() });
    const about = $('about');
    this.picked = null;
    about.replaceChildren(make('h3', 'Nothing picked', { className: 'hint' }), make('p', 'Click a pad, part or probe on the board, a name in a list, or search for a net, part, pad or probe. Wheel or pinch zooms, drag moves; with the board in focus arrows move, + and - zoom, 0 shows all, f flips, r turns.'));
    this.more?.(this, '', -1, about);
    if (location.hash) history.replaceState(null, '', location.pathname + location.search);
  }

  probeLine(about, link, id) {
    const p = this.d.probes[id], t = this.d.targets[p.target], w = this.d.wires.find(q => q[1] === p.name), line = make('p');
    line.append(make('b', 'probe '), link('probe', id, p.name), ' on ', link('pad', p.target, t.name), `, ${p.side}, ${this.d.classes[p.cls].name}, odds of a hit ${p.odds}${w ? `, wire ${w[0]} to pin ${this.d.strings[w[2]]}` : ''}`);
    about.append(line);
  }
  /** Where the layout could put a pad for this net. */
  placesFor(about, net) {
    this.d.advice.forEach(([n, action, side, x, y, free], i) => {
      if (n !== net) return;
      const p = make('p'), name = ['top', 'bottom'][side];
      p.append(make('b', 'advice '), this.d.strings[action]);
      if (free > 0) { const b = make('button', `show ${mm(x)}, ${mm(y)} on the ${name}, ${mm(free)} free`, { className: 'link' }); b.onclick = () => this.showPlace(i); p.append(' ', b); }
      about.append(p);
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
      this.strains = new Map(rows.map(r => [r[0], Object.fromEntries(head.map((h, i) => [h, r[i]]))]));
    }
    return this.strains.get(part);
  }

  /** inPlace: the view stays where it is. */
  choose(kind, id, inPlace, fromHash) {
    const d = this.d, about = $('about'), found = { targets: new Set(), parts: new Set(), probes: new Set() };
    about.replaceChildren();
    const line = (term, text) => { if (text === '' || text == null) return; const p = make('p'); p.append(make('b', term + ' '), text); about.append(p); };
    const link = (k, x, text) => { const b = make('button', text, { className: 'link' }); b.onclick = () => this.choose(k, x); return b; };
    const links = (term, list, most = 40) => { if (!list.length) return; const p = make('p'); p.append(make('b', term + ' ')); list.slice(0, most).forEach((l, i) => p.append(i ? ', ' : '', l)); if (list.length > most) p.append(` and ${list.length - most} more`); about.append(p); };
    let box = null, side = null, name = '';
    const boxes = list => list.reduce((b, x) => [Math.min(b[0], x[0]), Math.min(b[1], x[1]), Math.max(b[2], x[2]), Math.max(b[3], x[3])], [Infinity, Infinity, -Infinity, -Infinity]);
    if (kind === 'net') {
      const n = d.nets[id];
      name = n.name;
      about.append(make('h3', 'Net ' + n.name));
      line('wanted as', n.role + (n.mandatory ? ', mandatory' : ''));
      line('probes', n.wanted || n.got ? `${n.got} of ${n.wanted}: ${n.status}` : n.status);
      line('because', n.reason);
      for (const p of n.probes) this.probeLine(about, link, p);
      this.placesFor(about, id);
      links('pads', n.targets.map(t => link('pad', t, `${d.targets[t].name} (${d.targets[t].side}, ${d.targets[t].state})`)));
      n.targets.forEach(t => found.targets.add(t)); n.probes.forEach(p => found.probes.add(p));
      // Where it is probed, on the side in sight if there is such a place.
      const probed = n.probes.map(p => d.probes[p].target), of = probed.length ? probed : n.targets;
      const here = of.filter(t => d.targets[t].side === this.view.side), first = of.length ? d.targets[of[0]].side : '', list = here.length ? here : of.filter(t => d.targets[t].side === first);
      if (list.length) { box = boxes(list.map(t => d.targets[t].box)); side = d.targets[list[0]].side; }
    } else if (kind === 'pad') {
      const t = d.targets[id];
      name = t.name + '@@' + t.side;
      about.append(make('h3', 'Pad ' + t.name));
      if (t.net >= 0) links('net', [link('net', t.net, d.nets[t.net].name)]);
      if (t.part >= 0) links('part', [link('part', t.part, d.parts[t.part].name)]);
      line('lies at', `${mm(t.x)}, ${mm(t.y)} on the ${t.side} side; ${t.kind}`);
      line('state', t.state === 'probed' ? 'probed' : t.state === 'open' ? 'open to a probe' : 'blocked');
      if (t.state !== 'blocked') line('chance of a miss', t.miss <= 1e-12 ? 'below 1e-12 at a touch, best class' : t.miss + ' at a touch, best class');
      links('probes', t.probes.map(p => link('probe', p, d.probes[p].name)));
      for (const r of t.reasons) line('class ' + d.classes[r.cls].name + ':', r.reason + (r.unit ? r.unit === '1' ? `, ${r.measured}, at most ${r.required}` : `, ${mm(r.measured)}, needs ${mm(r.required)}` : '') + (r.obstacle ? ' (' + r.obstacle + ')' : ''));
      found.targets.add(id); box = t.box; side = t.side;
    } else if (kind === 'probe') {
      const p = d.probes[id], t = d.targets[p.target];
      name = p.name;
      about.append(make('h3', 'Probe ' + p.name));
      links('net', [link('net', t.net, p.net)]);
      links('lands on', [link('pad', p.target, t.name)]);
      line('aim', `${mm(p.x)}, ${mm(p.y)} on the ${p.side} side`);
      line('class', `${d.classes[p.cls].name}, ${p.tip}, head ${mm(p.head)}, ${p.force} N`);
      line('odds of a hit', p.odds);
      const w = d.wires.find(q => q[1] === p.name);
      if (w) line('wire', `${w[0]} to pin ${d.strings[w[2]]}`);
      found.probes.add(id); box = [p.x - 800, p.y - 800, p.x + 800, p.y + 800]; side = p.side;
    } else if (kind === 'keep-out') {
      const [words, side, area] = d.keep_outs[id];
      about.append(make('h3', 'Keep-out ' + words));
      line('holds', side === 'both' ? 'on both sides' : `on the ${side} side`);
      line('corners', area[0] ? Array.from({ length: area[0].length / 2 }, (_, i) => `${mm(area[0][2 * i])}, ${mm(area[0][2 * i + 1])}`).join('; ') : '');
    } else {
      const p = d.parts[id];
      name = p.name;
      about.append(make('h3', 'Part ' + p.name));
      line('value', p.value);
      const strain = this.strainOf(p.name);
      if (strain) line('strain at its corners', `${strain.strain_ue} of ${strain.limit_ue} microstrain at ${strain.x_mm}, ${strain.y_mm} (${strain.state}, the worst of flat and bowed)`);
      line('stands on the', `${p.side} side, ${p.height.toFixed(2)} mm high (${p.known})`);
      line('fitting', ['not fitted', 'fitted in some variants', ''][p.fitted]);
      const nets = [...new Set(p.targets.map(t => d.targets[t].net))].filter(n => n >= 0);
      links('nets', nets.map(n => link('net', n, d.nets[n].name)));
      links('pads', p.targets.map(t => link('pad', t, `${d.targets[t].name} (${d.targets[t].state})`)));
      found.parts.add(id); p.targets.forEach(t => found.targets.add(t));
      if (p.area.length) { box = p.box; side = p.side; } else if (p.targets.length) { box = boxes(p.targets.map(t => d.targets[t].box)); side = d.targets[p.targets[0]].side; }
    }
    this.view.mark(found);
    if (document.activeElement !== $('search')) $('search').value = '';
    this.picked = { kind, id };
    this.more?.(this, kind, id, about);
    // In whichever list is open: the thing itself and what goes with it.
    this.names_of = new Set([name.split('@@')[0], ...[...found.probes].map(p => d.probes[p].name), ...[...found.targets].map(t => d.targets[t].name)]);
    if (kind === 'pad' || kind === 'probe') { const t = kind === 'pad' ? d.targets[id] : d.targets[d.probes[id].target]; if (t.net >= 0) this.names_of.add(d.nets[t.net].name); t.probes.forEach(p => this.names_of.add(d.probes[p].name)); }
    this.lists?.mark(this.names_of);
    if (!inPlace && box) this.view.show(box, side);
    this.side();
    if (!fromHash && name) history.replaceState(null, '', '#' + kind + '=' + encodeURIComponent(name));
  }
}
