// What can be changed about the thing that is picked, and about the job as a whole. Every change is a list of edits of the
// job file: { do, path, value }.
import { make } from './main.js';

const ROLES = ['programming', 'power', 'ground', 'functional', 'observe', 'do_not_touch'];
const bareKey = k => (/^[\w-]+$/.test(k) ? k : JSON.stringify(k));
const labelled = (words, control) => {
  const label = make('label');
  label.append(words + ' ', control);
  return label;
};
export const push = (words, handler, title) => {
  const button = make('button', words, { type: 'button', title: title || '' });
  button.onclick = handler;
  return button;
};
export function choice(words, list, now, handler) {
  const select = make('select');
  for (const value of list)
    select.append(
      Object.assign(make('option', value === '' ? 'none' : value), {
        value: value,
        defaultSelected: value === now,
        selected: value === now,
      }),
    );
  if (handler) select.onchange = () => handler(select.value);
  return labelled(words, select);
}
export function field(words, value, props) {
  const i = make('input', null, props);
  i.defaultValue = value ?? '';
  i.defaultChecked = Boolean(props?.checked);
  return labelled(words, i);
}
const controls = box =>
  [...box.querySelectorAll('label > input, label > select')].map(control => [control.parentNode.firstChild.textContent, control]);
const altered = control =>
  control.type === 'checkbox'
    ? control.checked !== control.defaultChecked
    : control.options
      ? [...control.options].some(option => option.selected !== option.defaultSelected)
      : control.value !== control.defaultValue;
/** What somebody has changed in the controls of a box and not sent, and where the cursor is; fillIn puts it back into the same controls made anew. */
export const filledIn = box =>
  controls(box)
    .filter(([, control]) => altered(control) || control === document.activeElement)
    .map(([words, control]) => ({ words, value: control.value, checked: control.checked, at: control === document.activeElement }));
export function fillIn(box, list) {
  for (const entry of list) {
    const control = controls(box).find(([words]) => words === entry.words)?.[1];
    if (!control) continue;
    control.value = entry.value;
    control.checked = entry.checked;
    if (entry.at) control.focus();
  }
}

/** Entries of the job that speak of a pad by its very name. */
const namesPad = (list, target) =>
  (list || []).map((x, i) => [x, i]).filter(([x]) => x.target === target.name && (!x.side || x.side === target.side));

function padChanges(live, page, target, box, cls) {
  const data = page.d;
  const job = live.job;
  const net = target.net >= 0 ? data.nets[target.net] : null;
  const locks = namesPad(job.lock, target);
  const bans = namesPad(job.ban, target);
  for (const [, i] of locks)
    box.append(
      push('Release: any pad may serve the net again', () => live.send([{ do: 'remove', path: `lock[${i}]` }])),
    );
  for (const [, i] of bans)
    box.append(push('Allow probes here again', () => live.send([{ do: 'remove', path: `ban[${i}]` }])));
  if (net && !locks.length && !bans.length && target.state !== 'blocked')
    box.append(
      push(`Probe ${net.name} here`, () => {
        // As many locks as the net wants probes: the oldest makes room.
        const own = (job.lock || []).map((lock, i) => [lock, i]).filter(([lock]) => lock.net === net.name);
        const edits = [];
        if (own.length >= Math.max(1, net.wanted)) edits.push({ do: 'remove', path: `lock[${own[0][1]}]` });
        edits.push({
          do: 'append',
          path: 'lock',
          value: { net: net.name, target: target.name, side: target.side, ...(cls ? { class: cls } : {}) },
        });
        live.send(edits);
      }),
    );
  if (!bans.length)
    box.append(
      push('Never probe this pad', () =>
        live.send([
          ...locks.map(([, i]) => ({ do: 'remove', path: `lock[${i}]` })).reverse(),
          { do: 'append', path: 'ban', value: { target: target.name, side: target.side } },
        ]),
      ),
    );
}

function netChanges(live, net, box) {
  const list = live.job.need || [];
  const own = list.findIndex(x => x.nets === net.name);
  const role = choice(
    'wanted as',
    ROLES,
    ROLES.includes(net.role.replaceAll(' ', '_')) ? net.role.replaceAll(' ', '_') : 'functional',
  );
  const wanted = field('probes', net.wanted, { type: 'number', min: 0, max: 1000, step: 1 });
  const must = field('mandatory', '', { type: 'checkbox', checked: net.mandatory });
  box.append(
    role,
    wanted,
    must,
    push('Ask for this', () => {
      const value = {
        nets: net.name,
        role: role.control.value,
        wanted: Math.round(Number(wanted.control.value) || 0),
        mandatory: must.control.checked,
      };
      // The first entry that fits a net decides: one of its own stands before all others.
      if (own < 0) {
        live.send([{ do: 'insert', path: 'need[0]', value }]);
        return;
      }
      live.send(
        Object.entries(value)
          .filter(([k, value]) => k !== 'nets' && list[own][k] !== value)
          .map(([k, value]) => ({ do: 'set', path: `need[${own}].${k}`, value: value })),
      );
    }),
  );
  if (own >= 0)
    box.append(
      push('As the job would have it without this', () => live.send([{ do: 'remove', path: `need[${own}]` }])),
    );
}

