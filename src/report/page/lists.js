// The lists of the page. They are the very files that the shop gets. They can be filtered, sorted, copied and saved as
// CSV, and a click on a name picks the thing on the board.
import { readCsv, writeCsv } from './data.js';

// File, title, and the column whose cells name the thing that a row is about.
const LISTS = [
  ['probes.csv', 'Probes', 'probe'],
  ['coverage.csv', 'Needs', 'net'],
  ['blocked', 'Blocked pads', 'target'],
  ['interfaces.csv', 'Interfaces', 'net'],
  ['measure-first.csv', 'Assumptions to measure', 'part'],
  ['advice.csv', 'Advice', 'net'],
  ['test-points.csv', 'Test points', 'name'],
  ['nearly-open.csv', 'Pads nearly open', 'target'],
  ['wiring.csv', 'Wires', 'probe'],
  ['supports.csv', 'Stops and fingers', ''],
  ['strain.csv', 'Strain of parts', 'component'],
  ['supplies.csv', 'Supplies', 'net'],
  ['materials.csv', 'Materials', ''],
  ['respin.csv', 'Probes of the old fixture', 'probe'],
  ['board-changes.csv', 'Changes to the board', 'name'],
  ['rework.csv', 'Rework', 'label'],
  ['revisions.csv', 'Boards this fixture runs', ''],
];
const ROWS = 400; // So many rows are put into the page at once.

/**
 * The list of pads that no class can probe, made from the page's own data. Each row gives the last of the pad's
 * reasons, which is the one of the last class.
 */
export function blockedRows(data) {
  const rows = [
    ['target', 'net', 'side', 'x_mm', 'y_mm', 'class', 'reason', 'measured', 'required', 'unit', 'obstacle'],
  ];
  for (const target of data.targets)
    if (target.state === 'blocked' && target.reasons.length) {
      const reason = target.reasons[target.reasons.length - 1];
      // A unit of "1" marks a bare number; all else is a length.
      const amount = value => (reason.unit === '1' ? String(value) : (value / 1000).toFixed(3));
      rows.push([
        target.name,
        target.net < 0 ? '' : data.nets[target.net].name,
        target.side,
        (target.x / 1000).toFixed(3),
        (target.y / 1000).toFixed(3),
        data.classes[reason.cls].name,
        reason.reason,
        reason.unit ? amount(reason.measured) : '',
        reason.unit ? amount(reason.required) : '',
        reason.unit,
        reason.obstacle,
      ]);
    }
  return rows;
}

/** The rows that hold every word of a filter, in whatever cell and in small or capital letters. */
export function rowsWith(rows, filter) {
  const words = filter.trim().toLowerCase().split(/\s+/).filter(Boolean);
  return rows.filter(row => {
    const text = row.join(' ').toLowerCase();
    return words.every(word => text.includes(word));
  });
}

const rowsInWords = count => (count === 1 ? '1 row' : `${count} rows`);

/** The order of two cells: numbers by their value, all else as words, with the numbers in them by value too. */
export function compareCells(left, right) {
  const isNumber = cell => cell !== '' && !isNaN(cell);
  if (isNumber(left) && isNumber(right)) return left - right;
  return left.localeCompare(right, 'en', { numeric: true });
}

export class Lists {
  constructor(root, data, onRow) {
    this.data = data;
    this.onRow = onRow;
    this.tables = new Map();
    for (const [file, title, key] of LISTS) {
      // A list is read when it is first shown. Until then the number of its lines is enough.
      const count =
        file === 'blocked'
          ? data.targets.filter(target => target.state === 'blocked' && target.reasons.length).length
          : (data.lists[file] || '').split('\n').length - 2;
      if (count > 0) this.tables.set(file, { title, key, count });
    }
    root.innerHTML =
      '<div class="pick" role="tablist" aria-label="Lists"></div>' +
      '<div class="bar"><label>Show only rows with <input type="search" id="filter"></label> ' +
      '<span id="count" role="status"></span> <button id="more">Show more rows</button> ' +
      '<button id="copy">Copy</button> <button id="save">Save as CSV</button></div>' +
      '<div class="scroll" tabindex="0" role="region" aria-label="List">' +
      '<table><thead></thead><tbody></tbody></table></div>';
    this.pick = root.querySelector('.pick');
    this.filter = root.querySelector('#filter');
    this.count = root.querySelector('#count');
    this.more = root.querySelector('#more');
    this.table = root.querySelector('table');
    for (const [file, table] of this.tables) {
      const button = document.createElement('button');
      button.role = 'tab';
      button.textContent = table.title + ' ' + table.count;
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
  /** Shows the list that another object of this class showed, with its filter and its order. */
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
    this.count.textContent = rowsInWords(this.shown.length) + ' copied';
  }
  /** Opens the list of a file. */
  show(file) {
    const table = this.tables.get(file);
    if (!table.rows) {
      const rows = file === 'blocked' ? blockedRows(this.data) : readCsv(this.data.lists[file]);
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
  /** Fills the table. keep: rows that were asked for beyond the first ones stay. */
  rows(keep) {
    if (!keep) this.limit = ROWS;
    this.shown = rowsWith(this.now.rows, this.filter.value);
    if (this.order) {
      const [i, sign] = this.order;
      this.shown.sort((left, right) => sign * compareCells(left[i], right[i]));
      const direction = sign > 0 ? 'ascending' : 'descending';
      [...this.table.tHead.rows[0].cells].forEach((cell, column) =>
        cell.setAttribute('aria-sort', column === i ? direction : 'none'),
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
    const all = rowsInWords(this.shown.length);
    this.count.textContent = count < this.shown.length ? `${count} of ${all}` : all;
    this.more.hidden = count >= this.shown.length;
    if (this.picked) this.mark(this.picked);
  }
  /** Marks the rows that name one of these in the list shown, and scrolls to the first. */
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
