// The parts of the page's scripts that need no browser. Each title ends with the source of what is expected.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { gzipSync } from 'node:zlib';
import { bars, charts } from '../../src/report/page/charts.js';
import { boxOf, loadData, patchData, readCsv, unfold, writeCsv } from '../../src/report/page/data.js';
import * as edits from '../../src/report/page/edits.js';
import { Grid } from '../../src/report/page/grid.js';
import { changedEdits, corneredEdits, isInside, movedEdits, polygonOf } from '../../src/report/page/keep_outs.js';
import { readAddress, writeAddress } from '../../src/report/page/address.js';
import { betweenEdges, toStretch } from '../../src/report/page/measure.js';
import { columnsWorthwhile } from '../../src/report/page/paper.js';
import { roundLength } from '../../src/report/page/reading.js';
import { earsOf, liftsOf } from '../../src/report/page/solids.js';
import { blockedRows, compareCells, inGroups, linesInSight, rowsWith, widthOf } from '../../src/report/page/rows.js';

/** The same numbers in every run: a linear congruential generator. */
function dice(seed) {
  let state = seed;
  return ([least, most]) => {
    state = (state * 1103515245 + 12345) % 2147483648;
    return least + (state / 2147483648) * (most - least);
  };
}

/** A board of two nets, one part, three pads, two classes and a probe, as page_data.h lays it out. */
function packed() {
  const square = [-500, -500, 1000, 0, 0, 1000, -1000, 0];
  return {
    schema: 2,
    strings: ['ground', 'functional', 'met', 'unmet', 'no pad is open', 'test pad', 'smd pad', '1', 'confirmed', '10k'],
    board: { side_down: true },
    box: [0, 0, 20000, 10000],
    outline: [[0, 0, 20000, 0, 0, 10000, -20000, 0]],
    nets: [
      ['GND', 0, 1, 1, 1, 2, 2],
      ['CLK', 1, 0, 2, 0, 3, 4],
    ],
    parts: [['R1', 1, 550, 8, 1, 9, [[3000, 2000, 2000, 0, 0, 1000, -2000, 0]]]],
    shapes: [[square]],
    targets: [
      ['TP1', 0, 1, 1000, 1000, 5, -1, 2, 0, 2, 1e-9, []],
      ['', 1, 1, 2000, 1000, 6, 0, 7, 0, 0, 1, [0, 5, 400, 600, 6, 8, 1, 4, 2, 1, 7, 9]],
      ['R1-2', 1, 0, 2000, 0, 6, 0, 7, 0, 1, 1e-3, []],
    ],
    classes: [
      ['100 mil', 2540],
      ['50 mil', 1270],
    ],
    probes: [['P1', 0, 1010, 990, 1, 5, 1.5, 7, 700, 'GND', 1e-9]],
    keep_outs: [['hinge', 'both', [[0, 0, 100, 0, 0, 100]]]],
    copper: [
      {
        number: 2,
        outer: 'bottom',
        lines: [0, 0, 100, 0, 75, 5, 5, 10, 0, 75, 9, 9, 10, 0, 75],
        line_nets: [-1, 1, 0, 2],
        areas: [[[10, 20, 30, 0, 0, 40]]],
        area_nets: [1, 1],
      },
    ],
    plates: [{ side: 1, holes: [], pockets: [[[0, 0, 5, 5]]], outline: [[0, 0, 9, 0, 0, 9]] }],
    strain: {
      nodes: [0, 0, 1000, 0, -500, 800, 1500, 100],
      triangles: [0, 1, 2, 1, 2, 1],
      deflection: [10, -3, 4, 0],
      microstrain: [100, 20, -50, 5],
      limit: 500,
      free_shape: 'flat',
    },
    lists: {},
  };
}
const loaded = (data = packed()) => loadData(JSON.stringify(data));

