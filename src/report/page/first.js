// Release files before there is a job: every choice with its evidence and its drawing, to correct and to confirm.
const put = (tag, text, props) => {
  const element = Object.assign(document.createElement(tag), props);
  if (text != null) element.textContent = text;
  return element;
};

class First {
  constructor() {
    this.base = location.pathname;
    this.seen = new Set();
    this.draw();
  }
  async ask(path, body) {
    const answer = await fetch(
      this.base + path,
      body === undefined
        ? {}
        : { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) },
    );
    return { status: answer.status, ...(await answer.json().catch(() => ({ error: 'no answer that can be read' }))) };
  }
  async draw(state) {
    const state = state || (await this.ask('state'));
    const root = document.getElementById('first');
    const cards = put('div', null, { className: 'cards' });
    this.all = [];
    for (const table of state.tables) if (table.keys.length || table.more?.length) cards.append(this.card(table, state));
    const go = put('button', 'Write the job file and plan');
    const rest = put('p', '', { className: 'soft' });
    rest.setAttribute('role', 'status');
    this.count = () => {
      const left = this.all.filter(k => !this.seen.has(k)).length;
      go.disabled = left > 0;
      rest.textContent = left ? `${left} of ${this.all.length} still to be looked at` : 'all looked at';
    };
    go.onclick = async () => {
      go.disabled = true;
      const answer = await this.ask('begin', {});
      if (answer.begun) location.reload();
      else this.complain(answer);
    };
    const text = put('details');
    text.append(put('summary', `The job file as it will be written: ${state.file}`), put('pre', state.text, { tabIndex: 0 }));
    root.replaceChildren(
      put(
        'p',
        'This is what was recognised. Each card says which value was chosen and why. Correct what is wrong, tick what is right; what is marked CHECK rests on weak evidence.',
      ),
      put('div', null, { id: 'findings', hidden: true }),
      cards,
      go,
      rest,
      text,
    );
    document.getElementById('findings').setAttribute('role', 'alert');
    this.count();
    document.body.dataset.ready = 'first';
  }
  complain(answer) {
    const box = document.getElementById('findings');
    box.replaceChildren(...[answer.error, ...(answer.findings || [])].map(text => put('pre', text)));
    box.hidden = false;
    box.scrollIntoView({ block: 'nearest' });
  }
  card(table, state) {
    const box = put('section', null, { className: 'card' });
    const file = table.keys.find(k => k.key === 'file')?.value || table.keys.find(k => k.key === 'files')?.value?.join(', ');
    const evidence = [...table.keys.flatMap(k => k.evidence), ...(table.more || [])];
    box.append(put('h2', file ? file.split('/').pop() : table.path));
    box.classList.toggle(
      'check',
      evidence.some(line => line.includes('CHECK')),
    );
    const layer = /^inputs\.gerber\[(\d+)\]$/.exec(table.path);
    if (layer)
      box.append(
        put('img', null, { src: this.base + 'layer/' + layer[1], alt: 'drawing of ' + file, loading: 'lazy' }),
      );
    for (const k of table.keys) {
      const path = table.path + '.' + k.key;
      const row = put('div', null, { className: 'row' });
      for (const line of k.evidence) box.append(put('p', line, { className: 'soft' }));
      const fixed = /^(file|files|library)$/.test(k.key) || path === 'inputs.idf.board';
      if (fixed) row.append(put('span', k.key + ': ' + (Array.isArray(k.value) ? k.value.join(', ') : k.value)));
      else {
        const label = put('label', k.key.replaceAll('_', ' ') + ' ');
        let control;
        if (k.key === 'role') {
          control = put('select');
          for (const role of state.roles) control.append(Object.assign(put('option', role), { value: role, selected: role === k.value }));
        } else control = put('input', null, { value: typeof k.value === 'string' ? k.value : JSON.stringify(k.value) });
        control.onchange = async () => {
          let value = control.value;
          if (typeof k.value !== 'string') {
            try {
              value = JSON.parse(control.value);
            } catch {
              this.complain({ error: 'a value such as ' + JSON.stringify(k.value) + ' is expected' });
              return;
            }
          }
          const answer = await this.ask('edit', { path, value });
          if (answer.error) {
            this.complain(answer);
            control.value = typeof k.value === 'string' ? k.value : JSON.stringify(k.value);
          } else this.draw(answer);
        };
        label.append(control);
        row.append(label);
      }
      box.append(row);
    }
    for (const line of table.more || []) box.append(put('p', line, { className: 'soft' }));
    const ok = put('label', '');
    const tick = put('input', null, { type: 'checkbox', checked: this.seen.has(table.path) });
    ok.append(tick, ' looked at, and right');
    tick.onchange = () => {
      tick.checked ? this.seen.add(table.path) : this.seen.delete(table.path);
      this.count();
    };
    this.all.push(table.path);
    box.append(ok);
    return box;
  }
}

new First();
