// The page of a report file, which holds its own data.
import { loadData } from './data.js';
import { Page } from './main.js';

loadData(document.getElementById('data').textContent.trim())
  .then(data => new Page(data))
  .catch(error => {
    document.getElementById('about').textContent =
      `The data of this page cannot be read: ${error.message}. ` +
      'A current browser is needed. The lists are also in the CSV files beside this page.';
  });