test('CSV: quotes, doubled quotes, commas and line breaks inside cells (RFC 4180, section 2, rules 5 to 7)', () => {
  assert.deepEqual(readCsv('a,"b,c","d""e"\r\n1,"two\nlines",\r\n'), [
    ['a', 'b,c', 'd"e'],
    ['1', 'two\nlines', ''],
  ]);
});

test('CSV: the last line may lack its line break (RFC 4180, section 2, rule 2)', () => {
  assert.deepEqual(readCsv('a,b\n1,2'), readCsv('a,b\n1,2\n'));
  assert.deepEqual(readCsv(''), []);
});

test('CSV: what is written reads back as it was, 300 random tables (round trip, seed 7)', () => {
  const roll = dice(7);
  const letters = ['a', '"', ',', '\n', ' ', '1', '\u00b5'];
  for (let i = 0; i < 300; i++) {
    const columns = Math.floor(roll([2, 5]));
    const cell = () =>
      Array.from({ length: Math.floor(roll([0, 6])) }, () => letters[Math.floor(roll([0, letters.length]))]).join('');
    const rows = Array.from({ length: Math.floor(roll([1, 5])) }, () => Array.from({ length: columns }, cell));
    assert.deepEqual(readCsv(writeCsv(rows)), rows);
  }
});

test('CSV: only cells that need quotes get them (RFC 4180, section 2, rule 6)', () => {
  assert.equal(writeCsv([['plain text', 'a,b', 'c"d', 'e\nf']]), 'plain text,"a,b","c""d","e\nf"\n');
});

test('a ring of steps becomes a ring of places (by hand)', () => {
  assert.deepEqual(unfold([[10, 20, 5, 0, 0, 5, -5, 0]]), [[10, 20, 15, 20, 15, 25, 10, 25]]);
});

test('the box of rings holds all their corners, and that of none is empty (by hand)', () => {
  assert.deepEqual(
    boxOf([
      [1, 9, 4, 2],
      [-3, 5],
    ]),
    [-3, 2, 4, 9],
  );
  const none = boxOf([]);
  assert.ok(none[0] > none[2] && none[1] > none[3]);
});

test('data: places, boxes and words come out of the packed form (page_data.h)', async () => {
  const data = await loaded();
  assert.equal(data.nets[0].role, 'ground');
  assert.equal(data.nets[0].mandatory, true);
  assert.equal(data.nets[1].reason, 'no pad is open');
  assert.equal(data.targets[1].name, 'R1-1');
  assert.deepEqual([data.targets[2].x, data.targets[2].y], [5000, 2000]);
  assert.deepEqual(data.targets[1].box, [2500, 1500, 3500, 2500]);
  assert.equal(data.targets[1].side, 'bottom');
  assert.equal(data.targets[1].state, 'blocked');
  assert.equal(data.parts[0].height, 0.55);
  assert.deepEqual(data.parts[0].box, [3000, 2000, 5000, 3000]);
  assert.deepEqual(data.copper[0].areas[0].box, [10, 20, 40, 60]);
  assert.deepEqual(data.copper[0].lines.slice(5, 7), [5, 5]);
  assert.deepEqual(data.copper[0].lines.slice(10, 12), [14, 14]);
  assert.deepEqual(data.strain.nodes, [0, 0, 1000, 0, 500, 800, 2000, 900]);
  assert.deepEqual(data.strain.triangles, [0, 1, 2, 1, 3, 2]);
  assert.deepEqual(data.strain.deflection, [10, 7, 11, 11]);
  assert.deepEqual(data.copper[0].linesOf.get(0), [1, 3]);
  assert.deepEqual(data.copper[0].areasOf.get(1), [0, 1]);
  assert.deepEqual(data.keep_outs[0][2], [[0, 0, 100, 0, 100, 100]]);
  assert.equal(data.plates[0].side, 'bottom');
  assert.deepEqual(data.plates[0].outline, [[0, 0, 9, 0, 9, 9]]);
});

