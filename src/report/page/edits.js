// The controls that change what the job says about the thing that is picked, and about the fixture as a whole. Every
// change is a list of edits of the job file, each { do, path, value }.
import { make } from './elements.js';
import { readCsv } from './data.js';

const ROLES = ['programming', 'power', 'ground', 'functional', 'observe', 'do_not_touch'];
/** A key as a job file writes it: bare where that is allowed. */
const bareKey = key => (/^[\w-]+$/.test(key) ? key : JSON.stringify(key));
const labelled = (words, control) => {
  const label = make('label');
  label.append(words + ' ', control);
  return label;
};
/** A button. */
export const push = (words, handler, title) => {
  const button = make('button', words, { type: 'button', title: title || '' });
  button.onclick = handler;
  return button;
};
/** A labelled choice from a list. */
export function choice(words, list, now, handler) {
  const select = make('select');
  for (const value of list)
    select.append(
      Object.assign(make('option', value === '' ? 'none' : value), {
        value,
        defaultSelected: value === now,
        selected: value === now,
      }),
    );
  if (handler) select.onchange = () => handler(select.value);
  return labelled(words, select);
}
/** A labelled entry field. */
export function field(words, value, props) {
  const input = make('input', null, props);
  input.defaultValue = value ?? '';
  input.defaultChecked = Boolean(props?.checked);
  return labelled(words, input);
}
const controls = box =>
  [...box.querySelectorAll('label > input, label > select')].map(control => [
    control.parentNode.firstChild.textContent,
    control,
  ]);
const altered = control => {
  if (control.type === 'checkbox') return control.checked !== control.defaultChecked;
  if (control.options) return [...control.options].some(option => option.selected !== option.defaultSelected);
  return control.value !== control.defaultValue;
};
/** What somebody has changed in the controls of a box without sending it, and where the cursor is. */
export const filledIn = box =>
  controls(box)
    .filter(([, control]) => altered(control) || control === document.activeElement)
    .map(([words, control]) => ({
      words,
      value: control.value,
      checked: control.checked,
      at: control === document.activeElement,
    }));
/** Puts what filledIn found into the same controls after they were made anew. */
export function fillIn(box, list) {
  for (const entry of list) {
    const control = controls(box).find(([words]) => words === entry.words)?.[1];
    if (!control) continue;
    control.value = entry.value;
    control.checked = entry.checked;
    if (entry.at) control.focus();
  }
}

/** What a change costs that nobody would want unasked: nets, or another bed. rows: what the change did. */
export function costsOf(rows) {
  return (rows || [])
    .filter(row => row.before !== row.now && (row.what === 'bed' || (row.sense < 0 && /nets/.test(row.what))))
    .map(row => `${row.what}: ${row.before} \u2192 ${row.now}`);
}

/** The places in a list of the job whose entries name this pad on this side. */
export function placesOf(list, target) {
  const places = [];
  (list || []).forEach((entry, i) => {
    if (entry.target === target.name && (!entry.side || entry.side === target.side)) places.push(i);
  });
  return places;
}

/** The edits that have a net probed on this pad. cls: the class of probe to use, or nothing to leave that open. */
export function lockEdits(job, net, target, cls) {
  const edits = [];
  const ofNet = [];
  (job.lock || []).forEach((lock, i) => {
    if (lock.net === net.name) ofNet.push(i);
  });
  // A net cannot have more locks than probes, so the oldest lock makes room.
  if (ofNet.length >= Math.max(1, net.wanted)) edits.push({ do: 'remove', path: `lock[${ofNet[0]}]` });
  const value = { net: net.name, target: target.name, side: target.side };
  if (cls) value.class = cls;
  edits.push({ do: 'append', path: 'lock', value });
  return edits;
}

/**
 * The edits that keep every probe off this pad. Its locks go first, the last of them first, so that the others keep
 * their places.
 */
