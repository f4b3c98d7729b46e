// Elements of the page, and amounts in words.

export const $ = id => document.getElementById(id);
export const make = (tag, text, props) => {
  const element = Object.assign(document.createElement(tag), props);
  if (text != null) element.textContent = text;
  return element;
};
/** Micrometres as text. */
export const mm = um => (um / 1000).toFixed(3) + ' mm';
