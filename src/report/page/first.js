// Release files before there is a job: every choice with its evidence and its drawing, to correct and to confirm.
const put = (tag, text, props) => { const e = Object.assign(document.createElement(tag), props); if (text != null) e.textContent = text; return e; };

class First {
  constructor() { this.base = location.pathname; this.seen = new Set(); this.draw(); }
  async ask(path, body) {
    const r = await fetch(this.base + path, body === undefined ? {} : { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) });
    return { status: r.status, ...await r.json().catch(() => ({ error: 'no answer that can be read' })) };
  }
  async draw(state) {
    const s = state || await this.ask('state'), root = document.getElementById('first');
    const cards = put('div', null, { className: 'cards' });
    this.all = [];
    for (const t of s.tables) if (t.keys.length || t.more?.length) cards.append(this.card(t, s));
    const go = put('button', 'Write the job file and plan'), rest = put('p', '', { className: 'soft' });
    rest.setAttribute('role', 'status');
    this.count = () => {
      const left = this.all.filter(k => !this.seen.has(k)).length;
      go.disabled = left > 0;
      rest.textContent = left ? `${left} of ${this.all.length} still to be looked at` : 'all looked at';
    };
    go.onclick = async () => {
      go.disabled = true;
      const r = await this.ask('begin', {});
      if (r.begun) location.reload(); else this.complain(r);
    };
    const text = put('details');
    text.append(put('summary', `The job file as it will be written: ${s.file}`), put('pre', s.text, { tabIndex: 0 }));
    root.replaceChildren(put('p', 'This is what was recognised. Each card says which value was chosen and why. Correct what is wrong, tick what is right; what is marked CHECK rests on weak evidence.'), put('div', null, { id: 'findings', hidden: true }), cards, go, rest, text);
    document.getElementById('findings').setAttribute('role', 'alert');
    this.count();
    document.body.dataset.ready = 'first';
  }
  complain(r) {
    const box = document.getElementById('findings');
    box.replaceChildren(...[r.error, ...(r.findings || [])].map(t => put('pre', t)));
    box.hidden = false;
    box.scrollIntoView({ block: 'nearest' });
  }
  card(t, s) {
    const box = put('section', null, { className: 'card' }), file = t.keys.find(k => k.key === 'file')?.value || t.keys.find(k => k.key === 'files')?.value?.join(', ');
    const evidence = [...t.keys.flatMap(k => k.evidence), ...(t.more || [])];
    box.append(put('h2', file ? file.split('/').pop() : t.path));
    box.classList.toggle('check', evidence.some(e => e.includes('CHECK')));
    const layer = /^inputs\.gerber\[(\d+)\]$/.exec(t.path);
    if (layer) box.append(put('img', null, { src: this.base + 'layer/' + layer[1], alt: 'drawing of ' + file, loading: 'lazy' }));
    for (const k of t.keys) {
      const path = t.path + '.' + k.key, row = put('div', null, { className: 'row' });
      for (const e of k.evidence) box.append(put('p', e, { className: 'soft' }));
      const fixed = /^(file|files|library)$/.test(k.key) || path === 'inputs.idf.board';
      if (fixed) row.append(put('span', k.key + ': ' + (Array.isArray(k.value) ? k.value.join(', ') : k.value)));
      else {
        const l = put('label', k.key.replaceAll('_', ' ') + ' ');
        let c;
        if (k.key === 'role') {
          c = put('select');
          for (const r of s.roles) c.append(Object.assign(put('option', r), { value: r, selected: r === k.value }));
        } else c = put('input', null, { value: typeof k.value === 'string' ? k.value : JSON.stringify(k.value) });
        c.onchange = async () => {
          let value = c.value;
          if (typeof k.value !== 'string') { try { value = JSON.parse(c.value); } catch { this.complain({ error: 'a value such as ' + JSON.stringify(k.value) + ' is expected' }); return; } }
          const r = await this.ask('edit', { path, value });
          if (r.error) { this.complain(r); c.value = typeof k.value === 'string' ? k.value : JSON.stringify(k.value); } else this.draw(r);
        };
        l.append(c);
        row.append(l);
      }
      box.append(row);
    }
    for (const e of t.more || []) box.append(put('p', e, { className: 'soft' }));
    const ok = put('label', ''), tick = put('input', null, { type: 'checkbox', checked: this.seen.has(t.path) });
    ok.append(tick, ' looked at, and right');
    tick.onchange = () => { tick.checked ? this.seen.add(t.path) : this.seen.delete(t.path); this.count(); };
    this.all.push(t.path);
    box.append(ok);
    return box;
  }
}

new First();