export function banEdits(job, target) {
  const removals = placesOf(job.lock, target).map(i => ({ do: 'remove', path: `lock[${i}]` }));
  return [...removals.reverse(), { do: 'append', path: 'ban', value: { target: target.name, side: target.side } }];
}

/** The edits that ask for this need: { nets, role, wanted, mandatory } of one net. */
export function needEdits(job, need) {
  const list = job.need || [];
  const own = list.findIndex(entry => entry.nets === need.nets);
  // The first entry that fits a net decides, so that an entry for this net alone stands before all others.
  if (own < 0) return [{ do: 'insert', path: 'need[0]', value: need }];
  return ['role', 'wanted', 'mandatory']
    .filter(key => list[own][key] !== need[key])
    .map(key => ({ do: 'set', path: `need[${own}].${key}`, value: need[key] }));
}

function padChanges(live, page, target, box, cls) {
  const job = live.job;
  const net = target.net >= 0 ? page.data.nets[target.net] : null;
  const locks = placesOf(job.lock, target);
  const bans = placesOf(job.ban, target);
  for (const i of locks)
    box.append(push('Unlock: let any pad serve this net', () => live.send([{ do: 'remove', path: `lock[${i}]` }])));
  for (const i of bans)
    box.append(push('Allow probes on this pad again', () => live.send([{ do: 'remove', path: `ban[${i}]` }])));
  if (net && !locks.length && !bans.length && target.state !== 'blocked')
    box.append(push(`Probe ${net.name} here`, () => live.send(lockEdits(job, net, target, cls))));
  if (!bans.length) box.append(push('Never probe this pad', () => live.send(banEdits(job, target))));
}

function netChanges(live, net, box) {
  const own = (live.job.need || []).findIndex(entry => entry.nets === net.name);
  const key = net.role.replaceAll(' ', '_');
  const role = choice('wanted as', ROLES, ROLES.includes(key) ? key : 'functional');
  const wanted = field('probes', net.wanted, { type: 'number', min: 0, max: 1000, step: 1 });
  const must = field('mandatory', '', { type: 'checkbox', checked: net.mandatory });
  const apply = () => {
    const need = {
      nets: net.name,
      role: role.control.value,
      wanted: Math.round(Number(wanted.control.value) || 0),
      mandatory: must.control.checked,
    };
    live.send(needEdits(live.job, need));
  };
  box.append(role, wanted, must, push('Ask for this', apply));
  if (own >= 0) box.append(push('Drop this request', () => live.send([{ do: 'remove', path: `need[${own}]` }])));
}

/** The edits that put a name on a list of the job, or take it off. */
export function listEdits(job, keys, name, on) {
  const now = valueAt(job, keys) || [];
  const then = on ? [...now, name] : now.filter(entry => entry !== name);
  return [{ do: 'set', path: pathOf(keys), value: then }];
}

/** The edits that give a part this height in millimetres, or with none leave it to the files again. */
export function heightEdits(name, height) {
  const path = pathOf(['components', 'height', name]);
  return [height === undefined ? { do: 'remove', path } : { do: 'set', path, value: `${height} mm` }];
}

function partChanges(live, part, box) {
  const ticked = (words, keys) => {
    const on = (valueAt(live.job, keys) || []).includes(part.name);
    const tick = field(words, '', { type: 'checkbox', checked: on });
    tick.control.onchange = () => live.send(listEdits(live.job, keys, part.name, tick.control.checked));
    return tick;
  };
  const stated = valueAt(live.job, ['components', 'height', part.name]);
  const height = field('height in mm', part.height.toFixed(2), {
    type: 'number',
    min: 0.01,
    max: 200,
    step: 'any',
    required: true,
  });
  const use = push('Use this height', () => {
    if (height.control.reportValidity()) live.send(heightEdits(part.name, Number(height.control.value)));
  });
  box.append(ticked('not fitted', ['components', 'not_fitted']), height, use);
  if (stated !== undefined) box.append(push('Leave the height to the files', () => live.send(heightEdits(part.name))));
  box.append(ticked('may bear a push finger', ['mechanics', 'press_on']));
}

