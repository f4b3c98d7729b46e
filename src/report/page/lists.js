// Lists: the very files that the shop gets, with filter, order, copy and CSV; a row picks what it speaks of.
import { readCsv, writeCsv } from './data.js';

const LISTS = [
  ['probes.csv', 'Probes', 'probe'], ['coverage.csv', 'Needs', 'net'], ['blocked', 'Blocked pads', 'target'], ['interfaces.csv', 'Interfaces', 'net'], ['measure-first.csv', 'Assumptions to measure', 'part'],
  ['advice.csv', 'Advice', 'net'], ['nearly-open.csv', 'Nearly open', 'target'], ['wiring.csv', 'Wires', 'probe'], ['supports.csv', 'Stops and fingers', ''], ['strain.csv', 'Strain by part', 'component'],
  ['supplies.csv', 'Supplies', 'net'], ['materials.csv', 'Materials', ''], ['respin.csv', 'Probes of the old fixture', 'probe'], ['board-changes.csv', 'Changes of the board', 'name'], ['rework.csv', 'Rework', 'label'], ['revisions.csv', 'Boards that run', '']];
const ROWS = 400;  // rows put into the page at once

export class Lists {
  constructor(root, data, onRow) {
    this.d = data; this.onRow = onRow;
    this.tables = new Map();
    for (const [file, title, key] of LISTS) {
      // Read when first shown; until then their number of lines is enough.
      const n = file === 'blocked' ? data.targets.filter(t => t.state === 'blocked' && t.reasons.length).length : (data.lists[file] || '').split('\n').length - 2;
      if (n > 0) this.tables.set(file, { title, key, n });
    }
    root.innerHTML = `<div class="pick" role="tablist" aria-label="Lists"></div><div class="bar"><label>Only rows with <input type="search" id="filter"></label> <span id="count" role="status"></span> <button id="more">Show more rows</button> <button id="copy">Copy</button> <button id="save">Save as CSV</button></div><div class="scroll" tabindex="0" role="region" aria-label="List"><table><thead></thead><tbody></tbody></table></div>`;
    this.pick = root.querySelector('.pick');
    this.filter = root.querySelector('#filter'); this.count = root.querySelector('#count'); this.more = root.querySelector('#more');
    this.table = root.querySelector('table');
    for (const [file, t] of this.tables) {
      const b = document.createElement('button');
      b.role = 'tab'; b.textContent = t.title + ' ' + t.n; b.dataset.file = file;
      b.onclick = () => this.show(file);
      this.pick.append(b);
    }
    this.pick.onkeydown = e => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[e.key], all = [...this.pick.children];
      if (step) { const b = all[(all.indexOf(document.activeElement) + step + all.length) % all.length]; b.focus(); b.click(); }
    };
    let wait;
    this.filter.oninput = () => { clearTimeout(wait); wait = setTimeout(() => this.rows(), 80); };
    this.more.onclick = () => { this.limit += ROWS * 5; this.rows(true); };
    root.querySelector('#copy').onclick = () => this.copy();
    root.querySelector('#save').onclick = () => {
      const a = document.createElement('a');
      a.href = URL.createObjectURL(new Blob([writeCsv([this.now.head, ...this.shown])], { type: 'text/csv' }));
      a.download = this.file === 'blocked' ? 'blocked-pads.csv' : this.file;
      a.click();
      setTimeout(() => URL.revokeObjectURL(a.href), 1000);
    };
    this.show([...this.tables.keys()][0]);
  }
  /** Shows what another one showed. */
  take(other) {
    this.filter.value = other.filter.value;
    if (this.tables.has(other.file)) this.show(other.file);
    if (other.file === this.file && other.order) { this.order = other.order; this.rows(); }
  }
  async copy() {
    const text = [this.now.head, ...this.shown].map(r => r.join('\t')).join('\n');
    try { await navigator.clipboard.writeText(text); } catch {
      const t = document.createElement('textarea');
      t.value = text; document.body.append(t); t.select(); document.execCommand('copy'); t.remove();
    }
    this.count.textContent = this.shown.length + ' rows copied';
  }
  /** Pads without an open class: from the page's own data, the first reason of the first class. */
  blocked() {
    const d = this.d, rows = [['target', 'net', 'side', 'x_mm', 'y_mm', 'class', 'reason', 'measured', 'required', 'unit', 'obstacle']];
    for (const t of d.targets) if (t.state === 'blocked' && t.reasons.length) {
      const r = t.reasons[t.reasons.length - 1], mm = v => r.unit === '1' ? String(v) : (v / 1000).toFixed(3);
      rows.push([t.name, t.net < 0 ? '' : d.nets[t.net].name, t.side, (t.x / 1000).toFixed(3), (t.y / 1000).toFixed(3), d.classes[r.cls].name, r.reason, r.unit ? mm(r.measured) : '', r.unit ? mm(r.required) : '', r.unit, r.obstacle]);
    }
    return rows;
  }
  show(file) {
    const t = this.tables.get(file);
    if (!t.rows) {
      const rows = file === 'blocked' ? this.blocked() : readCsv(this.d.lists[file]);
      t.head = rows[0]; t.rows = rows.slice(1);
    }
    this.file = file; this.now = t; this.order = null; this.limit = ROWS;
    for (const b of this.pick.children) { b.setAttribute('aria-selected', b.dataset.file === file); b.tabIndex = b.dataset.file === file ? 0 : -1; }
    const head = document.createElement('tr');
    this.now.head.forEach((h, i) => {
      if (h === 'plan_id') return;
      const th = document.createElement('th'), b = document.createElement('button');
      th.scope = 'col'; b.textContent = h.replaceAll('_', ' '); b.onclick = () => { this.order = this.order && this.order[0] === i ? [i, -this.order[1]] : [i, 1]; this.rows(); };
      th.append(b); head.append(th);
    });
    this.table.tHead.replaceChildren(head);
    this.rows();
  }
  rows(keep) {
    if (!keep) this.limit = ROWS;
    const q = this.filter.value.trim().toLowerCase().split(/\s+/).filter(Boolean);
    this.shown = this.now.rows.filter(r => { const t = r.join(' ').toLowerCase(); return q.every(w => t.includes(w)); });
    if (this.order) {
      const [i, sign] = this.order, number = s => s !== '' && !isNaN(s);
      this.shown.sort((a, b) => sign * (number(a[i]) && number(b[i]) ? a[i] - b[i] : a[i].localeCompare(b[i], 'en', { numeric: true })));
      [...this.table.tHead.rows[0].cells].forEach((c, k) => c.setAttribute('aria-sort', k === i ? sign > 0 ? 'ascending' : 'descending' : 'none'));
    }
    const body = document.createDocumentFragment();
    const key = this.now.head.indexOf(this.now.key);
    for (const r of this.shown.slice(0, this.limit)) {
      const tr = document.createElement('tr');
      r.forEach((c, i) => {
        if (this.now.head[i] === 'plan_id') return;
        const td = document.createElement('td');
        if (i === key && c) { const b = document.createElement('button'); b.className = 'link'; b.textContent = c; b.onclick = () => this.onRow(this.now.key, c, r, this.now.head); td.append(b); } else td.textContent = c;
        tr.append(td);
      });
      body.append(tr);
    }
    this.table.tBodies[0].replaceChildren(body);
    const n = Math.min(this.limit, this.shown.length);
    this.count.textContent = n < this.shown.length ? `${n} of ${this.shown.length} rows` : `${n} rows`;
    this.more.hidden = n >= this.shown.length;
    if (this.picked) this.mark(this.picked);
  }
  /** Marks the rows that speak of this thing in the list at hand; the first comes into sight. */
  mark(names) {
    this.picked = new Set(names);
    const key = this.now.head.filter(h => h !== 'plan_id').indexOf(this.now.key);
    let first = null;
    for (const tr of this.table.tBodies[0].rows) {
      const on = key >= 0 && this.picked.has(tr.cells[key].textContent);
      tr.classList.toggle('on', on);
      tr.toggleAttribute('aria-current', on);
      if (on && !first) first = tr;
    }
    if (first) { const box = this.table.parentElement; box.scrollTop = first.offsetTop - box.clientHeight / 3; }
  }
}
