// The live page: asks the program behind it for the plan, sends edits, and shows what they did.
import { $, Page, make } from './main.js';
import { loadData, patchData } from './data.js';
import { changesFor, fillIn, filledIn, jobPanel, push } from './edits.js';
import { keepOutChanges, keepOutStart } from './keep_outs.js';

const SOON = 300, LATER = 3000;  // ms between questions: while something is being worked out, and else

class Live {
  constructor() {
    this.base = location.pathname; this.job = {}; this.shop = {}; this.shown = -1; this.shownSettled = false;
    for (const [id, path] of [['do-undo', 'undo'], ['do-redo', 'redo'], ['do-save', 'save']]) $(id).onclick = () => this.post(path);
    $('do-again').onclick = () => { if (!this.state?.lines.length || confirm('Lines that are not saved step back behind what the file says; undo brings them back. Read again?')) this.post('again'); };
    addEventListener('keydown', e => {
      if (!(e.ctrlKey || e.metaKey) || /^(INPUT|SELECT|TEXTAREA)$/.test(e.target.tagName)) return;
      const path = { z: e.shiftKey ? 'redo' : 'undo', y: 'redo', s: 'save' }[e.key.toLowerCase()];
      if (path) { e.preventDefault(); this.post(path); }
    });
    addEventListener('beforeunload', e => { if (this.state?.lines.length) e.preventDefault(); });
    document.querySelector('aside .find').after($('effect'));
    window.teaselLive = this;  // for tests
    this.poll();
  }
  say(text) { $('saying').textContent = text; }
  complain(list) {
    const box = $('findings');
    box.replaceChildren(...list.map(t => make('pre', t)));
    if (list.length) box.append(push('Close', () => { box.hidden = true; this.closed = list.join('\n'); }));
    box.hidden = !list.length || this.closed === list.join('\n');
  }
  async ask(path, body) {
    const r = await fetch(this.base + path, body === undefined ? { cache: 'no-store' } : { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) });
    const answer = await r.json().catch(() => ({ error: 'the program gave no answer that can be read' }));
    return { status: r.status, ...answer };
  }
  async poll() {
    clearTimeout(this.timer);
    let wait = LATER;
    try {
      const state = await this.ask('state');
      if (state.status === 200) {
        await this.show(state);
        if (state.busy || state.settling) wait = SOON;
      } else this.say(state.error);
    } catch (e) {
      this.say('The program does not answer: ' + e.message);
    }
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.poll(), wait);
  }
  async show(s) {
    this.state = s; this.job = s.job;
    $('file').textContent = s.file;
    $('do-undo').disabled = s.busy || !s.can_undo; $('do-redo').disabled = s.busy || !s.can_redo; $('do-save').disabled = s.busy || !s.lines.length; $('do-again').disabled = s.busy;
    $('lines').hidden = !s.lines.length;
    $('lines').querySelector('summary').textContent = `Lines that are not saved: ${s.lines.length}`;
    $('lines').querySelector('pre').textContent = s.lines.join('\n');
    $('progress').hidden = !s.busy && !s.settling;
    if (s.busy) { $('progress').value = s.share; this.say(`${s.doing} ...`); } else $('progress').removeAttribute('value');
    this.complain(s.findings);
    if (!s.busy) this.say(s.disk_differs ? 'The file has changed on disk since it was read: read it again, or save under another name with an editor.' : s.settling ? 'Bending, plates, costs and advice are being worked out; ' + (this.patched ? 'the lists and figures below are of the plan before.' : 'the rest is of the job as it stands.') : s.failed || (s.planned ? 'Everything on this page is of the job as it stands.' : 'There is no plan yet.'));
    document.body.classList.toggle('stale', Boolean(this.patched));
    this.effect(s.effect, s.moves);
    if (s.version !== this.shown) document.body.dataset.live = 'settling';
    if (s.busy || !s.planned) { document.body.dataset.live = s.busy ? 'busy' : 'failed'; return; }
    if (this.shopVersion !== s.version) { this.shop = await this.ask('shop'); this.shopVersion = s.version; this.panel(); }
    // Not under the hand of someone who draws.
    if ((s.version !== this.shown || s.settled && !this.shownSettled) && !this.page?.view.tool) await this.fetchPage();
    document.body.dataset.live = s.settled ? 'settled' : s.settling ? 'settling' : 'failed';
  }
  async fetchPage() {
    const p = await this.ask('page');
    if (p.status !== 200) return;
    $('head').innerHTML = p.head; $('rest').innerHTML = p.rest;
    const d = await loadData(p.data);
    // The background's results do not wipe out what somebody is filling in.
    const begun = p.version === this.shown ? filledIn($('about')) : [];
    if (this.page) this.page.leave();
    this.page = new Page(d, (page, kind, id, box) => this.offer(page, kind, id, box), this.page);
    this.shown = p.version; this.shownSettled = p.settled; this.patched = false;
    document.body.classList.remove('stale');
    fillIn($('about'), begun);
    this.again();
  }
  /** Marks what the last change moved, as long as nothing else is picked. */
  again() {
    const list = this.state?.moves?.targets || [];
    if (!this.page.picked && list.length) this.page.view.mark({ targets: new Set(list), parts: new Set(), probes: new Set() });
  }
  offer(page, kind, id, box) {
    const add = page.picked?.kind === kind || !kind ? make('section', null, { className: 'change' }) : null;
    if (!add) return;
    add.append(make('h3', 'Change'));
    if (kind === 'keep-out') keepOutChanges(this, page, id, add);
    else if (!kind) keepOutStart(this, page, add);
    else {
      const c = changesFor(this, page, kind, id);
      if (!c.childNodes.length) return;
      add.append(c);
    }
    box.append(add);
  }
  panel() {
    let box = $('choices');
    if (!box) {
      box = make('div', null, { id: 'choices' });
      const all = make('details', null, { id: 'whole' });
      all.append(make('summary', 'Fixture, probe classes, rules, and what the job says'), box);
      $('head').before(all);
    }
    if (box.contains(document.activeElement) && document.activeElement.tagName === 'INPUT' && document.activeElement.type === 'search') return;
    jobPanel(this, box);
  }
  effect(rows, moves) {
    const key = JSON.stringify([rows, moves]);
    if (key === this.effectKey) return;
    this.effectKey = key;
    const box = $('effect'), list = moves?.rows || [];
    box.hidden = !rows?.length || !this.state.version || this.state.version < 2;
    if (box.hidden) return;
    const cells = make('div');
    for (const r of rows) {
      if (r.before === r.now) continue;
      const c = make('p');
      c.append(make('b', `${r.before} \u2192 ${r.now}`), ' ' + r.what + (r.sense > 0 ? ': better' : r.sense < 0 ? ': worse' : ''));
      if (r.sense < 0) c.classList.add('worse');
      cells.append(c);
    }
    const title = make('h3', cells.childNodes.length ? 'What the last change did' : 'The last change did nothing to the figures');
    const where = make('details'), ul = make('ul');
    where.append(make('summary', list.length === 1 ? '1 probe is elsewhere, new or lost' : `${list.length} probes are elsewhere, new or lost`), ul);
    where.open = list.length > 0 && list.length <= 8;
    for (const m of list.slice(0, 200)) ul.append(make('li', `${m.net} ${m.what}${m.from ? m.to ? ` from ${m.from}` : `: ${m.from}` : ''}${m.to ? m.from ? ` to ${m.to}` : `: ${m.to}` : ''}`));
    if (list.length > 200) ul.append(make('li', `and ${list.length - 200} more`));
    if (moves?.targets?.length) where.append(push('Show them on the board', () => { this.page.clear(); this.again(); this.page.view.all(); }));
    box.replaceChildren(title, cells);
    if (list.length) box.append(where);
  }
  async send(edits) {
    if (!edits.length || this.sending) return;
    this.sending = true;
    const began = performance.now();
    try {
      const r = await this.ask('edit', { version: this.shown, edits });
      this.tookMs = performance.now() - began;
      await this.answered(r);
    } finally {
      this.sending = false;
    }
  }
  async post(path) {
    if (this.sending) return;
    this.sending = true;
    try { await this.answered(await this.ask(path, {})); } finally { this.sending = false; }
  }
  async answered(r) {
    this.closed = null;
    if (r.patch) {
      patchData(this.page.d, r.patch);
      this.page.known = null;
      this.shown = r.version; this.shownSettled = false; this.patched = true;
      Object.assign(this.state, { version: r.version, lines: r.lines, can_undo: r.can_undo, can_redo: r.can_redo, effect: r.effect, moves: r.moves, job: r.job, settled: false, settling: true, findings: [] });
      this.shopVersion = r.version;
      await this.show(this.state);
      this.panel();
      const p = this.page.picked, there = p && (p.kind === 'probe' ? this.page.d.probes[p.id] : p.kind === 'keep-out' ? this.page.d.keep_outs[p.id] : true);
      this.page.view.changed();
      if (p && there && p.kind !== 'probe') this.page.choose(p.kind, p.id, true); else this.page.clear();
      this.again();
    } else if (r.error) this.complain([r.error, ...(r.findings || [])]);
    await this.poll();
    if (r.error) this.complain([r.error, ...(r.findings || [])]);
  }
}

new Live();
