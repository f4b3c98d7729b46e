// The rules for the page's scripts and for the tests in JavaScript. Run from the root of the tree: see tools/lint.
import js from '@eslint/js';

const inBoth = {
  AbortController: 'readonly',
  Blob: 'readonly',
  DecompressionStream: 'readonly',
  Response: 'readonly',
  URL: 'readonly',
  atob: 'readonly',
  clearTimeout: 'readonly',
  console: 'readonly',
  performance: 'readonly',
  setTimeout: 'readonly',
};
const inBrowser = {
  Path2D: 'readonly',
  ResizeObserver: 'readonly',
  addEventListener: 'readonly',
  confirm: 'readonly',
  document: 'readonly',
  fetch: 'readonly',
  history: 'readonly',
  location: 'readonly',
  matchMedia: 'readonly',
  navigator: 'readonly',
  requestAnimationFrame: 'readonly',
  window: 'readonly',
};
// Browser tests hand functions over to the page, where these names stand for the page itself.
const inBrowserTests = {
  CustomEvent: 'readonly',
  getComputedStyle: 'readonly',
  axe: 'readonly',
  teaselLive: 'readonly',
  teaselPage: 'readonly',
};
const inNode = { Buffer: 'readonly', process: 'readonly' };

export default [
  { ignores: ['**/node_modules/'] },
  js.configs.recommended,
  {
    linterOptions: { reportUnusedDisableDirectives: 'error' },
    rules: {
      eqeqeq: ['error', 'always', { null: 'ignore' }],
      'id-length': ['error', { min: 2, exceptions: ['$', 'i', 'j', 'k', 'x', 'y', 'z'] }],
      'max-len': ['error', { code: 120 }],
      'no-multi-assign': 'error',
      'no-nested-ternary': 'error',
      'no-sequences': ['error', { allowInParentheses: false }],
      'no-shadow': ['error', { builtinGlobals: false }],
      'no-unused-expressions': 'error',
      'no-var': 'error',
      'object-shorthand': 'error',
      'one-var': ['error', 'never'],
      'prefer-const': 'error',
    },
  },
  { files: ['src/report/page/*.js'], languageOptions: { globals: { ...inBoth, ...inBrowser } } },
  {
    files: ['tests/**/*.mjs'],
    languageOptions: { globals: { ...inBoth, ...inNode, ...inBrowser, ...inBrowserTests } },
  },
];
