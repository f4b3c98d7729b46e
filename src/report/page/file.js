// The page of a file: its data lies in it.
import { loadData } from './data.js';
import { Page } from './main.js';

loadData(document.getElementById('data').textContent.trim()).then(d => new Page(d)).catch(e => {
  document.getElementById('about').textContent = 'The page\u2019s data cannot be read: ' + e.message + '. A current browser is needed; the lists are in the CSV files beside this page.';
});
