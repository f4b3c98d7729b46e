// The live page asks the program behind it for the plan, sends edits to it, and shows what they did.
import { nothing } from './board.js';
import { loadData, patchData } from './data.js';
import { changesFor, costsOf, field, fillIn, filledIn, jobPanel, push } from './edits.js';
import { $, make } from './elements.js';
import { keepOutChanges, keepOutStart } from './keep_outs.js';
import { Page } from './main.js';

// The page asks for news every so many milliseconds: while something is being worked out, and otherwise.
const SOON = 300;
const LATER = 3000;

/** What a key does together with Ctrl. */
function shortcut(event) {
  const key = event.key.toLowerCase();
  if (key === 'z') return event.shiftKey ? 'redo' : 'undo';
  if (key === 'y') return 'redo';
  return key === 's' ? 'save' : '';
}

/**
 * The line beside the buttons, while the program is idle. patched: what needs the plan worked out is still the old one.
 */
function sayingOf(state, patched) {
  if (state.disk_differs)
    return (
      'The file has changed on disk since it was read. ' +
      'Read it again, or copy the unsaved lines into it with an editor.'
    );
  if (state.settling)
    return (
      'Bending, plates, costs and advice are being worked out. ' +
      (patched
        ? 'Until then the lists and figures below are those of the previous plan.'
        : 'Everything else is up to date with the job.')
    );
  if (state.failed) return state.failed;
  return state.planned ? 'Everything on this page is up to date with the job.' : 'There is no plan yet.';
}

/** How far the program has got, as the tests see it. */
function stageOf(state) {
  if (state.settled) return 'settled';
  return state.settling ? 'settling' : 'failed';
}

/** What a change of a figure means for the plan. */
function verdictOf(sense) {
  if (sense > 0) return ': better';
  return sense < 0 ? ': worse' : '';
}

/** One probe that the last change moved, added or removed. */
function moveInWords(move) {
  const head = `${move.net} ${move.what}`;
  if (move.from && move.to) return `${head} from ${move.from} to ${move.to}`;
  const place = move.from || move.to;
  return place ? `${head}: ${place}` : head;
}