test('data: nets, parts, pads and probes know one another (both directions agree)', async () => {
  const data = await loaded();
  for (const target of data.targets) {
    assert.ok(data.nets[target.net].targets.includes(target.id));
    if (target.part >= 0) assert.ok(data.parts[target.part].targets.includes(target.id));
  }
  assert.deepEqual(data.parts[0].targets, [1, 2]);
  assert.deepEqual(data.targets[0].probes, [0]);
  assert.deepEqual(data.nets[0].probes, [0]);
  assert.equal(data.probes[0].side, data.targets[0].side);
});

test('data: packed by gzip and base64 it is the same as plain (round trip with zlib)', async () => {
  const text = JSON.stringify(packed());
  assert.deepEqual(await loadData(gzipSync(text).toString('base64')), await loadData(text));
});

test('data: a reason is six numbers, two of them amounts and three of them words (page_data.h)', async () => {
  const data = await loaded();
  assert.deepEqual(data.targets[1].reasons[0], {
    cls: 0,
    reason: 'test pad',
    measured: 400,
    required: 600,
    unit: 'smd pad',
    obstacle: 'confirmed',
  });
  assert.equal(data.targets[1].reasons.length, 2);
});

test('a patch moves the probe, and the pad that it leaves is open again (by hand)', async () => {
  const data = await loaded();
  patchData(data, {
    strings: ['pointed', '0.99'],
    probes: [['P1', 2, 5000, 2000, 0, 0, 1.5, 1, 700, 'CLK', 1e-3]],
    targets: [],
    nets: [
      [0, 1, 0],
      [1, 2, 1],
    ],
    keep_outs: [['new', 'top', [[5, 5, 1, 0, 0, 1]]]],
  });
  assert.deepEqual(
    data.targets.map(target => target.state),
    ['open', 'blocked', 'probed'],
  );
  assert.deepEqual(data.nets[0].probes, []);
  assert.deepEqual(data.nets[1].probes, [0]);
  assert.equal(data.probes[0].tip, 'pointed');
  assert.deepEqual(data.keep_outs[0][2], [[5, 5, 6, 5, 6, 6]]);
});

test('a patch says of each net whether it is met, partial or unmet (by hand)', async () => {
  for (const [wanted, got, status] of [
    [1, 0, 'unmet'],
    [2, 1, 'partial'],
    [3, 3, 'met'],
    [0, 0, 'met'],
  ]) {
    const data = await loaded();
    patchData(data, { strings: [], probes: [], targets: [], nets: [[1, wanted, got]], keep_outs: [] });
    assert.equal(data.nets[1].status, status);
  }
});

test('a patch leaves the reason of a net whose numbers are as before (by hand)', async () => {
  const data = await loaded();
  patchData(data, { strings: [], probes: [], targets: [], nets: [[1, 2, 0]], keep_outs: [] });
  assert.equal(data.nets[1].reason, 'no pad is open');
});

test('a patch judges a pad anew: its state, its chance of a miss and its reasons (by hand)', async () => {
  const data = await loaded();
  const reasons = [1, 0, 100, 200, 1, 2];
  patchData(data, {
    strings: ['too close', 'um', 'keep-out'],
    probes: [],
    targets: [[2, 0, 1, reasons]],
    nets: [],
    keep_outs: [],
  });
  assert.equal(data.targets[2].state, 'blocked');
  assert.equal(data.targets[2].reasons[0].reason, 'too close');
  assert.equal(data.targets[2].reasons[0].obstacle, 'keep-out');
});

test('the grid finds each box that touches a window once, 200 windows (brute force, seed 11)', () => {
  const roll = dice(11);
  const boxes = Array.from({ length: 3000 }, (_none, i) => {
    // Some are as large as the board, so that they are kept apart from the cells.
    if (i % 1000 === 999) return [-50000, -20000, 50000, 20000];
    const x = roll([-50000, 48000]);
    const y = roll([-20000, 19000]);
    return [x, y, x + roll([0, 2000]), y + roll([0, 1000])];
  });
  boxes[17] = [1, 1, 0, 0];
  const grid = new Grid(boxes);
  assert.ok(grid.large.length > 0);
  for (let i = 0; i < 200; i++) {
    const x = roll([-70000, 70000]);
    const y = roll([-30000, 30000]);
    const window = [x, y, x + roll([0, 30000]), y + roll([0, 9000])];
    const found = [];
    grid.find(window, id => {
      found.push(id);
    });
    const expected = boxes.flatMap((box, id) => {
      const apart = box[0] > window[2] || box[2] < window[0] || box[1] > window[3] || box[3] < window[1];
      return apart || box[0] > box[2] ? [] : [id];
    });
    assert.deepEqual(
      found.sort((left, right) => left - right),
      expected,
    );
  }
});

