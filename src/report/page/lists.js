// The lists of the page, in a drawer under the board. They are the very files that the shop gets. They can be filtered,
// sorted, grouped, copied and saved as CSV. A click on a name picks the thing on the board, and rows that are selected
// are highlighted there. Only the lines in sight are in the document.
import { readCsv, writeCsv } from './data.js';
import { make } from './elements.js';
import { blockedRows, compareCells, inGroups, isNumeric, linesInSight, rowsWith, widthOf } from './rows.js';

// File, title, the column whose cells name the thing that a row is about, and columns that are shown first.
const LISTS = [
  ['coverage.csv', 'Nets', 'net', ['net', 'status', 'got', 'wanted', 'reason']],
  ['probes.csv', 'Probes', 'probe'],
  ['blocked', 'Blocked pads', 'target'],
  ['interfaces.csv', 'Interfaces', 'net'],
  ['measure-first.csv', 'To measure', 'part'],
  ['advice.csv', 'For the layout', 'net'],
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
const LINE = 25; // The height of a line, as the style sheet has it.

const rowsInWords = count => (count === 1 ? '1 row' : `${count} rows`);

export class Lists {
  /**
   * onRow(key, value, row, head): a name was clicked. onSelect(key, values): rows are selected. onShow(): the address
   * should say what is shown.
   */
  constructor(root, data, { onRow, onSelect, onShow }) {
    Object.assign(this, { root, data, onRow, onSelect, onShow });
    this.tables = new Map();
    for (const [file, title, key, first] of LISTS) {
      // A list is read when it is first shown. Until then the number of its lines is enough.
      const count =
        file === 'blocked'
          ? data.targets.filter(target => target.state === 'blocked' && target.reasons.length).length
          : (data.lists[file] || '').split('\n').length - 2;
      if (count > 0) this.tables.set(file, { title, key, first: first || [], count, hidden: new Set(['plan_id']) });
    }
    root.innerHTML =
      '<div class=strip><div class=pick role=tablist aria-label=Lists></div>' +
      '<button id=drawer aria-controls=rows></button></div>' +
      '<div id=rows><div class=bar><label>Only rows with <input type=search id=filter></label>' +
      '<label>in groups by <select id=grouped></select></label>' +
      '<details id=columns><summary>Columns</summary><div class=layers></div></details>' +
      '<span id=count role=status></span>' +
      '<button id=copy>Copy</button><button id=save>Save as CSV</button></div>' +
      '<div class=scroll tabindex=0 role=region aria-label=List>' +
      '<table><colgroup></colgroup><thead></thead><tbody></tbody></table></div></div>';
    const find = selector => root.querySelector(selector);
    this.pick = find('.pick');
    this.filter = find('#filter');
    this.grouped = find('#grouped');
    this.columns = find('#columns');
    this.count = find('#count');
    this.scroll = find('.scroll');
    this.table = find('table');
    this.drawer = find('#drawer');
    this.closed = new Set();
    this.selected = new Set();
    this.drawer.onclick = () => this.open(root.classList.contains('closed'));
    this.tabs();
    let wait;
    this.filter.oninput = () => {
      clearTimeout(wait);
      wait = setTimeout(() => {
        this.rows();
        this.onShow();
      }, 80);
    };
    this.grouped.onchange = () => {
      this.closed.clear();
      this.rows();
      this.onShow();
    };
    this.scroll.onscroll = () => this.draw();
    new ResizeObserver(() => this.draw()).observe(this.scroll);
    find('#copy').onclick = () => this.copy();
    find('#save').onclick = () => this.save();
    this.show([...this.tables.keys()][0]);
    this.open(false);
  }
  tabs() {
    for (const [file, table] of this.tables) {
      const button = make('button', table.title + ' ' + table.count, { role: 'tab' });
      button.dataset.file = file;
      // A second click on the list that is open closes the drawer.
      button.onclick = () => {
        const open = this.file !== file || this.root.classList.contains('closed');
        if (this.file !== file) this.show(file);
        this.open(open);
      };
      this.pick.append(button);
    }
    this.pick.onkeydown = event => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!step) return;
      const all = [...this.pick.children];
      const button = all[(all.indexOf(event.target) + step + all.length) % all.length];
      button.focus();
      this.show(button.dataset.file);
      this.open(true);
    };
  }
  /** Opens or closes the drawer. */
  open(open) {
    this.root.classList.toggle('closed', !open);
    this.drawer.textContent = open ? 'Close the list' : 'Open the list';
    this.drawer.setAttribute('aria-expanded', String(open));
    if (open) this.draw(true);
    if (open && this.picked) this.mark(this.picked);
    this.onShow();
  }
  get isOpen() {
    return !this.root.classList.contains('closed');
  }
  /** Shows the list that another object of this class showed, with its filter, its groups and its order. */
  take(other) {
    if (this.tables.has(other.file)) this.show(other.file);
    if (other.file === this.file) {
      this.filter.value = other.filter.value;
      this.order = other.order;
      this.grouped.value = other.grouped.value;
      this.now.hidden = other.now.hidden;
      this.head();
      this.rows();
    }
    this.open(other.isOpen);
  }
  get asCsv() {
    return [this.now.head, ...this.shown];
  }
  save() {
    const anchor = make('a', null, {
      href: URL.createObjectURL(new Blob([writeCsv(this.asCsv)], { type: 'text/csv' })),
      download: this.file === 'blocked' ? 'blocked-pads.csv' : this.file,
    });
    anchor.click();
    setTimeout(() => URL.revokeObjectURL(anchor.href), 1000);
  }
  async copy() {
    const text = this.asCsv.map(row => row.join('\t')).join('\n');
    try {
      await navigator.clipboard.writeText(text);
    } catch {
      const area = make('textarea', null, { value: text });
      document.body.append(area);
      area.select();
      document.execCommand('copy');
      area.remove();
    }
    this.count.textContent = rowsInWords(this.shown.length) + ' copied';
  }
  /** The rows of a list, read when they are first asked for. */
  read(file) {
    const table = this.tables.get(file);
    if (!table.rows) {
      const rows = file === 'blocked' ? blockedRows(this.data) : readCsv(this.data.lists[file]);
      table.head = rows[0];
      table.rows = rows.slice(1);
    }
    return table;
  }
  /** Shows the list of a file. */
  show(file) {
    this.file = file;
    this.now = this.read(file);
    this.order = null;
    // What was looked for in another list is not looked for in this one.
    this.filter.value = '';
    this.closed.clear();
    this.selected.clear();
    for (const button of this.pick.children) {
      button.setAttribute('aria-selected', button.dataset.file === file);
      button.tabIndex = button.dataset.file === file ? 0 : -1;
    }
    // The page itself stays where it is.
    const tab = this.pick.querySelector('[aria-selected=true]');
    const right = tab.offsetLeft + tab.offsetWidth - this.pick.offsetLeft - this.pick.clientWidth;
    const left = tab.offsetLeft - this.pick.offsetLeft;
    if (left < this.pick.scrollLeft) this.pick.scrollLeft = left;
    else if (right > this.pick.scrollLeft) this.pick.scrollLeft = right;
    const now = this.now;
    this.grouped.replaceChildren(make('option', 'no groups', { value: '' }));
    now.head.forEach(title => {
      if (!now.hidden.has(title) && !isNumeric(now.rows, now.head.indexOf(title)))
        this.grouped.append(make('option', title.replaceAll('_', ' '), { value: title }));
    });
    const box = this.columns.querySelector('div');
    box.replaceChildren();
    for (const title of now.head) {
      if (title === 'plan_id') continue;
      const label = make('label');
      const tick = make('input', null, { type: 'checkbox', checked: !now.hidden.has(title) });
      tick.onchange = () => {
        now.hidden[tick.checked ? 'delete' : 'add'](title);
        this.head();
        this.draw(true);
      };
      label.append(tick, ' ' + title.replaceAll('_', ' '));
      box.append(label);
    }
    this.head();
    this.rows();
    if (this.picked) this.mark(this.picked);
    this.onShow();
  }
  /** The numbers of the columns that are shown. */
  get inColumns() {
    const { head, first, hidden } = this.now;
    const order = [...first, ...head.filter(title => !first.includes(title))];
    return order.map(title => head.indexOf(title)).filter(i => i >= 0 && !hidden.has(head[i]));
  }
  head() {
    const now = this.now;
    const head = make('tr');
    const widths = make('colgroup');
    for (const i of this.inColumns) {
      const th = make('th', null, { scope: 'col' });
      const button = make('button', now.head[i].replaceAll('_', ' '));
      button.onclick = () => {
        this.order = this.order && this.order[0] === i ? [i, -this.order[1]] : [i, 1];
        this.rows();
      };
      th.append(button);
      head.append(th);
      const column = make('col');
      column.style.width = widthOf(now.rows, i, now.head[i]) + 'ch';
      widths.append(column);
    }
    this.table.querySelector('colgroup').replaceWith(widths);
    this.table.tHead.replaceChildren(head);
    this.sorted();
  }
  sorted() {
    const [column, sign] = this.order || [-1, 1];
    const direction = sign > 0 ? 'ascending' : 'descending';
    this.inColumns.forEach((i, cell) =>
      this.table.tHead.rows[0].cells[cell].setAttribute('aria-sort', i === column ? direction : 'none'),
    );
  }
  /** Finds the rows to show, in their order and groups. */
  rows() {
    const now = this.now;
    this.shown = rowsWith(now.rows, this.filter.value);
    if (this.order) {
      const [i, sign] = this.order;
      this.shown.sort((left, right) => sign * compareCells(left[i], right[i]));
    }
    this.sorted();
    const group = now.head.indexOf(this.grouped.value);
    this.lines = group < 0 ? this.shown.map(row => ({ row })) : inGroups(this.shown, group, this.closed);
    const all = rowsInWords(this.shown.length);
    this.count.textContent = this.shown.length < now.rows.length ? `${all} of ${now.rows.length}` : all;
    this.table.setAttribute('aria-rowcount', this.lines.length + 1);
    this.draw(true);
  }
  /** Puts the lines in sight into the table. */
  draw(anew) {
    if (!this.lines || !this.isOpen) return;
    const [from, to] = linesInSight(this.lines.length, this.scroll.scrollTop, this.scroll.clientHeight, LINE);
    if (!anew && this.from === from && this.to === to) return;
    this.from = from;
    this.to = to;
    const body = document.createDocumentFragment();
    const space = lines => {
      const tr = make('tr', null, { className: 'space', ariaHidden: 'true' });
      tr.style.height = lines * LINE + 'px';
      if (lines > 0) body.append(tr);
    };
    space(from);
    this.lines.slice(from, to).forEach((line, i) => {
      const tr = line.row ? this.rowOf(line.row) : this.groupRow(line);
      tr.setAttribute('aria-rowindex', from + i + 2);
      body.append(tr);
    });
    space(this.lines.length - to);
    if (!this.lines.length) {
      const tr = make('tr');
      tr.append(make('td', 'No row has all of these words.', { colSpan: this.inColumns.length }));
      body.append(tr);
    }
    this.table.tBodies[0].replaceChildren(body);
  }
  groupRow({ group, count, open }) {
    const tr = make('tr', null, { className: 'group' });
    const cell = make('td', null, { colSpan: this.inColumns.length });
    const button = make('button', `${open ? '\u25be' : '\u25b8'} ${group}, ${rowsInWords(count)}`, {
      className: 'link',
    });
    button.setAttribute('aria-expanded', String(open));
    button.onclick = () => {
      this.closed[open ? 'add' : 'delete'](group);
      this.rows();
    };
    cell.append(button);
    tr.append(cell);
    return tr;
  }
  rowOf(row) {
    const now = this.now;
    const key = now.head.indexOf(now.key);
    const tr = make('tr');
    const on = (key >= 0 && this.picked?.has(row[key])) || this.selected.has(row);
    tr.classList.toggle('on', on);
    tr.toggleAttribute('aria-current', on);
    for (const i of this.inColumns) {
      const td = make('td', null, { title: row[i].length > 24 ? row[i] : '' });
      if (i === key && row[i]) {
        const button = make('button', row[i], { className: 'link' });
        button.onclick = event => {
          if (event.ctrlKey || event.metaKey || event.shiftKey) return;
          event.stopPropagation();
          this.onRow(now.key, row[i], row, now.head);
        };
        td.append(button);
      } else td.textContent = row[i];
      tr.append(td);
    }
    tr.onclick = event => this.select(row, event);
    return tr;
  }
  /** A click selects one row, with Ctrl one more or one less, with Shift all up to it. */
  select(row, event) {
    // Whoever marks text to copy it selects no row.
    if (!event.shiftKey && String(window.getSelection())) return;
    window.getSelection().removeAllRanges();
    const key = this.now.head.indexOf(this.now.key);
    if (event.shiftKey && this.last) {
      const list = this.lines.filter(line => line.row).map(line => line.row);
      const ends = [list.indexOf(this.last), list.indexOf(row)].sort((left, right) => left - right);
      list.slice(Math.max(0, ends[0]), ends[1] + 1).forEach(one => this.selected.add(one));
    } else if (event.ctrlKey || event.metaKey) this.selected[this.selected.has(row) ? 'delete' : 'add'](row);
    else {
      const only = this.selected.size === 1 && this.selected.has(row);
      this.selected.clear();
      if (!only) this.selected.add(row);
    }
    this.last = row;
    this.picked = null;
    this.count.textContent = this.selected.size ? rowsInWords(this.selected.size) + ' selected' : '';
    if (key >= 0) this.onSelect(this.now.key, [...this.selected], this.now.head);
    this.draw(true);
  }
  /** Marks the rows that name one of these in the list shown, and scrolls to the first. */
  mark(names) {
    this.picked = new Set(names);
    this.selected.clear();
    const key = this.now.head.indexOf(this.now.key);
    const first = key < 0 ? -1 : this.lines.findIndex(line => line.row && this.picked.has(line.row[key]));
    if (first >= 0) this.scroll.scrollTop = first * LINE - this.scroll.clientHeight / 3;
    this.draw(true);
  }
}