export function changesFor(live, page, kind, id) {
  const box = make('div', null, { className: 'changes' });
  const data = page.data;
  if (kind === 'pad') padChanges(live, page, data.targets[id], box);
  else if (kind === 'probe')
    padChanges(live, page, data.targets[data.probes[id].target], box, data.classes[data.probes[id].cls].name);
  else if (kind === 'net') netChanges(live, data.nets[id], box);
  else if (kind === 'part') partChanges(live, data.parts[id], box);
  return box;
}

const isTable = value => Boolean(value) && typeof value === 'object' && !Array.isArray(value);

/**
 * All single values of a table and of the tables in it, as [path, value]. Lists and what only describes the table are
 * left out.
 */
export function leaves(table, before = []) {
  const list = [];
  for (const [key, value] of Object.entries(table || {})) {
    if (['mark', 'source', 'name'].includes(key) || Array.isArray(value)) continue;
    if (isTable(value)) list.push(...leaves(value, [...before, key]));
    else list.push([[...before, key], value]);
  }
  return list;
}
/** The value at a path through tables, or undefined. */
export const valueAt = (table, path) =>
  path.reduce((inner, key) => (inner && typeof inner === 'object' ? inner[key] : undefined), table);
export const pathOf = keys => keys.map(bareKey).join('.');

/** What somebody typed, as a value of the same kind as the rule's own where it can be read so. */
export function ruleValue(text, rule) {
  if (typeof rule === 'number' && !isNaN(Number(text))) return Number(text);
  if (typeof rule === 'boolean') return text === 'true';
  return text;
}

function ruleTable(live, filter) {
  const box = make('div', null, { className: 'scroll', tabIndex: 0, role: 'region' });
  const table = make('table');
  const body = make('tbody');
  box.setAttribute('aria-label', 'Rules');
  table.innerHTML =
    '<thead><tr><th scope=col>rule</th><th scope=col>in the rule set</th><th scope=col>in this job</th></tr></thead>';
  for (const [path, value] of leaves(live.shop.rules)) {
    const words = path.join(' ');
    const now = valueAt(live.job.rule_changes, path);
    if (filter && !words.toLowerCase().includes(filter)) continue;
    const tr = make('tr');
    const cell = make('td');
    const input = make('input', null, { value: now ?? '', placeholder: String(value) });
    input.setAttribute('aria-label', words);
    input.onchange = () => {
      const key = 'rule_changes.' + pathOf(path);
      if (input.value.trim() === '') {
        if (now !== undefined) live.send([{ do: 'remove', path: key }]);
        return;
      }
      live.send([{ do: 'set', path: key, value: ruleValue(input.value, value) }]);
    };
    cell.append(input);
    tr.append(make('td', words), make('td', String(value)), cell);
    if (now !== undefined) tr.className = 'on';
    body.append(tr);
  }
  table.append(body);
  box.append(table);
  return box;
}

const listed = words => words.filter(Boolean).join(', ');
const probesInWords = wanted => (wanted === 1 ? '1 probe' : `${wanted} probes`);

/** Entries of the job in words, by the list that they stand in. */
export const ENTRY_WORDS = {
  lock: lock => listed([`${lock.net} is probed on ${lock.target}`, lock.side, lock.class]),
  ban: ban => {
    const what = [ban.net, ban.target].filter(Boolean).join(' / ');
    return listed([`no probe on ${what}`, ban.side]) + (ban.reason ? ': ' + ban.reason : '');
  },
  keep_out: keepOut => `keep-out ${keepOut.name || keepOut.kind || ''}, ${keepOut.side || 'both'}`,
  need: need => {
    const wanted = need.wanted === undefined ? '' : probesInWords(need.wanted);
    return `${need.nets}: ` + listed([need.role?.replaceAll('_', ' '), wanted, need.mandatory ? 'mandatory' : '']);
  },
};

