// What can be changed about the thing that is picked, and about the job as a whole. Every change is a list of edits of the
// job file: { do, path, value }.
import { make } from './main.js';

const ROLES = ['programming', 'power', 'ground', 'functional', 'observe', 'do_not_touch'];
const bareKey = k => /^[\w-]+$/.test(k) ? k : JSON.stringify(k);
const labelled = (words, control) => { const l = make('label'); l.append(words + ' ', control); return l; };
export const push = (words, f, title) => { const b = make('button', words, { type: 'button', title: title || '' }); b.onclick = f; return b; };
export function choice(words, list, now, f) {
  const s = make('select');
  for (const v of list) s.append(Object.assign(make('option', v === '' ? 'none' : v), { value: v, defaultSelected: v === now, selected: v === now }));
  if (f) s.onchange = () => f(s.value);
  return labelled(words, s);
}
export function field(words, value, props) {
  const i = make('input', null, props);
  i.defaultValue = value ?? '';
  i.defaultChecked = Boolean(props?.checked);
  return labelled(words, i);
}
const controls = box => [...box.querySelectorAll('label > input, label > select')].map(c => [c.parentNode.firstChild.textContent, c]);
const altered = c => c.type === 'checkbox' ? c.checked !== c.defaultChecked : c.options ? [...c.options].some(o => o.selected !== o.defaultSelected) : c.value !== c.defaultValue;
/** What somebody has changed in the controls of a box and not sent, and where the cursor is; fillIn puts it back into the same controls made anew. */
export const filledIn = box => controls(box).filter(([, c]) => altered(c) || c === document.activeElement).map(([words, c]) => ({ words, value: c.value, checked: c.checked, at: c === document.activeElement }));
export function fillIn(box, list) {
  for (const f of list) {
    const c = controls(box).find(([words]) => words === f.words)?.[1];
    if (!c) continue;
    c.value = f.value; c.checked = f.checked;
    if (f.at) c.focus();
  }
}

/** Entries of the job that speak of a pad by its very name. */
const namesPad = (list, t) => (list || []).map((x, i) => [x, i]).filter(([x]) => x.target === t.name && (!x.side || x.side === t.side));

function padChanges(live, page, t, box, cls) {
  const d = page.d, job = live.job, net = t.net >= 0 ? d.nets[t.net] : null;
  const locks = namesPad(job.lock, t), bans = namesPad(job.ban, t);
  for (const [, i] of locks) box.append(push('Release: any pad may serve the net again', () => live.send([{ do: 'remove', path: `lock[${i}]` }])));
  for (const [, i] of bans) box.append(push('Allow probes here again', () => live.send([{ do: 'remove', path: `ban[${i}]` }])));
  if (net && !locks.length && !bans.length && t.state !== 'blocked') box.append(push(`Probe ${net.name} here`, () => {
    // As many locks as the net wants probes: the oldest makes room.
    const own = (job.lock || []).map((l, i) => [l, i]).filter(([l]) => l.net === net.name), edits = [];
    if (own.length >= Math.max(1, net.wanted)) edits.push({ do: 'remove', path: `lock[${own[0][1]}]` });
    edits.push({ do: 'append', path: 'lock', value: { net: net.name, target: t.name, side: t.side, ...(cls ? { class: cls } : {}) } });
    live.send(edits);
  }));
  if (!bans.length) box.append(push('Never probe this pad', () => live.send([...locks.map(([, i]) => ({ do: 'remove', path: `lock[${i}]` })).reverse(), { do: 'append', path: 'ban', value: { target: t.name, side: t.side } }])));
}

function netChanges(live, n, box) {
  const list = live.job.need || [], own = list.findIndex(x => x.nets === n.name);
  const role = choice('wanted as', ROLES, ROLES.includes(n.role.replaceAll(' ', '_')) ? n.role.replaceAll(' ', '_') : 'functional');
  const wanted = field('probes', n.wanted, { type: 'number', min: 0, max: 1000, step: 1 }), must = field('mandatory', '', { type: 'checkbox', checked: n.mandatory });
  box.append(role, wanted, must, push('Ask for this', () => {
    const value = { nets: n.name, role: role.control.value, wanted: Math.round(Number(wanted.control.value) || 0), mandatory: must.control.checked };
    // The first entry that fits a net decides: one of its own stands before all others.
    if (own < 0) { live.send([{ do: 'insert', path: 'need[0]', value }]); return; }
    live.send(Object.entries(value).filter(([k, v]) => k !== 'nets' && list[own][k] !== v).map(([k, v]) => ({ do: 'set', path: `need[${own}].${k}`, value: v })));
  }));
  if (own >= 0) box.append(push('As the job would have it without this', () => live.send([{ do: 'remove', path: `need[${own}]` }])));
}

export function changesFor(live, page, kind, id) {
  const box = make('div', null, { className: 'changes' }), d = page.d;
  if (kind === 'pad') padChanges(live, page, d.targets[id], box);
  else if (kind === 'probe') padChanges(live, page, d.targets[d.probes[id].target], box, d.classes[d.probes[id].cls].name);
  else if (kind === 'net') netChanges(live, d.nets[id], box);
  return box;
}

