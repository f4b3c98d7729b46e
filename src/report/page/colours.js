// The colours of the board: by day and by night, of the probe classes, and along a scale.

// Colours that colour-blind people can tell apart: M. Okabe, K. Ito, Color universal design, 2008. Besides, every class
// has a symbol of its own.
export const CLASS_COLOURS = ['#0072b2', '#d55e00', '#009e73', '#cc79a7', '#56b4e9', '#e69f00'];

export const LIGHT = {
  ground: '#f4f5f2',
  board: '#e9eee6',
  edge: '#3a4249',
  copper: '#c9b98a',
  inside: 'rgba(86,120,160,.5)',
  over: '#b3261e',
  part: '#7d8790',
  partFill: 'rgba(125,135,144,.14)',
  open: '#00795a',
  blocked: '#9aa1a8',
  hole: '#ffffff',
  text: '#1d2126',
  find: '#b0004e',
  keep: '#d55e00',
  advice: '#7a3f9d',
  old: '#d55e00',
};
export const DARK = {
  ground: '#14171a',
  board: '#20272a',
  edge: '#c7cdd2',
  copper: '#6d5f35',
  inside: 'rgba(120,160,210,.45)',
  over: '#ff6b5e',
  part: '#98a3ac',
  partFill: 'rgba(152,163,172,.14)',
  open: '#33c79b',
  blocked: '#6d757c',
  hole: '#0d0f11',
  text: '#e8e9e6',
  find: '#ff7ab8',
  keep: '#ff9a4d',
  advice: '#d2a0f0',
  old: '#ff9a4d',
};
// The colour map "cividis" of J. R. Nunez and others, PLoS ONE 13 (2018), from dark blue over grey to yellow; the
// values are close to it, not exact.
const RAMP = [
  [0, 34, 78],
  [42, 63, 108],
  [87, 92, 109],
  [125, 124, 120],
  [166, 157, 117],
  [211, 193, 100],
  [254, 232, 56],
];

/** The colour at a share of 0 to 1 along the ramp. */
export function ramp(share, opacity = 1) {
  const at = share * (RAMP.length - 1);
  const step = Math.min(Math.floor(at), RAMP.length - 2);
  const fraction = at - step;
  const mixed = RAMP[step].map((from, j) => Math.round(from * (1 - fraction) + RAMP[step + 1][j] * fraction));
  return `rgba(${mixed.join(',')},${opacity})`;
}