test('the grid stops when it is told so, and an empty grid finds nothing (by hand)', () => {
  const grid = new Grid(Array.from({ length: 9 }, (_none, i) => [i * 10, 0, i * 10 + 5, 5]));
  let visits = 0;
  grid.find([0, 0, 100, 100], () => ++visits < 3);
  assert.equal(visits, 3);
  new Grid([]).find([0, 0, 1, 1], () => assert.fail('nothing is there'));
});

test('a box that touches a window in one point is found (the edge belongs to a box)', () => {
  const found = [];
  new Grid([[0, 0, 10, 10]]).find([10, 10, 20, 20], id => {
    found.push(id);
  });
  assert.deepEqual(found, [0]);
});

test('the list of blocked pads has the last reason, lengths in mm and bare numbers as they are (by hand)', async () => {
  const data = await loaded();
  const [head, row, ...more] = blockedRows(data);
  assert.equal(more.length, 0);
  const cells = Object.fromEntries(head.map((title, i) => [title, row[i]]));
  assert.equal(cells.target, 'R1-1');
  assert.equal(cells.net, 'CLK');
  assert.equal(cells.x_mm, '3.000');
  assert.equal(cells.class, '50 mil');
  // Its unit is "1".
  assert.deepEqual([cells.measured, cells.required], ['2', '1']);
  data.targets[1].reasons.pop();
  assert.deepEqual(blockedRows(data)[1].slice(7, 9), ['0.400', '0.600']);
});

test('a filter takes rows that hold all its words, in any cell and in any case (by hand)', () => {
  const rows = [
    ['P1', 'GND', 'top'],
    ['P2', 'gnd_sense', 'bottom'],
    ['P3', 'CLK', 'top'],
  ];
  assert.deepEqual(
    rowsWith(rows, ' top  Gnd ').map(row => row[0]),
    ['P1'],
  );
  assert.equal(rowsWith(rows, 'GND').length, 2);
  assert.equal(rowsWith(rows, '').length, 3);
});

test('cells sort as numbers where both are numbers, and P2 comes before P10 (by hand)', () => {
  assert.deepEqual(['10', '9', '-1.5', '1e3'].sort(compareCells), ['-1.5', '9', '10', '1e3']);
  assert.deepEqual(['P10', 'P2', 'P1'].sort(compareCells), ['P1', 'P2', 'P10']);
  // An empty cell is no number, although it could be read as zero.
  assert.deepEqual(['-1', '', '1'].sort(compareCells)[0], '');
});

test('a lock is appended, and the oldest of a net makes room when there are as many as probes (by hand)', () => {
  const target = { name: 'TP9', side: 'top' };
  const job = { lock: [{ net: 'CLK' }, { net: 'GND', target: 'TP1' }, { net: 'GND', target: 'TP2' }] };
  assert.deepEqual(edits.lockEdits(job, { name: 'GND', wanted: 2 }, target, '50 mil'), [
    { do: 'remove', path: 'lock[1]' },
    { do: 'append', path: 'lock', value: { net: 'GND', target: 'TP9', side: 'top', class: '50 mil' } },
  ]);
  assert.deepEqual(edits.lockEdits(job, { name: 'GND', wanted: 3 }, target), [
    { do: 'append', path: 'lock', value: { net: 'GND', target: 'TP9', side: 'top' } },
  ]);
  // A net that wants none still gets the one that was asked for.
  assert.equal(edits.lockEdits({}, { name: 'X', wanted: 0 }, target).length, 1);
});

