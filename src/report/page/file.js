// The page of a file: its data lies in it.
import { loadData } from './data.js';
import { Page } from './main.js';

loadData(document.getElementById('data').textContent.trim())
  .then(data => new Page(data))
  .catch(error => {
    document.getElementById('about').textContent =
      'The page\u2019s data cannot be read: ' +
      error.message +
      '. A current browser is needed; the lists are in the CSV files beside this page.';
  });