/** Leaves of a table: [path, value], lists left out. */
function leaves(table, before = []) {
  return Object.entries(table || {}).flatMap(([k, v]) => ['mark', 'source', 'name'].includes(k) || Array.isArray(v) ? [] : v && typeof v === 'object' ? leaves(v, [...before, k]) : [[[...before, k], v]]);
}
const reach = (table, path) => path.reduce((t, k) => t && typeof t === 'object' ? t[k] : undefined, table);
export const pathOf = keys => keys.map(bareKey).join('.');

function ruleTable(live, filter) {
  const box = make('div', null, { className: 'scroll', tabIndex: 0, role: 'region' }), table = make('table'), body = make('tbody');
  box.setAttribute('aria-label', 'Rules');
  table.innerHTML = '<thead><tr><th scope=col>rule</th><th scope=col>of the rule set</th><th scope=col>of this job</th></tr></thead>';
  for (const [path, value] of leaves(live.shop.rules)) {
    const words = path.join(' '), now = reach(live.job.rule_changes, path);
    if (filter && !words.toLowerCase().includes(filter)) continue;
    const tr = make('tr'), cell = make('td'), i = make('input', null, { value: now ?? '', placeholder: String(value) });
    i.setAttribute('aria-label', words);
    i.onchange = () => {
      const key = 'rule_changes.' + pathOf(path);
      if (i.value.trim() === '') { if (now !== undefined) live.send([{ do: 'remove', path: key }]); return; }
      const number = typeof value === 'number' && !isNaN(Number(i.value));
      live.send([{ do: 'set', path: key, value: number ? Number(i.value) : typeof value === 'boolean' ? i.value === 'true' : i.value }]);
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
  const fixture = live.job.fixture || {}, set = key => value => live.send([value === '' ? { do: 'remove', path: 'fixture.' + key } : { do: 'set', path: 'fixture.' + key, value }]);
  const withOwn = (list, now) => now && !list.includes(now) ? [...list, now] : list;
  const top = make('div', null, { className: 'changes' });
  const style = fixture.style || 'moving-plate';
  top.append(choice('style', withOwn(live.shop.styles || [], style), style, set('style')),
    choice('kit', withOwn(['', ...(live.shop.kits || [])], fixture.kit), fixture.kit || '', set('kit')),
    choice('probes from', ['auto', 'bottom', 'top', 'both'], fixture.sides || 'auto', set('sides')),
    choice('board lies', ['auto', 'bottom side down', 'top side down'], fixture.board_lies || 'auto', set('board_lies')));
  const classes = live.shop.classes || [], used = fixture.classes?.length ? fixture.classes : classes, group = make('fieldset');
  group.append(make('legend', 'probe classes in use'));
  for (const c of classes) {
    const l = field(c, '', { type: 'checkbox', checked: used.includes(c) });
    l.control.onchange = () => {
      const now = classes.filter(k => k === c ? l.control.checked : used.includes(k));
      if (!now.length) { l.control.checked = true; return; }
      set('classes')(now);
    };
    group.append(l);
  }
  top.append(group);
  const rules = make('details'), filter = field('Only rules with', '', { type: 'search' });
  rules.append(make('summary', 'Rules'), filter);
  const show = () => { rules.querySelector('.scroll')?.remove(); rules.append(ruleTable(live, filter.control.value.trim().toLowerCase())); };
  filter.control.oninput = show;
  rules.ontoggle = () => { live.rulesOpen = rules.open; if (rules.open) show(); };
  rules.open = Boolean(live.rulesOpen);
  const held = make('details'), entries = [];
  for (const [key, words] of [['lock', l => `${l.net} is probed on ${l.target}${l.side ? ', ' + l.side : ''}${l.class ? ', ' + l.class : ''}`], ['ban', b => `no probe on ${[b.net, b.target].filter(Boolean).join(' / ')}${b.side ? ', ' + b.side : ''}${b.reason ? ': ' + b.reason : ''}`], ['keep_out', k => `keep-out ${k.name || k.kind || ''}, ${k.side || 'both'}`], ['need', n => `${n.nets}: ${[n.role?.replaceAll('_', ' '), n.wanted !== undefined ? n.wanted + (n.wanted === 1 ? ' probe' : ' probes') : '', n.mandatory ? 'mandatory' : ''].filter(Boolean).join(', ')}`]])
    (live.job[key] || []).forEach((x, i) => { const li = make('li', words(x) + ' '); li.append(push('Remove', () => live.send([{ do: 'remove', path: `${key}[${i}]` }]), 'Remove: ' + words(x))); entries.push(li); });
  const list = make('ul');
  list.append(...entries);
  held.append(make('summary', `Locks, bans, keep-outs and needs of the job: ${entries.length}`), list);
  held.ontoggle = () => { live.heldOpen = held.open; };
  held.open = Boolean(live.heldOpen);
  box.replaceChildren(top, held, rules);
}