test('entries name a pad on its own side or on any side (by hand)', () => {
  const list = [
    { target: 'TP1', side: 'top' },
    { target: 'TP1', side: 'bottom' },
    { target: 'TP1' },
    { target: 'TP2' },
  ];
  assert.deepEqual(edits.placesOf(list, { name: 'TP1', side: 'bottom' }), [1, 2]);
  assert.deepEqual(edits.placesOf(undefined, { name: 'TP1', side: 'top' }), []);
});

test('a ban removes the locks of its pad from the last to the first (places shift after a removal)', () => {
  const job = { lock: [{ target: 'TP1' }, { target: 'TP2' }, { target: 'TP1' }] };
  assert.deepEqual(
    edits.banEdits(job, { name: 'TP1', side: 'top' }).map(edit => edit.path),
    ['lock[2]', 'lock[0]', 'ban'],
  );
});

test('a need goes before all others, or changes what differs in the entry of its own (by hand)', () => {
  const need = { nets: 'GND', role: 'ground', wanted: 3, mandatory: false };
  assert.deepEqual(edits.needEdits({ need: [{ nets: '*' }] }, need), [{ do: 'insert', path: 'need[0]', value: need }]);
  const job = { need: [{ nets: '*' }, { nets: 'GND', role: 'ground', wanted: 2, mandatory: false }] };
  assert.deepEqual(edits.needEdits(job, need), [{ do: 'set', path: 'need[1].wanted', value: 3 }]);
});

test('a part goes on a list of the job and off it; its height is set and left to the files again (by hand)', () => {
  const job = { components: { not_fitted: ['J*'] } };
  const keys = ['components', 'not_fitted'];
  assert.deepEqual(edits.listEdits(job, keys, 'U3', true), [
    { do: 'set', path: 'components.not_fitted', value: ['J*', 'U3'] },
  ]);
  assert.deepEqual(edits.listEdits(job, keys, 'J*', false), [{ do: 'set', path: 'components.not_fitted', value: [] }]);
  assert.deepEqual(edits.heightEdits('P1:U3', 2.1), [
    { do: 'set', path: 'components.height."P1:U3"', value: '2.1 mm' },
  ]);
  assert.deepEqual(edits.heightEdits('U3'), [{ do: 'remove', path: 'components.height.U3' }]);
});
test('an interface that must be usable gets an entry, or changes its own (by hand)', () => {
  assert.deepEqual(edits.interfaceEdits({}, 'SWD', true), [
    { do: 'append', path: 'interface', value: { name: 'SWD', mandatory: true } },
  ]);
  assert.deepEqual(
    edits.interfaceEdits({ interface: [{ name: 'USB' }, { name: 'SWD', mandatory: true }] }, 'SWD', false),
    [{ do: 'set', path: 'interface[1].mandatory', value: false }],
  );
});
test('keys of a path are quoted where a bare key may not stand (TOML 1.0, Keys)', () => {
  assert.equal(edits.pathOf(['cost', 'kind', 'test_pad']), 'cost.kind.test_pad');
  assert.equal(edits.pathOf(['class', '39 mil', 'a"b']), 'class."39 mil"."a\\"b"');
});

test('the rules of a table: single values with their paths, without lists and descriptions (by hand)', () => {
  const table = { name: 'standard', cost: { kind: { via: 3 }, mark: 'B' }, least: 0.5, list: [1], on: true };
  assert.deepEqual(edits.leaves(table), [
    [['cost', 'kind', 'via'], 3],
    [['least'], 0.5],
    [['on'], true],
  ]);
  assert.equal(edits.valueAt(table, ['cost', 'kind', 'via']), 3);
  assert.equal(edits.valueAt(table, ['least', 'kind', 'via']), undefined);
  assert.equal(edits.valueAt(undefined, ['cost']), undefined);
});