class Live {
  constructor() {
    this.base = location.pathname;
    this.job = {};
    this.shop = {};
    this.shown = -1;
    this.shownSettled = false;
    for (const [id, path] of [
      ['do-undo', 'undo'],
      ['do-redo', 'redo'],
      ['do-save', 'save'],
    ])
      $(id).onclick = () => this.post(path);
    $('do-again').onclick = () => {
      if (
        !this.state?.lines.length ||
        confirm('What the file says replaces the unsaved lines. Undo brings them back. Read the file again?')
      )
        this.post('again');
    };
    addEventListener('keydown', event => {
      if (!(event.ctrlKey || event.metaKey) || /^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName)) return;
      const path = shortcut(event);
      if (path) {
        event.preventDefault();
        this.post(path);
      }
    });
    addEventListener('beforeunload', event => {
      if (this.state?.lines.length) event.preventDefault();
    });
    document.querySelector('aside .find').after($('effect'));
    window.teaselLive = this; // The tests look at it.
    this.poll();
  }
  say(text) {
    $('saying').textContent = text;
    $('saying').title = text;
  }
  complain(list) {
    const box = $('findings');
    box.replaceChildren(...list.map(text => make('pre', text)));
    if (list.length)
      box.append(
        push('Close', () => {
          box.hidden = true;
          this.closed = list.join('\n');
        }),
      );
    box.hidden = !list.length || this.closed === list.join('\n');
  }
  async ask(path, body) {
    const response = await fetch(
      this.base + path,
      body === undefined
        ? { cache: 'no-store' }
        : { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) },
    );
    const answer = await response.json().catch(() => ({ error: 'the answer of the program cannot be read' }));
    return { status: response.status, ...answer };
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
      document.body.classList.remove('gone');
    } catch {
      document.body.classList.add('gone');
      this.say(
        'The program has ended or cannot be reached. What is not saved is kept beside the job file, and offered when ' +
          'teasel view is started on it again.',
      );
    }
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.poll(), wait);
  }
  async show(state) {
    this.state = state;
    this.job = state.job;
    $('file').textContent = state.file;
    $('do-undo').disabled = state.busy || !state.can_undo;
    $('do-redo').disabled = state.busy || !state.can_redo;
    $('do-save').disabled = state.busy || !state.lines.length;
    $('do-again').disabled = state.busy;
    $('lines').hidden = !state.lines.length;
    $('lines').querySelector('summary').textContent = `Lines that are not saved: ${state.lines.length}`;
    $('lines').querySelector('pre').textContent = state.lines.join('\n');
    $('progress').hidden = !state.busy && !state.settling;
    if (state.busy) {
      $('progress').value = state.share;
      this.say(`${state.doing} ...`);
    } else $('progress').removeAttribute('value');
    this.complain(state.findings);
    if (!state.busy) this.say(sayingOf(state, this.patched));
    document.body.classList.toggle('stale', Boolean(this.patched));
    this.effect(state.effect, state.moves);
    if (state.version !== this.shown) document.body.dataset.live = 'settling';
    if (state.busy || !state.planned) {
      document.body.dataset.live = state.busy ? 'busy' : 'failed';
      return;
    }
    if (this.shopVersion !== state.version) {
      this.shop = await this.ask('shop');
      this.shopVersion = state.version;
      this.panel();
    }
    // The page is not replaced while somebody draws on it.
    if ((state.version !== this.shown || (state.settled && !this.shownSettled)) && !this.page?.view.tool?.busy)
      await this.fetchPage();
    document.body.dataset.live = stageOf(state);
  }
  async fetchPage() {
    const answer = await this.ask('page');
    if (answer.status !== 200) return;
    $('head').innerHTML = answer.head;
    $('rest').innerHTML = answer.rest;
    const data = await loadData(answer.data);
    // Results that come in later do not wipe out what somebody is filling in.
    const begun = answer.version === this.shown ? filledIn($('about')) : [];
    const keepOut = this.page?.picked?.kind === 'keep-out' ? this.page.picked.id : undefined;
    if (this.page) this.page.leave();
    this.page = new Page(data, (page, kind, id, box) => this.offer(page, kind, id, box), this.page);
    this.shown = answer.version;
    this.shownSettled = answer.settled;
    this.patched = false;
    document.body.classList.remove('stale');
    // A keep-out that was picked has no name by which the address could pick it again.
    if (keepOut !== undefined && data.keep_outs[keepOut]) this.page.choose('keep-out', keepOut, true);
    fillIn($('about'), begun);
    this.again();
  }
  /** Highlights what the last change moved, as long as nothing is picked. */
  again() {
    const list = this.state?.moves?.targets || [];
    if (!this.page.picked && list.length) this.page.view.highlight({ ...nothing(), targets: new Set(list) });
  }
  offer(page, kind, id, box) {
    const add = page.picked?.kind === kind || !kind ? make('section', null, { className: 'change' }) : null;
    if (!add) return;
    add.append(make('h3', 'Change'));
    if (kind === 'keep-out') keepOutChanges(this, page, id, add);
    else if (!kind) keepOutStart(this, page, add);
    else {
      const changes = changesFor(this, page, kind, id);
      if (!changes.childNodes.length) return;
      add.append(changes);
    }
    box.append(add);
  }
  panel() {
    let box = $('choices');
    if (!box) {
      box = make('div', null, { id: 'choices' });
      const all = make('details', null, { id: 'whole' });
      all.append(make('summary', 'Fixture, probe classes, rules and more'), box);
      $('lines').before(all);
    }
    if (
      box.contains(document.activeElement) &&
      document.activeElement.tagName === 'INPUT' &&
      document.activeElement.type === 'search'
    )
      return;
    jobPanel(this, this.page?.data || { lists: {} }, box);
  }
  effect(rows, moves) {
    const key = JSON.stringify([rows, moves]);
    if (key === this.effectKey) return;
    this.effectKey = key;
    const box = $('effect');
    const list = moves?.rows || [];
    box.hidden = !rows?.length || !this.state.version || this.state.version < 2;
    if (box.hidden) return;
    const cells = make('div');
    for (const row of rows) {
      if (row.before === row.now) continue;
      const line = make('p');
      line.append(make('b', `${row.before} \u2192 ${row.now}`), ' ' + row.what + verdictOf(row.sense));
      if (row.sense < 0) line.classList.add('worse');
      cells.append(line);
    }
    const title = make(
      'h3',
      cells.childNodes.length ? 'What the last change did' : 'The last change left the figures as they were',
    );
    const where = make('details');
    const ul = make('ul');
    where.append(
      make(
        'summary',
        list.length === 1
          ? '1 probe was moved, added or removed'
          : `${list.length} probes were moved, added or removed`,
      ),
      ul,
    );
    where.open = list.length > 0 && list.length <= 8;
    for (const move of list.slice(0, 200)) ul.append(make('li', moveInWords(move)));
    if (list.length > 200) ul.append(make('li', `and ${list.length - 200} more`));
    if (moves?.targets?.length)
      where.append(
        push('Show them on the board', () => {
          this.page.clear();
          this.again();
          this.page.view.all();
        }),
      );
    box.replaceChildren(title, cells);
    if (list.length) box.append(where, this.slider());
    if (this.asking) this.question(rows);
    this.asking = false;
  }
  /** Keeps the probes as they are, to compare with: an answer changes them in place. */
  keep() {
    this.before = this.page?.data.probes.map(probe => ({ ...probe }));
  }
  /** Fades the probes of the plan before into those of this one. */
  slider() {
    const before = this.before || [];
    const slide = field('before \u2194 now', 100, { type: 'range', min: 0, max: 100 });
    slide.control.oninput = () => {
      const share = slide.control.value / 100;
      this.page.view.compared = share < 1 ? { probes: before, share } : undefined;
      this.page.view.draw();
    };
    return slide;
  }
  /** Asks whether a change stays that turns the board over or costs nets. */
  question(rows) {
    const costs = costsOf(rows);
    if (!costs.length) return;
    const box = make('dialog', null, { id: 'question' });
    box.setAttribute('aria-label', 'What this change costs');
    const list = make('ul');
    list.append(...costs.map(words => make('li', words)));
    const answer = (words, handler) =>
      push(words, () => {
        box.close();
        handler?.();
      });
    const bar = make('div', null, { className: 'changes' });
    bar.append(
      answer('Keep it'),
      answer('Show it on the board', () => {
        this.page.clear();
        this.again();
        this.page.view.all();
      }),
      answer('Take it back', () => this.post('undo')),
    );
    box.append(make('h3', 'This change costs something'), list, bar);
    box.onclose = () => box.remove();
    document.body.append(box);
    box.showModal();
  }
  async send(edits) {
    if (!edits.length || this.sending) return;
    this.asking = true;
    this.sending = true;
    this.keep();
    const began = performance.now();
    try {
      const answer = await this.ask('edit', { version: this.shown, edits });
      this.tookMs = performance.now() - began;
      await this.answered(answer);
    } finally {
      this.sending = false;
    }
  }
  async post(path) {
    if (this.sending) return;
    this.asking = false;
    this.sending = true;
    this.keep();
    try {
      await this.answered(await this.ask(path, {}));
    } finally {
      this.sending = false;
    }
  }
  async answered(answer) {
    this.closed = null;
    if (answer.patch) {
      patchData(this.page.data, answer.patch);
      this.page.known = null;
      this.shown = answer.version;
      this.shownSettled = false;
      this.patched = true;
      Object.assign(this.state, {
        version: answer.version,
        lines: answer.lines,
        can_undo: answer.can_undo,
        can_redo: answer.can_redo,
        effect: answer.effect,
        moves: answer.moves,
        job: answer.job,
        settled: false,
        settling: true,
        findings: [],
      });
      this.shopVersion = answer.version;
      await this.show(this.state);
      this.panel();
      const picked = this.page.picked;
      // An edit gives probes new numbers, and it may have removed the keep-out that was picked.
      const stays =
        picked && picked.kind !== 'probe' && (picked.kind !== 'keep-out' || this.page.data.keep_outs[picked.id]);
      this.page.view.changed();
      if (stays) this.page.choose(picked.kind, picked.id, true);
      else this.page.clear();
      this.again();
    } else if (answer.error) {
      this.asking = false;
      this.complain([answer.error, ...(answer.findings || [])]);
    }
    await this.poll();
    if (answer.error) this.complain([answer.error, ...(answer.findings || [])]);
  }
}

new Live();
