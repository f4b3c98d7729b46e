// The page of a folder of release files, before there is a job. It shows each choice that the program made, with the
// evidence and the drawing, so that somebody can correct and confirm it.
const put = (tag, text, props) => {
  const element = Object.assign(document.createElement(tag), props);
  if (text != null) element.textContent = text;
  return element;
};

// The groups of cards, and which of them each table of the job goes to: the first that fits.
const GROUPS = [
  ['Layers', /^inputs\.gerber\[/],
  ['Drill files', /^inputs\.drill/],
  ['Other files', /^inputs\./],
  ['Board and job', /./],
];

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
    return {
      status: answer.status,
      ...(await answer.json().catch(() => ({ error: 'the answer of the program cannot be read' }))),
    };
  }
  async draw(state) {
    const now = state || (await this.ask('state'));
    const root = document.getElementById('first');
    this.all = [];
    const groups = new Map([['Marked CHECK: look at these first', []], ...GROUPS.map(([name]) => [name, []])]);
    for (const table of now.tables) {
      if (!table.keys.length && !table.more?.length) continue;
      const card = this.card(table, now);
      const doubtful = card.classList.contains('check');
      groups.get(doubtful ? [...groups.keys()][0] : GROUPS.find(group => group[1].test(table.path))[0]).push(card);
    }
    const cards = [...groups].filter(([, list]) => list.length).map(([name, list], i) => this.group(name, list, i));
    const go = put('button', 'Write the job file and plan');
    const rest = put('p', '', { className: 'soft' });
    rest.setAttribute('role', 'status');
    this.count = () => {
      const left = this.all.filter(path => !this.seen.has(path)).length;
      go.disabled = left > 0;
      rest.textContent = left
        ? `${left} of ${this.all.length} cards are not confirmed yet`
        : 'All cards are confirmed.';
    };
    go.onclick = async () => {
      go.disabled = true;
      const answer = await this.ask('begin', {});
      if (answer.begun) location.reload();
      else this.complain(answer);
    };
    const text = put('details');
    text.append(
      put('summary', `The job file as it will be written: ${now.file}`),
      put('pre', now.text, { tabIndex: 0 }),
    );
    root.replaceChildren(
      put(
        'p',
        'This is what was recognised. Each card says which value was chosen and why. ' +
          'Correct what is wrong and tick what is right. A line marked CHECK rests on weak evidence.',
      ),
      put('div', null, { id: 'findings', hidden: true }),
      this.understood(now),
      ...cards,
      go,
      rest,
      text,
    );
    document.getElementById('findings').setAttribute('role', 'alert');
    this.count();
    document.body.dataset.ready = 'first';
  }
  /// The whole release in one picture, or why there is none.
  understood(state) {
    const box = put('section', null, { className: 'understood' });
    if (state.preview)
      box.append(
        put('img', null, { src: this.base + state.preview, alt: 'the release as it was understood, from both sides' }),
      );
    else
      box.append(
        put('p', 'The job cannot be read as it stands. Correct what is wrong below.'),
        ...state.errors.map(text => put('pre', text, { tabIndex: 0 })),
      );
    return box;
  }
  /** Cards under one heading. Those that nothing is doubtful about can be confirmed together. */
  group(name, list, number) {
    const section = put('section', null, { className: 'group' });
    const head = put('h2', `${name}: ${list.length}`);
    const cards = put('div', null, { className: 'cards' });
    cards.append(...list);
    section.append(head);
    if (list.length > 1 && !list[0].classList.contains('check')) {
      const all = put('button', 'All of these are right');
      all.setAttribute('aria-label', `All of these are right: ${name}`);
      all.id = 'group' + number;
      all.onclick = () => {
        for (const tick of cards.querySelectorAll('input[type=checkbox]')) if (!tick.checked) tick.click();
      };
      section.append(all);
    }
    section.append(cards);
    return section;
  }
  complain(answer) {
    const box = document.getElementById('findings');
    box.replaceChildren(...[answer.error, ...(answer.findings || [])].map(text => put('pre', text)));
    box.hidden = false;
    box.scrollIntoView({ block: 'nearest' });
  }
  card(table, state) {
    const box = put('section', null, { className: 'card' });
    const file =
      table.keys.find(entry => entry.key === 'file')?.value ||
      table.keys.find(entry => entry.key === 'files')?.value?.join(', ');
    const evidence = [...table.keys.flatMap(entry => entry.evidence), ...(table.more || [])];
    box.append(put('h3', file ? file.split('/').pop() : table.path));
    box.classList.toggle(
      'check',
      evidence.some(line => line.includes('CHECK')),
    );
    const layer = /^inputs\.gerber\[(\d+)\]$/.exec(table.path);
    if (layer)
      box.append(
        put('img', null, { src: this.base + 'layer/' + layer[1], alt: 'drawing of ' + file, loading: 'lazy' }),
      );
    for (const entry of table.keys) {
      const path = table.path + '.' + entry.key;
      const row = put('div', null, { className: 'row' });
      for (const line of entry.evidence) box.append(put('p', line, { className: 'soft' }));
      const fixed = /^(file|files|library)$/.test(entry.key) || path === 'inputs.idf.board';
      if (fixed)
        row.append(put('span', entry.key + ': ' + (Array.isArray(entry.value) ? entry.value.join(', ') : entry.value)));
      else {
        const label = put('label', entry.key.replaceAll('_', ' ') + ' ');
        let control;
        if (entry.key === 'role') {
          control = put('select');
          for (const role of state.roles)
            control.append(Object.assign(put('option', role), { value: role, selected: role === entry.value }));
        } else
          control = put('input', null, {
            value: typeof entry.value === 'string' ? entry.value : JSON.stringify(entry.value),
          });
        control.onchange = async () => {
          let value = control.value;
          if (typeof entry.value !== 'string') {
            try {
              value = JSON.parse(control.value);
            } catch {
              this.complain({
                error: 'This is not a value of the kind expected here, such as ' + JSON.stringify(entry.value) + '.',
              });
              return;
            }
          }
          const answer = await this.ask('edit', { path, value });
          if (answer.error) {
            this.complain(answer);
            control.value = typeof entry.value === 'string' ? entry.value : JSON.stringify(entry.value);
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
    ok.append(tick, ' I have looked at this, and it is right');
    tick.onchange = () => {
      if (tick.checked) this.seen.add(table.path);
      else this.seen.delete(table.path);
      this.count();
    };
    this.all.push(table.path);
    box.append(ok);
    return box;
  }
}

new First();