test('what is typed for a rule becomes a value of the kind of the rule (by hand)', () => {
  assert.equal(edits.ruleValue('0.25', 1), 0.25);
  assert.equal(edits.ruleValue('0.25 mm', 1), '0.25 mm');
  assert.equal(edits.ruleValue('true', false), true);
  assert.equal(edits.ruleValue('7', '5 mil'), '7');
});

test('entries of the job in words (by hand)', () => {
  const words = edits.ENTRY_WORDS;
  assert.equal(words.lock({ net: 'GND', target: 'TP1', side: 'top' }), 'GND is probed on TP1, top');
  assert.equal(words.ban({ net: 'A', target: 'TP2', reason: 'glued' }), 'no probe on A / TP2: glued');
  assert.equal(words.keep_out({ kind: 'camera' }), 'keep-out camera, both');
  assert.equal(words.need({ nets: 'V*', role: 'do_not_touch' }), 'V*: do not touch');
  assert.equal(words.need({ nets: 'A', wanted: 1, mandatory: true }), 'A: 1 probe, mandatory');
  assert.equal(words.need({ nets: 'A', wanted: 0 }), 'A: 0 probes');
});

test('corners that somebody typed: with commas or blanks, and what is no corner is left out (by hand)', () => {
  assert.deepEqual(polygonOf('1 2; 5,2 ;5 7.25'), [
    ['1.000 mm', '2.000 mm'],
    ['5.000 mm', '2.000 mm'],
    ['5.000 mm', '7.250 mm'],
  ]);
  assert.deepEqual(polygonOf('1; 2 x; 3 4 5;'), []);
});

test('a rectangle that is changed becomes a polygon, and keys that were emptied go (by hand)', () => {
  const entry = { name: 'a', kind: 'camera', from: ['0 mm', '0 mm'], to: ['1 mm', '1 mm'], to_height: '3 mm' };
  const value = { name: 'a', kind: 'keep-out', polygon: [] };
  assert.deepEqual(changedEdits(entry, value, 'keep_out[4]'), [
    { do: 'remove', path: 'keep_out[4].from' },
    { do: 'remove', path: 'keep_out[4].to' },
    { do: 'set', path: 'keep_out[4].kind', value: 'keep-out' },
    { do: 'set', path: 'keep_out[4].polygon', value: [] },
    { do: 'remove', path: 'keep_out[4].to_height' },
  ]);
});

test('a keep-out that is moved stays a rectangle or a polygon (by hand)', () => {
  const corners = [
    [1000, 2000],
    [3000, 2000],
    [3000, 5000],
    [1000, 5000],
  ];
  assert.deepEqual(movedEdits({ from: 1, to: 1 }, corners, [500, -1000], 'keep_out[0]'), [
    { do: 'set', path: 'keep_out[0].from', value: ['1.500 mm', '1.000 mm'] },
    { do: 'set', path: 'keep_out[0].to', value: ['3.500 mm', '4.000 mm'] },
  ]);
  const [edit] = movedEdits({ polygon: [] }, corners.slice(0, 3), [0, 100], 'keep_out[1]');
  assert.equal(edit.path, 'keep_out[1].polygon');
  assert.deepEqual(edit.value[2], ['3.000 mm', '5.100 mm']);
});

test('bars are as long as their values, the longest 180 of 520 wide, and text is escaped (by hand)', () => {
  const svg = bars('a < b', [
    ['x', [[10, 'b1', '10']]],
    ['y', [[5, 'b1', '5 & more']]],
  ]);
  assert.deepEqual(
    [...svg.matchAll(/ width="([\d.]+)" height/g)].map(match => Number(match[1])),
    [180, 90],
  );
  assert.match(svg, /a &lt; b/);
  assert.match(svg, /5 &amp; more/);
});

test('a value of nothing gets no bar, and a small one is still to be seen (by hand)', () => {
  const svg = bars(
    't',
    [
      [
        'x',
        [
          [0, 'b1', 'none'],
          [1000, 'b2', 'many'],
          [0.001, 'b3', 'few'],
        ],
      ],
    ],
    'N',
  );
  assert.doesNotMatch(svg, /none/);
  assert.match(svg, /width="1" height/);
  assert.match(svg, />many, few N</);
});

