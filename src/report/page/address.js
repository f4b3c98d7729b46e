// What the address says after its #: what is picked, how the board is seen, and which list is open. A link that is sent
// shows the same. A heading of the page is named alone, as in #cost.

/** The entries of an address such as #net=GND&side=top; none for a heading, or where it does not decode. */
export function readAddress(hash) {
  const out = new Map();
  for (const part of hash.replace(/^#/, '').split('&')) {
    const at = part.indexOf('=');
    if (at < 1) continue;
    try {
      out.set(part.slice(0, at), decodeURIComponent(part.slice(at + 1)));
    } catch {
      // What somebody typed there may not decode.
    }
  }
  return out;
}

/** The address that readAddress reads back. What is empty is left out. */
export function writeAddress(entries) {
  const list = [...entries].filter(entry => entry[1] !== '' && entry[1] != null);
  // What these letters mean in an address they do not mean behind the #.
  const plain = text =>
    encodeURIComponent(text).replace(/%(?:2F|2C|3A|40|20)/g, code =>
      code === '%20' ? code : decodeURIComponent(code),
    );
  return list.length ? '#' + list.map(([key, value]) => `${key}=${plain(value)}`).join('&') : '';
}

/** How a view looks at the board, as entries of the address. What is as at the start is left out. */
export function viewEntries(view) {
  const whole = [view.cx, view.cy, view.scale].join() === view.whole;
  const layers = view.layersApart();
  return [
    ['side', view.side === view.firstSide ? '' : view.side],
    ['turn', view.turn ? String(90 * view.turn) : ''],
    ['at', whole ? '' : `${(view.cx / 1000).toFixed(2)},${(view.cy / 1000).toFixed(2)}`],
    ['wide', whole ? '' : String(Number((view.canvas.width / view.scale / 1000).toPrecision(4)))],
    ['layers', layers.join(',')],
  ];
}

/** Has a view look at the board as the address says. */
export function lookAs(view, entries) {
  const side = entries.get('side');
  if (side === 'top' || side === 'bottom') view.side = side;
  view.turn = Math.round((Number(entries.get('turn')) || 0) / 90) & 3;
  view.setLayers((entries.get('layers') || '').split(',').filter(Boolean));
  view.all();
  const at = (entries.get('at') || '').split(',').map(Number);
  const wide = Number(entries.get('wide'));
  if (at.length === 2 && at.every(Number.isFinite) && wide > 0) {
    view.cx = at[0] * 1000;
    view.cy = at[1] * 1000;
    view.scale = Math.min(view.canvas.width / wide / 1000, 2);
  }
  view.changed();
}
