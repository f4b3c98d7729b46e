// Rows of lists: which are shown, in what order, in which groups and how wide. Without a browser.

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

/** Words that people say for what a list says otherwise. */
const SAID = [
  [/\bnot reached\b/g, 'unmet'],
  [/\bin part\b/g, 'partial'],
];

/** The rows that hold every word of a filter, in whatever cell and in small or capital letters. */
export function rowsWith(rows, filter) {
  const plain = SAID.reduce((text, [said, meant]) => text.replace(said, meant), filter.toLowerCase());
  const words = plain.trim().split(/\s+/).filter(Boolean);
  return rows.filter(row => {
    const text = row.join(' ').toLowerCase();
    return words.every(word => text.includes(word));
  });
}

/** The order of two cells: numbers by their value, all else as words, with the numbers in them by value too. */
export function compareCells(left, right) {
  const isNumber = cell => cell !== '' && !isNaN(cell);
  if (isNumber(left) && isNumber(right)) return left - right;
  return left.localeCompare(right, 'en', { numeric: true });
}

/** What a cell says that a group is named by: its first clause; of what closes a net's targets, what closes most. */
export function groupOf(cell) {
  const clause = cell.replace(/^all of its targets are blocked: /, '').split(/[;(:]/)[0];
  return clause.trim() || 'none';
}

/**
 * The lines of a list in groups: {group, count, open} before the rows of each, the largest group first. closed: the
 * groups whose rows are not shown.
 */
export function inGroups(rows, column, closed) {
  const groups = new Map();
  for (const row of rows) {
    const name = groupOf(row[column]);
    if (!groups.has(name)) groups.set(name, []);
    groups.get(name).push(row);
  }
  const order = [...groups].sort((left, right) => right[1].length - left[1].length || compareCells(left[0], right[0]));
  const lines = [];
  for (const [name, list] of order) {
    lines.push({ group: name, count: list.length, open: !closed.has(name) });
    if (!closed.has(name)) lines.push(...list.map(row => ({ row })));
  }
  return lines;
}

/** How wide a column is, in letters: nine of ten cells fit, and the title. */
export function widthOf(rows, column, title) {
  const most = 44;
  const lengths = rows.map(row => row[column].length).sort((left, right) => left - right);
  const usual = lengths.length ? lengths[Math.min(lengths.length - 1, Math.floor(lengths.length * 0.9))] : 0;
  return Math.min(most, Math.max(title.length + 2, usual + 1, 4));
}

/** Whether a column holds numbers only. */
export const isNumeric = (rows, column) =>
  rows.length > 0 && rows.every(row => row[column] === '' || !isNaN(row[column]));

/** Which of many lines of one height lie in sight, with some to spare on either side: from, to. */
export function linesInSight(count, top, height, line) {
  const spare = 8;
  const from = Math.max(0, Math.min(count, Math.floor(top / line) - spare));
  return [from, Math.min(count, Math.ceil((top + height) / line) + spare)];
}
