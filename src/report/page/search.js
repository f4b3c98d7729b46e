// The field in which names are searched for.
import { $, make } from './elements.js';

/** Offers the names of the board that hold what is typed. */
export function startSearch(page) {
  const input = $('search');
  const list = $('suggest');
  let at = -1;
  let offered = [];
  const close = () => {
    list.hidden = true;
    input.setAttribute('aria-expanded', 'false');
    at = -1;
  };
  const take = entry => {
    input.value = entry.word;
    close();
    page.choose(entry.kind, entry.id);
  };
  const offer = () => {
    const query = input.value.trim().toLowerCase();
    list.replaceChildren();
    if (!query) {
      close();
      return;
    }
    const words = page.words;
    const begin = words.filter(entry => entry.word.toLowerCase().startsWith(query));
    const inside = words.filter(
      entry => !entry.word.toLowerCase().startsWith(query) && entry.word.toLowerCase().includes(query),
    );
    offered = [...begin, ...inside].slice(0, 12);
    offered.forEach((entry, i) => {
      const option = make('li', null, { role: 'option', id: 'option' + i });
      option.append(make('b', entry.word), ' ', make('span', entry.hint, { className: 'soft' }));
      option.onpointerdown = event => {
        event.preventDefault();
        take(entry);
      };
      list.append(option);
    });
    list.hidden = !offered.length;
    input.setAttribute('aria-expanded', String(!list.hidden));
  };
  input.oninput = offer;
  input.onblur = () => setTimeout(close, 100);
  input.onkeydown = event => {
    const count = list.children.length;
    if (event.key === 'Escape') {
      close();
      return;
    }
    if (event.key === 'Enter') {
      const entry = at >= 0 ? offered[at] : page.names.get(input.value.trim().toLowerCase()) || offered[0];
      if (entry) take(entry);
      else $('about').replaceChildren(make('p', 'Nothing on this board has the name ' + input.value));
      return;
    }
    if ((event.key !== 'ArrowDown' && event.key !== 'ArrowUp') || !count) return;
    event.preventDefault();
    at = (at + (event.key === 'ArrowDown' ? 1 : -1) + count) % count;
    [...list.children].forEach((option, i) => option.setAttribute('aria-selected', i === at));
    input.setAttribute('aria-activedescendant', 'option' + at);
  };
}
