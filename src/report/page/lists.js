// Lists: the very files that the shop gets, with filter, order, copy and CSV; a row picks what it speaks of.
import { readCsv, writeCsv } from './data.js';

const LISTS = [
  ['probes.csv', 'Probes', 'probe'],
  ['coverage.csv', 'Needs', 'net'],
  ['blocked', 'Blocked pads', 'target'],
  ['interfaces.csv', 'Interfaces', 'net'],
  ['measure-first.csv', 'Assumptions to measure', 'part'],
  ['advice.csv', 'Advice', 'net'],
  ['nearly-open.csv', 'Nearly open', 'target'],
  ['wiring.csv', 'Wires', 'probe'],
  ['supports.csv', 'Stops and fingers', ''],
  ['strain.csv', 'Strain by part', 'component'],
  ['supplies.csv', 'Supplies', 'net'],
  ['materials.csv', 'Materials', ''],
  ['respin.csv', 'Probes of the old fixture', 'probe'],
  ['board-changes.csv', 'Changes of the board', 'name'],
  ['rework.csv', 'Rework', 'label'],
  ['revisions.csv', 'Boards that run', ''],
];
const ROWS = 400; // rows put into the page at once

export class Lists {
  constructor(root, data, onRow) {
    this.d = data;
    this.onRow = onRow;
    this.tables = new Map();
    for (const [file, title, key] of LISTS) {
      // Read when first shown; until then their number of lines is enough.
      const count =
        file === 'blocked'
          ? data.targets.filter(target => target.state === 'blocked' && target.reasons.length).length
          : (data.lists[file] || '').split('\n').length - 2;
      if (count > 0) this.tables.set(file, { title, key, n: count });
    }
    root.innerHTML = `<div class="pick" role="tablist" aria-label="Lists"></div><div class="bar"><label>Only rows with <input type="search" id="filter"></label> <span id="count" role="status"></span> <button id="more">Show more rows</button> <button id="copy">Copy</button> <button id="save">Save as CSV</button></div><div class="scroll" tabindex="0" role="region" aria-label="List"><table><thead></thead><tbody></tbody></table></div>`;
    this.pick = root.querySelector('.pick');
    this.filter = root.querySelector('#filter');
    this.count = root.querySelector('#count');
    this.more = root.querySelector('#more');
    this.table = root.querySelector('table');
    for (const [file, table] of this.tables) {
      const button = document.createElement('button');
      button.role = 'tab';
      button.textContent = table.title + ' ' + table.n;
      button.dataset.file = file;
      button.onclick = () => this.show(file);
      this.pick.append(button);
    }
    this.pick.onkeydown = event => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      const all = [...this.pick.children];
      if (step) {
        const button = all[(all.indexOf(document.activeElement) + step + all.length) % all.length];
        button.focus();
        button.click();
      }
    };
    let wait;
    this.filter.oninput = () => {
      clearTimeout(wait);
      wait = setTimeout(() => this.rows(), 80);
    };
    this.more.onclick = () => {
      this.limit += ROWS * 5;
      this.rows(true);
    };
    root.querySelector('#copy').onclick = () => this.copy();
    root.querySelector('#save').onclick = () => {
      const anchor = document.createElement('a');
      anchor.href = URL.createObjectURL(new Blob([writeCsv([this.now.head, ...this.shown])], { type: 'text/csv' }));
      anchor.download = this.file === 'blocked' ? 'blocked-pads.csv' : this.file;
      anchor.click();
      setTimeout(() => URL.revokeObjectURL(anchor.href), 1000);
    };
    this.show([...this.tables.keys()][0]);
  }
  /** Shows what another one showed. */
  take(other) {
    this.filter.value = other.filter.value;
    if (this.tables.has(other.file)) this.show(other.file);
    if (other.file === this.file && other.order) {
      this.order = other.order;
      this.rows();
    }
  }
  async copy() {
    const text = [this.now.head, ...this.shown].map(row => row.join('\t')).join('\n');
    try {
      await navigator.clipboard.writeText(text);
    } catch {
      const area = document.createElement('textarea');
      area.value = text;
      document.body.append(area);
      area.select();
      document.execCommand('copy');
      area.remove();
    }
    this.count.textContent = this.shown.length + ' rows copied';
  }
  /** Pads without an open class: from the page's own data, the first reason of the first class. */
  blocked() {
    const data = this.d;
    const rows = [
      ['target', 'net', 'side', 'x_mm', 'y_mm', 'class', 'reason', 'measured', 'required', 'unit', 'obstacle'],
    ];
    for (const target of data.targets)
      if (target.state === 'blocked' && target.reasons.length) {
        const reason = target.reasons[target.reasons.length - 1];
        const mm = value => (reason.unit === '1' ? String(value) : (value / 1000).toFixed(3));
        rows.push([
          target.name,
          target.net < 0 ? '' : data.nets[target.net].name,
          target.side,
          (target.x / 1000).toFixed(3),
          (target.y / 1000).toFixed(3),
          data.classes[reason.cls].name,
          reason.reason,
          reason.unit ? mm(reason.measured) : '',
          reason.unit ? mm(reason.required) : '',
          reason.unit,
          reason.obstacle,
        ]);
      }
    return rows;
  }
  show(file) {
    const table = this.tables.get(file);
    if (!table.rows) {
      const rows = file === 'blocked' ? this.blocked() : readCsv(this.d.lists[file]);
      table.head = rows[0];
      table.rows = rows.slice(1);
    }
    this.file = file;
    this.now = table;
    this.order = null;
    this.limit = ROWS;
    for (const button of this.pick.children) {
      button.setAttribute('aria-selected', button.dataset.file === file);
      button.tabIndex = button.dataset.file === file ? 0 : -1;
    }
    const head = document.createElement('tr');
    this.now.head.forEach((title, i) => {
      if (title === 'plan_id') return;
      const th = document.createElement('th');
      const button = document.createElement('button');
      th.scope = 'col';
      button.textContent = title.replaceAll('_', ' ');
      button.onclick = () => {
        this.order = this.order && this.order[0] === i ? [i, -this.order[1]] : [i, 1];
        this.rows();
      };
      th.append(button);
      head.append(th);
    });
    this.table.tHead.replaceChildren(head);
    this.rows();
  }
  rows(keep) {
    if (!keep) this.limit = ROWS;
    const words = this.filter.value.trim().toLowerCase().split(/\s+/).filter(Boolean);
    this.shown = this.now.rows.filter(row => {
      const text = row.join(' ').toLowerCase();
      return words.every(word => text.includes(word));
    });
    if (this.order) {
      const [i, sign] = this.order;
      const number = cell => cell !== '' && !isNaN(cell);
      this.shown.sort(
        (left, right) =>
          sign * (number(left[i]) && number(right[i]) ? left[i] - right[i] : left[i].localeCompare(right[i], 'en', { numeric: true })),
      );
      [...this.table.tHead.rows[0].cells].forEach((cell, k) =>
        cell.setAttribute('aria-sort', k === i ? (sign > 0 ? 'ascending' : 'descending') : 'none'),
      );
    }
    const body = document.createDocumentFragment();
    const key = this.now.head.indexOf(this.now.key);
    for (const row of this.shown.slice(0, this.limit)) {
      const tr = document.createElement('tr');
      row.forEach((cell, i) => {
        if (this.now.head[i] === 'plan_id') return;
        const td = document.createElement('td');
        if (i === key && cell) {
          const button = document.createElement('button');
          button.className = 'link';
          button.textContent = cell;
          button.onclick = () => this.onRow(this.now.key, cell, row, this.now.head);
          td.append(button);
        } else td.textContent = cell;
        tr.append(td);
      });
      body.append(tr);
    }
    this.table.tBodies[0].replaceChildren(body);
    const count = Math.min(this.limit, this.shown.length);
    this.count.textContent = count < this.shown.length ? `${count} of ${this.shown.length} rows` : `${count} rows`;
    this.more.hidden = count >= this.shown.length;
    if (this.picked) this.mark(this.picked);
  }
  /** Marks the rows that speak of this thing in the list at hand; the first comes into sight. */
  mark(names) {
    this.picked = new Set(names);
    const key = this.now.head.filter(title => title !== 'plan_id').indexOf(this.now.key);
    let first = null;
    for (const tr of this.table.tBodies[0].rows) {
      const on = key >= 0 && this.picked.has(tr.cells[key].textContent);
      tr.classList.toggle('on', on);
      tr.toggleAttribute('aria-current', on);
      if (on && !first) first = tr;
    }
    if (first) {
      const box = this.table.parentElement;
      box.scrollTop = first.offsetTop - box.clientHeight / 3;
    }
  }
}