test('the charts count probes by chance, add forces, and sort nets by how far they are met (by hand)', () => {
  const probe = (miss, cls, side) => ({ miss, cls, side, force: 1.5 });
  const net = (wanted, got) => ({ role: 'power', wanted, got });
  const svg = charts({
    probes: [probe(1e-15, 0, 'top'), probe(2e-3, 0, 'top'), probe(5e-3, 0, 'bottom')],
    classes: [{ name: '100 mil' }, { name: 'unused' }],
    nets: [net(2, 2), net(2, 1), net(1, 0), net(0, 0)],
  });
  assert.match(svg, /below 1e-11<[\s\S]*>1 probe<[\s\S]*1e-3 to 1e-2<[\s\S]*>2 probes</);
  assert.match(svg, />1\.5 bottom, 3\.0 top N</);
  assert.doesNotMatch(svg, /unused/);
  assert.match(svg, />1 fully, 1 partly, 1 not at all</);
});

test('rows in groups: the largest first, those of a closed one left out (by hand)', () => {
  const rows = [
    ['a', 'all of its targets are blocked: near (2)'],
    ['b', 'masked'],
    ['c', 'near: U2; and more'],
    ['d', ''],
  ];
  assert.deepEqual(inGroups(rows, 1, new Set(['masked'])), [
    { group: 'near', count: 2, open: true },
    { row: rows[0] },
    { row: rows[2] },
    { group: 'masked', count: 1, open: false },
    { group: 'none', count: 1, open: true },
    { row: rows[3] },
  ]);
});

test('lines in sight cover the window, and are few of many (by hand: 100 px, lines of 25, 8 to spare)', () => {
  assert.deepEqual(linesInSight(10000, 0, 100, 25), [0, 12]);
  assert.deepEqual(linesInSight(10000, 2500, 100, 25), [92, 112]);
  assert.deepEqual(linesInSight(3, 0, 100, 25), [0, 3]);
});

test('a column is as wide as nine of ten of its cells, and never wider than 44 letters (by hand)', () => {
  const rows = Array.from({ length: 10 }, (_none, i) => ['x'.repeat(i === 9 ? 300 : 6)]);
  assert.equal(widthOf([...rows, ...rows.slice(0, 9)], 0, 'net'), 7);
  assert.equal(widthOf([['x'.repeat(300)]], 0, 'net'), 44);
  assert.equal(widthOf([], 0, 'a title'), 9);
});

test('what an address says reads back as it was, names with signs in them too (round trip, seed 11)', () => {
  const roll = dice(11);
  const letters = ['a', '&', '=', '#', '%', ' ', '/', '+', '@', '\u00b5'];
  for (let i = 0; i < 300; i++) {
    const word = () =>
      Array.from({ length: 1 + Math.floor(roll([0, 6])) }, () => letters[Math.floor(roll([0, letters.length]))]).join(
        '',
      );
    const entries = [
      ['net', word()],
      ['rows', word()],
    ];
    assert.deepEqual([...readAddress(writeAddress(entries))], entries);
  }
  assert.equal(
    writeAddress([
      ['net', ''],
      ['turn', undefined],
    ]),
    '',
  );
  assert.equal(readAddress('#cost').size, 0);
});

test('distances: to a stretch, and between the edges of two squares (Pythagoras)', () => {
  assert.equal(toStretch(3, 4, 0, 0, 0, 0), 5);
  assert.equal(toStretch(5, 3, 0, 0, 10, 0), 3);
  const square = (x, y) => [[x, y, x + 100, y, x + 100, y + 100, x, y + 100]];
  assert.equal(betweenEdges(square(0, 0), square(400, 0)), 300);
  assert.equal(betweenEdges(square(0, 0), square(400, 500)), 500);
  assert.equal(betweenEdges(square(0, 0), square(50, 50)), 0);
});