export function changesFor(live, page, kind, id) {
  const box = make('div', null, { className: 'changes' });
  const data = page.d;
  if (kind === 'pad') padChanges(live, page, data.targets[id], box);
  else if (kind === 'probe')
    padChanges(live, page, data.targets[data.probes[id].target], box, data.classes[data.probes[id].cls].name);
  else if (kind === 'net') netChanges(live, data.nets[id], box);
  return box;
}

/** Leaves of a table: [path, value], lists left out. */
function leaves(table, before = []) {
  return Object.entries(table || {}).flatMap(([k, value]) =>
    ['mark', 'source', 'name'].includes(k) || Array.isArray(value)
      ? []
      : value && typeof value === 'object'
        ? leaves(value, [...before, k])
        : [[[...before, k], value]],
  );
}
const reach = (table, path) => path.reduce((inner, k) => (inner && typeof inner === 'object' ? inner[k] : undefined), table);
export const pathOf = keys => keys.map(bareKey).join('.');

function ruleTable(live, filter) {
  const box = make('div', null, { className: 'scroll', tabIndex: 0, role: 'region' });
  const table = make('table');
  const body = make('tbody');
  box.setAttribute('aria-label', 'Rules');
  table.innerHTML =
    '<thead><tr><th scope=col>rule</th><th scope=col>of the rule set</th><th scope=col>of this job</th></tr></thead>';
  for (const [path, value] of leaves(live.shop.rules)) {
    const words = path.join(' ');
    const now = reach(live.job.rule_changes, path);
    if (filter && !words.toLowerCase().includes(filter)) continue;
    const tr = make('tr');
    const cell = make('td');
    const i = make('input', null, { value: now ?? '', placeholder: String(value) });
    i.setAttribute('aria-label', words);
    i.onchange = () => {
      const key = 'rule_changes.' + pathOf(path);
      if (i.value.trim() === '') {
        if (now !== undefined) live.send([{ do: 'remove', path: key }]);
        return;
      }
      const number = typeof value === 'number' && !isNaN(Number(i.value));
      live.send([
        {
          do: 'set',
          path: key,
          value: number ? Number(i.value) : typeof value === 'boolean' ? i.value === 'true' : i.value,
        },
      ]);
    };
    cell.append(i);
    tr.append(make('td', words), make('td', String(value)), cell);
    if (now !== undefined) tr.className = 'on';
    body.append(tr);
  }
  table.append(body);
  box.append(table);
  return box;
}

/** Fixture, classes, rules, and what the job holds already. */
export function jobPanel(live, box) {
  const fixture = live.job.fixture || {};
  const set = key => value =>
    live.send([value === '' ? { do: 'remove', path: 'fixture.' + key } : { do: 'set', path: 'fixture.' + key, value }]);
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
    const box = field(cls, '', { type: 'checkbox', checked: used.includes(cls) });
    box.control.onchange = () => {
      const now = classes.filter(k => (k === cls ? box.control.checked : used.includes(k)));
      if (!now.length) {
        box.control.checked = true;
        return;
      }
      set('classes')(now);
    };
    group.append(box);
  }
  top.append(group);
  const rules = make('details');
  const filter = field('Only rules with', '', { type: 'search' });
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
  for (const [key, words] of [
    ['lock', lock => `${lock.net} is probed on ${lock.target}${lock.side ? ', ' + lock.side : ''}${lock.class ? ', ' + lock.class : ''}`],
    [
      'ban',
      ban =>
        `no probe on ${[ban.net, ban.target].filter(Boolean).join(' / ')}${ban.side ? ', ' + ban.side : ''}${ban.reason ? ': ' + ban.reason : ''}`,
    ],
    ['keep_out', k => `keep-out ${k.name || k.kind || ''}, ${k.side || 'both'}`],
    [
      'need',
      need =>
        `${need.nets}: ${[need.role?.replaceAll('_', ' '), need.wanted !== undefined ? need.wanted + (need.wanted === 1 ? ' probe' : ' probes') : '', need.mandatory ? 'mandatory' : ''].filter(Boolean).join(', ')}`,
    ],
  ])
    (live.job[key] || []).forEach((x, i) => {
      const li = make('li', words(x) + ' ');
      li.append(push('Remove', () => live.send([{ do: 'remove', path: `${key}[${i}]` }]), 'Remove: ' + words(x)));
      entries.push(li);
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
