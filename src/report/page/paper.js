// What is printed: a set of pages for each reader, with the lists that this reader works from.
import { make } from './elements.js';

// Reader, words, and lists. Parts of the page are marked with their readers in page.cpp.
const READERS = [
  ['manager', 'Manager: one page', []],
  ['layout', 'Layout engineer', ['advice.csv', 'test-points.csv', 'coverage.csv']],
  ['shop', 'Shop', ['probes.csv', 'supports.csv', 'materials.csv']],
  ['test', 'Test engineer', ['interfaces.csv', 'supplies.csv', 'wiring.csv']],
  ['all', 'Everything but the lists', []],
];

/** A list as a plain table, every row of it. Columns that are the same in all rows are left out. */
export function columnsWorthwhile(head, rows) {
  return head.map((_title, i) => i).filter(i => rows.length < 2 || rows.some(row => row[i] !== rows[0][i]));
}

function tableOf({ title, head, rows }) {
  const columns = columnsWorthwhile(head, rows);
  const table = make('table');
  const caption = make('caption', title);
  const top = make('tr');
  for (const i of columns) top.append(make('th', head[i].replaceAll('_', ' '), { scope: 'col' }));
  const body = make('tbody');
  for (const row of rows) {
    const tr = make('tr');
    for (const i of columns) tr.append(make('td', row[i]));
    body.append(tr);
  }
  const first = make('thead');
  first.append(top);
  table.append(caption, first, body);
  return table;
}

/** Prints what one reader needs, and leaves the page as it was. */
function printFor(page, reader, files) {
  const paper = make('div', null, { id: 'paper' });
  for (const file of files) if (page.lists?.tables.has(file)) paper.append(tableOf(page.lists.read(file)));
  document.querySelector('main').append(paper);
  document.body.dataset.paper = reader;
  const done = () => {
    paper.remove();
    delete document.body.dataset.paper;
  };
  addEventListener('afterprint', done, { once: true });
  window.print();
}

/** Offers the sets of pages. */
export function paperMenu(page) {
  const menu = make('details', null, { id: 'print' });
  const box = make('div', null, { className: 'layers' });
  for (const [reader, words, files] of READERS) {
    const button = make('button', words);
    button.onclick = () => {
      menu.open = false;
      printFor(page, reader, files);
    };
    box.append(button);
  }
  menu.append(make('summary', 'Print'), box);
  return menu;
}