/** The edits that say whether an interface that was recognised must be usable. */
export function interfaceEdits(job, name, mandatory) {
  const own = (job.interface || []).findIndex(entry => entry.name === name);
  if (own < 0) return [{ do: 'append', path: 'interface', value: { name, mandatory } }];
  return [{ do: 'set', path: `interface[${own}].mandatory`, value: mandatory }];
}

/** A tick for each interface of the board. table: interfaces.csv, one row a line. */
function interfaceTicks(live, table) {
  const [head, ...rows] = readCsv(table || 'interface\n');
  const names = [...new Set(rows.map(row => row[head.indexOf('interface')]))].filter(Boolean);
  if (!names.length) return [];
  const group = make('fieldset');
  group.append(make('legend', 'interfaces that must be usable'));
  for (const name of names) {
    const checked = Boolean((live.job.interface || []).find(entry => entry.name === name)?.mandatory);
    const tick = field(name, '', { type: 'checkbox', checked });
    tick.control.onchange = () => live.send(interfaceEdits(live.job, name, tick.control.checked));
    group.append(tick);
  }
  return [group];
}

/** The panel for the job as a whole: fixture, probe classes, rules, and the entries that it has already. */
export function jobPanel(live, data, box) {
  const fixture = live.job.fixture || {};
  const set = key => value =>
    live.send([value === '' ? { do: 'remove', path: 'fixture.' + key } : { do: 'set', path: 'fixture.' + key, value }]);
  // A value of the job that the shop's files do not have is offered all the same.
  const withOwn = (list, now) => (now && !list.includes(now) ? [...list, now] : list);
  const top = make('div', null, { className: 'changes' });
  const style = fixture.style || 'moving-plate';
  top.append(
    choice('style', withOwn(live.shop.styles || [], style), style, set('style')),
    choice('kit', withOwn(['', ...(live.shop.kits || [])], fixture.kit), fixture.kit || '', set('kit')),
    choice('probes from', ['auto', 'bottom', 'top', 'both'], fixture.sides || 'auto', set('sides')),
    choice(
      'board lies',
      ['auto', 'bottom side down', 'top side down'],
      fixture.board_lies || 'auto',
      set('board_lies'),
    ),
  );
  const classes = live.shop.classes || [];
  const used = fixture.classes?.length ? fixture.classes : classes;
  const group = make('fieldset');
  group.append(make('legend', 'probe classes in use'));
  for (const cls of classes) {
    const tick = field(cls, '', { type: 'checkbox', checked: used.includes(cls) });
    tick.control.onchange = () => {
      const now = classes.filter(other => (other === cls ? tick.control.checked : used.includes(other)));
      if (!now.length) {
        tick.control.checked = true;
        return;
      }
      set('classes')(now);
    };
    group.append(tick);
  }
  top.append(group, ...interfaceTicks(live, data.lists['interfaces.csv']));
  const rules = make('details');
  const filter = field('Show only rules with', '', { type: 'search' });
  rules.append(make('summary', 'Rules'), filter);
  const show = () => {
    rules.querySelector('.scroll')?.remove();
    rules.append(ruleTable(live, filter.control.value.trim().toLowerCase()));
  };
  filter.control.oninput = show;
  rules.ontoggle = () => {
    live.rulesOpen = rules.open;
    if (rules.open) show();
  };
  rules.open = Boolean(live.rulesOpen);
  const held = make('details');
  const entries = [];
  for (const [key, words] of Object.entries(ENTRY_WORDS))
    (live.job[key] || []).forEach((entry, i) => {
      const item = make('li', words(entry) + ' ');
      item.append(push('Remove', () => live.send([{ do: 'remove', path: `${key}[${i}]` }]), 'Remove: ' + words(entry)));
      entries.push(item);
    });
  const list = make('ul');
  list.append(...entries);
  held.append(make('summary', `Locks, bans, keep-outs and needs of the job: ${entries.length}`), list);
  held.ontoggle = () => {
    live.heldOpen = held.open;
  };
  held.open = Boolean(live.heldOpen);
  box.replaceChildren(top, held, rules);
}