test('a scale is 1, 2 or 5 times a power of ten, and the longest that has room (by hand)', () => {
  assert.equal(roundLength(140, 0.01), 10000);
  assert.equal(roundLength(140, 0.025), 5000);
  assert.equal(roundLength(140, 0.06), 2000);
});

test('paper: a column that says the same in every row is left out (by hand)', () => {
  assert.deepEqual(
    columnsWorthwhile(
      ['a', 'plan'],
      [
        ['1', 'x'],
        ['2', 'x'],
      ],
    ),
    [0],
  );
  assert.deepEqual(columnsWorthwhile(['a', 'plan'], [['1', 'x']]), [0, 1]);
});

test('a corner of a keep-out moves alone; of a rectangle the corner across from it stays (by hand)', () => {
  const corners = [
    [1000, 1000],
    [5000, 1000],
    [5000, 4000],
    [1000, 4000],
  ];
  assert.deepEqual(corneredEdits({}, corners, 2, [7000, 6000], 'keep_out[0]'), [
    { do: 'set', path: 'keep_out[0].from', value: ['1.000 mm', '1.000 mm'] },
    { do: 'set', path: 'keep_out[0].to', value: ['7.000 mm', '6.000 mm'] },
  ]);
  const [edit] = corneredEdits({ polygon: [] }, corners, 1, [5500, 500], 'keep_out[0]');
  assert.deepEqual(edit.value[1], ['5.500 mm', '0.500 mm']);
  assert.deepEqual(edit.value[0], ['1.000 mm', '1.000 mm']);
  assert.ok(isInside(corners, 3000, 2000) && !isInside(corners, 6000, 2000));
});

test('what a change costs: nets and another bed, not what became better (by hand)', () => {
  const rows = [
    { what: 'nets served in full', before: '9 of 10', now: '7 of 10', sense: -1 },
    { what: 'nets without any probe', before: '3', now: '1', sense: 1 },
    { what: 'bed', before: 'bottom only', now: 'both sides', sense: 0 },
    { what: 'probes', before: '9', now: '7', sense: 0 },
  ];
  assert.deepEqual(edits.costsOf(rows), [
    'nets served in full: 9 of 10 \u2192 7 of 10',
    'bed: bottom only \u2192 both sides',
  ]);
});

test('rings in triangles: their areas add up to that of the ring, turned either way (shoelace formula)', () => {
  const areaOf = (ring, list) => {
    let sum = 0;
    for (let i = 0; i < list.length; i += 3) {
      const [one, two, three] = list.slice(i, i + 3).map(k => [ring[2 * k], ring[2 * k + 1]]);
      sum += ((two[0] - one[0]) * (three[1] - one[1]) - (two[1] - one[1]) * (three[0] - one[0])) / 2;
    }
    return sum;
  };
  // An L of 4 by 4 without a square of 2 by 2: 12.
  const ring = [0, 0, 4, 0, 4, 2, 2, 2, 2, 4, 0, 4];
  const turned = [];
  for (let i = ring.length - 2; i >= 0; i -= 2) turned.push(ring[i], ring[i + 1]);
  assert.equal(areaOf(ring, earsOf(ring)), 12);
  assert.equal(areaOf(turned, earsOf(turned)), 12);
});

test('closing: at work nothing is lifted; at rest plates stand apart by what their distances differ (by hand)', () => {
  const groups = [
    { name: 'board', lower: null, away: [0, 0, 0] },
    { name: 'lower probe plate', lower: true, away: [16, 12, 10] },
    { name: 'moving plate', lower: true, away: [2, 2, 2] },
    { name: 'upper probe plate', lower: false, away: [40, 14, 10] },
  ];
  assert.deepEqual(
    liftsOf(groups, 2, 0).map(lift => lift + 0),
    [0, 0, 0, 0],
  );
  // The lower probe plate stands still: the board and what it lies on are 6 higher, the upper plate 36.
  assert.deepEqual(liftsOf(groups, 0, 0), [6, 0, 6, 36]);
});
