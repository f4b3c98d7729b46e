// The report in a browser, as a reader uses it. REPORT: folder of a plan of the demo; LARGE: folder of a large board's,
// if any. Checked against plan.json and the CSV files beside the page, which the page does not read.
import assert from 'node:assert/strict';
import { readFileSync, existsSync, statSync } from 'node:fs';
import { test } from 'node:test';
import { createRequire } from 'node:module';
import { chromium } from 'playwright-core';

const folder = process.env.REPORT;
const large = process.env.LARGE;
const axe = createRequire(import.meta.url).resolve('axe-core/axe.min.js');
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM || '/usr/bin/chromium',
  args: ['--no-sandbox', '--use-gl=swiftshader', '--enable-unsafe-swiftshader'],
});
const problems = [];

async function open(where, options = {}, hash = '') {
  const page = await browser.newPage({ viewport: { width: 1400, height: 1000 }, ...options });
  page.on('console', message => {
    // Remarks on reading pixels, which only these tests do.
    if (/GPU stall due to ReadPixels|Multiple readback operations/.test(message.text())) return;
    if (message.type() === 'error' || message.type() === 'warning') problems.push(message.text());
  });
  page.on('pageerror', error => problems.push(String(error)));
  page.on('request', request => {
    if (!/^(file|data|blob):/.test(request.url())) problems.push('network: ' + request.url());
  });
  await page.goto('file://' + where + '/report.html' + hash);
  await page.waitForSelector('body[data-ready=all]');
  return page;
}
const plan = () => JSON.parse(readFileSync(folder + '/plan.json', 'utf8'));
const about = page => page.locator('#about').innerText();
/** Opens a list of the drawer, unless it is open already. */
const openList = async (page, name) => {
  const tab = page.getByRole('tab', { name });
  const isOpen = await page.evaluate(() => teaselPage.lists.isOpen);
  if (!isOpen || (await tab.getAttribute('aria-selected')) !== 'true') await tab.click();
};

test('the verdict comes first and its numbers are those of plan.json', async () => {
  const page = await open(folder);
  const planned = plan();
  const verdict = await page.locator('.verdict').innerText();
  assert.match(verdict, new RegExp(`\\b${planned.probes.length} probes`));
  const met = planned.nets.filter(net => net.wanted > 0 && net.got >= net.wanted).length;
  assert.match(verdict, new RegExp(`\\b${met} of ${planned.nets.filter(net => net.wanted > 0).length}\\b`));
  assert.equal((await page.locator('#rest .num b').allInnerTexts())[3], String(planned.probes.length));
  await page.close();
});

test('the board fills the window, the answers stand beside it, and nothing is wider than the screen', async () => {
  for (const [width, height] of [
    [390, 844],
    [1024, 700],
    [1280, 800],
    [1920, 1080],
  ]) {
    const page = await open(folder, { viewport: { width, height } });
    const seen = await page.evaluate(() => {
      const box = element => element.getBoundingClientRect().toJSON();
      return {
        wide: document.documentElement.scrollWidth,
        board: box(document.querySelector('#board')),
        rail: box(document.querySelector('.rail')),
      };
    });
    assert.ok(seen.wide <= width, `${seen.wide} of ${width}`);
    if (width >= 1024) {
      assert.ok(seen.board.top < 160 && seen.board.bottom <= height, JSON.stringify(seen.board));
      assert.ok(seen.board.height > 0.55 * height, JSON.stringify(seen.board));
      assert.ok(seen.rail.right <= seen.board.left && seen.rail.bottom <= height, JSON.stringify(seen.rail));
    }
    await page.close();
  }
});

test('each answer leads to where all of it stands, by a link that can be sent', async () => {
  const page = await open(folder);
  const links = await page.locator('.rail dt a').evaluateAll(list => list.map(link => link.getAttribute('href')));
  assert.ok(links.length >= 8);
  for (const link of new Set(links)) {
    const there = await open(folder, {}, link);
    if (link.startsWith('#list=')) {
      assert.ok(await there.evaluate(() => teaselPage.lists.isOpen), link);
      assert.ok((await there.locator('#lists tbody tr').count()) > 0, link);
      await there.close();
      continue;
    }
    assert.equal(await there.locator(`h2${link}`).count(), 1, link);
    await there.waitForFunction(
      at => document.querySelector('h2' + at).getBoundingClientRect().top < document.documentElement.clientHeight,
      link,
    );
    await there.close();
  }
  await page.close();
});

test('search offers names, and what is known of a net, a pad, a probe, a part is what the files say', async () => {
  const page = await open(folder);
  const planned = plan();
  const find = async word => {
    await page.fill('#search', word);
    await page.press('#search', 'Enter');
    return about(page);
  };
  await page.fill('#search', 'sw');
  assert.ok((await page.locator('#suggest li').count()) >= 2);
  await page.press('#search', 'ArrowDown');
  await page.press('#search', 'Enter');
  assert.match(await about(page), /^Net SW/);
  const net = planned.nets.find(entry => entry.net === '3V3');
  assert.match(await find('3V3'), new RegExp(`${net.got} of ${net.wanted}`));
  for (const probe of planned.probes.filter(candidate => candidate.net === '3V3'))
    assert.match(await about(page), new RegExp(probe.name));
  const probe = planned.probes[7];
  const text = await find(probe.name);
  assert.ok(text.includes(probe.net) && text.includes(probe.aim_mm[0].toFixed(3)) && text.includes(probe.class), text);
  assert.match(await find('U1'), /1\.60 mm high/);
  assert.match(await find('no such thing'), /Nothing on this board has the name/);
  // A blocked pad names its reason with both numbers.
  const blocked = readFileSync(folder + '/blocked.csv', 'utf8')
    .split('\n')
    .slice(1)
    .map(line => line.split(','))
    .find(row => row[11] === 'mm');
  const said = await find(blocked[0]);
  assert.ok(said.includes(blocked[8]) && said.includes(blocked[9]) && said.includes(blocked[10]), said);
  await page.close();
});

test('a click on the board picks what lies there; flip, turn, zoom and keys change the view', async () => {
  const page = await open(folder);
  const planned = plan();
  const side = () => page.evaluate(() => teaselPage.view.side);
  const probe = planned.probes.find(candidate => candidate.side === 'bottom');
  if ((await side()) !== 'bottom') await page.getByRole('button', { name: /other side/ }).click();
  assert.equal(await side(), 'bottom');
  assert.match(await page.locator('#side').innerText(), /mirrored/);
  const click = async () => {
    await page.locator('#board').scrollIntoViewIfNeeded();
    const at = await page.evaluate(([x, y]) => {
      const view = teaselPage.view;
      const spot = view.toScreen(x * 1000, y * 1000);
      const rect = view.canvas.getBoundingClientRect();
      return [rect.left + spot[0] / view.pixelRatio, rect.top + spot[1] / view.pixelRatio];
    }, probe.aim_mm);
    await page.mouse.click(...at);
    return about(page);
  };
  assert.match(await click(), new RegExp('^Probe ' + probe.name));
  await page.getByRole('button', { name: /90 degrees/ }).click();
  assert.match(await click(), new RegExp('^Probe ' + probe.name));
  const scale = () => page.evaluate(() => teaselPage.view.scale);
  const before = await scale();
  await page.focus('#board');
  await page.keyboard.press('+');
  assert.ok((await scale()) > before * 1.3);
  await page.keyboard.press('f');
  assert.equal(await side(), 'top');
  // Seen from below, X runs the other way.
  const order = await page.evaluate(() => {
    const view = teaselPage.view;
    const rightward = () => view.toScreen(1000, 0)[0] < view.toScreen(90000, 0)[0];
    view.turn = 0;
    view.side = 'top';
    const top = rightward();
    view.side = 'bottom';
    const bottom = rightward();
    return [top, bottom];
  });
  assert.deepEqual(order, [true, false]);
  await page.close();
});

test('a place in the address opens what it names', async () => {
  const probe = plan().probes[3];
  const page = await open(folder, {}, '#probe=' + probe.name);
  assert.match(await about(page), new RegExp('^Probe ' + probe.name));
  await page.fill('#search', 'GND');
  await page.press('#search', 'Enter');
  await page.waitForURL(/#net=GND/);
  await page.close();
});

test('lists are those of the files: number, filter, order, export; a row picks its thing', async () => {
  const page = await open(folder, { acceptDownloads: true });
  const csv = readFileSync(folder + '/probes.csv', 'utf8');
  const lines = csv.trim().split('\n');
  assert.match(
    await page.getByRole('tab', { name: /^Probes/ }).innerText(),
    new RegExp(' ' + (lines.length - 1) + '$'),
  );
  await openList(page, /^Probes/);
  const [whole] = await Promise.all([page.waitForEvent('download'), page.click('#save')]);
  assert.equal(readFileSync(await whole.path(), 'utf8'), csv);
  await page.fill('#filter', 'SWDIO');
  await page.waitForFunction(() => document.querySelectorAll('#lists tbody tr').length < 5);
  const [part] = await Promise.all([page.waitForEvent('download'), page.click('#save')]);
  assert.equal(
    readFileSync(await part.path(), 'utf8')
      .trim()
      .split('\n').length - 1,
    lines.slice(1).filter(line => line.toLowerCase().includes('swdio')).length,
  );
  await page.locator('#lists tbody button.link').first().click();
  assert.match(await about(page), /^Probe /);
  await page.fill('#filter', '');
  await page.waitForFunction(
    wanted => document.getElementById('count').textContent === wanted + ' rows',
    lines.length - 1,
  );
  await page.getByRole('button', { name: 'x mm' }).click();
  const xs = (await page.locator('#lists tbody tr:not(.space) td:nth-child(8)').allInnerTexts()).map(Number);
  assert.deepEqual(
    xs,
    [...xs].sort((left, right) => left - right),
  );
  assert.equal(await page.locator('#lists th').nth(7).getAttribute('aria-sort'), 'ascending');
  for (const tab of await page.getByRole('tab').all()) {
    if ((await tab.getAttribute('aria-selected')) !== 'true') await tab.click();
    assert.ok((await page.locator('#lists tbody tr').count()) > 0);
  }
  await page.close();
});

test('what is picked on the board is marked in the list that is open', async () => {
  const probe = plan().probes[11];
  const page = await open(folder, {}, '#pad=' + encodeURIComponent(probe.target + '@@' + probe.side));
  await openList(page, /^Probes/);
  assert.equal(await page.locator('#lists tr.on button.link').first().innerText(), probe.name);
  await openList(page, /^Nets/);
  assert.equal(await page.locator('#lists tr.on button.link').first().innerText(), probe.net);
  await page.close();
});

test('layers on request draw something, in light and dark', async () => {
  for (const colorScheme of ['light', 'dark']) {
    const page = await open(folder, { colorScheme, viewport: { width: 700, height: 500 } });
    await page.locator('summary', { hasText: 'Layers' }).click();
    const shot = () =>
      page.evaluate(
        () =>
          new Promise(resolve =>
            requestAnimationFrame(() =>
              requestAnimationFrame(() => resolve(document.getElementById('board').toDataURL())),
            ),
          ),
      );
    for (const box of await page.locator('#controls .layers input').all()) {
      const key = await box.getAttribute('data-layer');
      if (colorScheme === 'dark' && !['copper', 'strain', 'probes'].includes(key)) continue;
      const was = await shot();
      await box.click();
      if (!['advice', 'keep', 'names'].includes(key)) assert.notEqual(await shot(), was, key + ' changes nothing');
      await box.click();
    }
    await page.close();
  }
});

test('the accessibility checker finds nothing serious, in light and dark (axe-core)', async () => {
  for (const colorScheme of ['light', 'dark']) {
    const page = await open(folder, { colorScheme }, '#net=GND');
    await openList(page, /^Nets/);
    await page.fill('#filter', 'SWD'); // A few rows show as much as all of them.
    await page.waitForFunction(() => document.querySelectorAll('#lists tbody tr').length < 9);
    await page.addScriptTag({ path: axe });
    const found = await page.evaluate(() => axe.run(document, { resultTypes: ['violations'] }));
    const serious = found.violations
      .filter(violation => ['serious', 'critical'].includes(violation.impact))
      .map(
        violation =>
          violation.id +
          ': ' +
          violation.nodes
            .slice(0, 3)
            .map(node => node.html.slice(0, 120))
            .join(' | '),
      );
    assert.deepEqual(serious, []);
    await page.close();
  }
});

test(
  'a large board: small file, median frame of pan and zoom under 33 ms',
  { skip: large && existsSync(large + '/report.html') ? false : 'no large board' },
  async () => {
    assert.ok(statSync(large + '/report.html').size <= 6e6);
    const page = await open(large);
    const frames = await page.evaluate(async () => {
      const view = teaselPage.view;
      const next = () => new Promise(resolve => requestAnimationFrame(() => requestAnimationFrame(resolve)));
      await new Promise(resolve => setTimeout(resolve, 600));
      view.frames.length = 0;
      for (let i = 0; i < 40; i++) {
        view.pan(i % 2 ? 9 : -6, 4);
        await next();
      }
      for (let i = 0; i < 45; i++) {
        view.zoom(1.1);
        await next();
      }
      for (let i = 0; i < 30; i++) {
        view.pan(5, -7);
        await next();
      }
      for (let i = 0; i < 45; i++) {
        view.zoom(1 / 1.1);
        await next();
      }
      return [...view.frames].sort((left, right) => left - right);
    });
    assert.ok(frames.length > 100);
    assert.ok(frames[frames.length >> 1] < 33, 'median ' + frames[frames.length >> 1]);
    await page.close();
  },
);

test('60,000 pads and traces: what is drawn in a frame is bounded, and its median is under 33 ms', async () => {
  const page = await open(folder);
  const [frames, most, pads] = await page.evaluate(async () => {
    // The shapes of the demo stand on a raster of 300 by 200, half of them on each side.
    const data = teaselPage.data;
    const targets = [];
    const lines = [];
    for (let i = 0; i < 60000; i++) {
      const target = data.targets[i % data.targets.length];
      const x = (i % 300) * 1200;
      const y = Math.floor(i / 300) * 1200;
      const box = data.shapeBox[target.shape];
      targets.push({
        ...target,
        id: i,
        x,
        y,
        side: i % 2 ? 'top' : 'bottom',
        box: [box[0] + x, box[1] + y, box[2] + x, box[3] + y],
      });
      lines.push(x, y, 1100, 300 * (i % 3), 75);
    }
    const copper = ['top', 'bottom'].map((outer, i) => ({
      number: i + 1,
      outer,
      lines,
      areas: [],
      linesOf: new Map(),
      areasOf: new Map(),
    }));
    teaselPage.view.leave();
    const view = new teaselPage.view.constructor(
      document.getElementById('board'),
      {
        ...data,
        targets,
        copper,
        box: [0, 0, 360000, 240000],
        outline: [[0, 0, 360000, 0, 360000, 240000, 0, 240000]],
      },
      () => {},
    );
    const next = () => new Promise(resolve => requestAnimationFrame(() => requestAnimationFrame(resolve)));
    let drawn = 0;
    const scene = view.scene;
    view.scene = function (...args) {
      if (args[4] !== true) drawn = Math.max(drawn, this.inSight(args[3]));
      return scene.apply(this, args);
    };
    await next();
    await new Promise(resolve => setTimeout(resolve, 1500));
    view.frames.length = 0;
    for (let i = 0; i < 30; i++) {
      view.pan(i % 2 ? 11 : -7, 5);
      await next();
    }
    for (let i = 0; i < 60; i++) {
      view.zoom(1.09);
      await next();
    }
    for (let i = 0; i < 30; i++) {
      view.pan(6, -8);
      await next();
    }
    for (let i = 0; i < 60; i++) {
      view.zoom(1 / 1.09);
      await next();
    }
    return [[...view.frames].sort((left, right) => left - right), drawn, targets.length];
  });
  assert.equal(pads, 60000);
  assert.ok(frames.length > 150);
  assert.ok(most <= 14001, `${most} primitives`);
  const median = frames[frames.length >> 1].toFixed(1);
  const slow = frames[Math.floor(frames.length * 0.95)].toFixed(1);
  console.log(`# median ${median} ms, 95 % below ${slow} ms`);
  assert.ok(frames[frames.length >> 1] < 33, 'median ' + frames[frames.length >> 1]);
  await page.close();
});

test('an address shows the same view: side, turn, place, layers, both sides, list, filter, groups', async () => {
  const page = await open(folder);
  await page.evaluate(() => {
    const { view } = teaselPage;
    view.side = 'top';
    view.turn = 1;
    view.set('wires', true);
    view.set('names', false);
    view.show([10000, 10000, 20000, 20000]);
    teaselPage.both(true);
  });
  await openList(page, /^Blocked/);
  await page.fill('#filter', 'top');
  await page.selectOption('#grouped', 'reason');
  const seen = () =>
    page.evaluate(() => {
      const { view, lists } = teaselPage;
      const place = [view.cx, view.cy, view.canvas.width / view.scale].map(value => Math.round(value / 100));
      return [
        view.side,
        view.turn,
        ...place,
        view.layersApart().join(),
        Boolean(view.twin),
        lists.file,
        lists.count.textContent,
      ];
    });
  await page.waitForFunction(() => /rows=top/.test(location.hash) && /both=1/.test(location.hash));
  const before = await seen();
  const address = page.url();
  await page.goto('about:blank');
  await page.goto(address);
  await page.waitForSelector('body[data-ready=all]');
  assert.deepEqual(await seen(), before);
  await page.close();
});

test('both sides side by side show the same place, each from its own side; a click on either picks', async () => {
  const page = await open(folder);
  await page.keyboard.press('b');
  const same = await page.evaluate(() => {
    const { view } = teaselPage;
    view.zoom(3);
    return [view.side !== view.twin.side, view.cx === view.twin.cx, view.scale === view.twin.scale];
  });
  assert.deepEqual(same, [true, true, true]);
  const probe = await page.evaluate(() => {
    const { twin } = teaselPage.view;
    teaselPage.view.all();
    const found = teaselPage.data.probes.find(candidate => candidate.side === twin.side);
    const [x, y] = twin.toScreen(found.x, found.y);
    const rect = twin.canvas.getBoundingClientRect();
    return [found.name, rect.left + x / twin.pixelRatio, rect.top + y / twin.pixelRatio];
  });
  await page.mouse.click(probe[1], probe[2]);
  assert.match(await about(page), new RegExp('^Probe ' + probe[0]));
  await page.keyboard.press('b');
  assert.equal(await page.locator('#other-board').count(), 0);
  await page.close();
});

test('the pointer names what it is on and where; the rule measures what plan.json says', async () => {
  const page = await open(folder);
  const [one, two] = plan()
    .probes.filter(probe => probe.side === 'bottom')
    .slice(0, 2);
  if ((await page.evaluate(() => teaselPage.view.side)) !== 'bottom') await page.keyboard.press('f');
  await page.evaluate(() => teaselPage.view.side === 'bottom' || teaselPage.view.flip());
  const at = aim =>
    page.evaluate(([x, y]) => {
      const { view } = teaselPage;
      const spot = view.toScreen(x * 1000, y * 1000);
      const rect = view.canvas.getBoundingClientRect();
      return [rect.left + spot[0] / view.pixelRatio, rect.top + spot[1] / view.pixelRatio];
    }, aim);
  await page.mouse.move(...(await at(one.aim_mm)));
  await page.waitForFunction(name => document.getElementById('under').textContent.includes(name), one.name);
  const where = (await page.locator('#where').innerText()).split(/[ ,]+/).map(Number);
  assert.ok(Math.hypot(where[0] - one.aim_mm[0], where[1] - one.aim_mm[1]) < 0.2, String(where));
  await page.keyboard.press('m');
  await page.mouse.click(...(await at(one.aim_mm)));
  await page.mouse.click(...(await at(two.aim_mm)));
  const said = Number((await page.locator('#under').innerText()).split(' ')[0]);
  const middle = await page.evaluate(
    names =>
      names.map(name => {
        const target = teaselPage.data.targets[teaselPage.data.probes.find(probe => probe.name === name).target];
        return [target.x / 1000, target.y / 1000];
      }),
    [one.name, two.name],
  );
  assert.ok(Math.abs(said - Math.hypot(middle[0][0] - middle[1][0], middle[0][1] - middle[1][1])) < 0.0015);
  assert.match(await page.locator('#under').innerText(), /edge to edge/);
  await page.keyboard.press('Escape');
  assert.equal(await page.evaluate(() => teaselPage.view.tool), null);
  await page.close();
});

test('the copper of a net that is picked is drawn in its colour: as many pieces as lie on it', async () => {
  const page = await open(folder, {}, '#net=SWDIO');
  const pieces = await page.evaluate(() => {
    const net = teaselPage.data.nets.find(entry => entry.name === 'SWDIO').id;
    return teaselPage.data.copper.map(({ linesOf }) => linesOf.get(net) || [0, 0]).map(([from, to]) => to - from);
  });
  assert.ok(
    pieces.some(count => count > 0),
    String(pieces),
  );
  const red = () =>
    page.evaluate(async () => {
      await new Promise(resolve => requestAnimationFrame(() => requestAnimationFrame(resolve)));
      const canvas = document.getElementById('board');
      const { data } = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height);
      let count = 0;
      for (let i = 0; i < data.length; i += 4) if (data[i] - data[i + 1] > 90 && data[i + 2] > 40) ++count;
      return count;
    });
  const marked = await red();
  await page.evaluate(() => teaselPage.clear());
  assert.ok(marked > (await red()) + 100, String(marked));
  await page.close();
});

test('rows that are selected are highlighted together; groups close and open', async () => {
  const page = await open(folder);
  await openList(page, /^Probes/);
  const rows = page.locator('#lists tbody tr:not(.space) td:nth-child(3)');
  await rows.nth(0).click();
  await rows.nth(2).click({ modifiers: ['Shift'] });
  assert.equal(await page.evaluate(() => teaselPage.view.found.probes.size), 3);
  await page.selectOption('#grouped', 'class');
  const groups = page.locator('#lists tr.group');
  const count = await groups.count();
  assert.ok(count >= 1);
  await groups.first().locator('button').click();
  assert.equal(await groups.first().locator('button').getAttribute('aria-expanded'), 'false');
  await page.close();
});

test('the fixture in three dimensions: drawn, closed, and a part picked in it is picked on the page', async () => {
  const page = await open(folder, { viewport: { width: 900, height: 700 } });
  await page.keyboard.press('3');
  const lit = await page.evaluate(async () => {
    const view = teaselPage.fixture;
    if (!view.program) return -1;
    await new Promise(resolve => requestAnimationFrame(() => requestAnimationFrame(resolve)));
    const { gl, canvas } = view;
    const pixels = new Uint8Array(4 * canvas.width * canvas.height);
    gl.readPixels(0, 0, canvas.width, canvas.height, gl.RGBA, gl.UNSIGNED_BYTE, pixels);
    let count = 0;
    for (let i = 3; i < pixels.length; i += 4) count += pixels[i] > 0;
    return count;
  });
  // A browser without WebGL says so.
  if (lit < 0) assert.match(await page.locator('#space').innerText(), /draws nothing in three dimensions/);
  else assert.ok(lit > 20000, String(lit));
  if (lit > 0) {
    await page.evaluate(() => {
      Object.assign(teaselPage.fixture.state, { turn: 0, tilt: 1.55, apart: 1 });
      teaselPage.fixture.draw();
    });
    const picked = await page.evaluate(() => {
      const view = teaselPage.fixture;
      const { canvas } = view;
      const rect = canvas.getBoundingClientRect();
      for (let y = 0.3; y < 0.7; y += 0.01)
        for (let x = 0.3; x < 0.7; x += 0.01) {
          view.pick({ clientX: rect.left + x * rect.width, clientY: rect.top + y * rect.height });
          if (teaselPage.picked) return teaselPage.picked.name;
        }
      return null;
    });
    assert.ok(picked);
    assert.ok((await about(page)).includes(picked.split('@@')[0]));
  }
  await page.keyboard.press('3');
  assert.equal(await page.locator('#space').count(), 0);
  await page.close();
});

test('paper: each reader has a set of pages, lists included; the manager has one page', async () => {
  const page = await open(folder);
  await page.evaluate(() => {
    window.print = () => {};
  });
  const shown = async words => {
    await page.locator('summary', { hasText: 'Print' }).click();
    await page.getByRole('button', { name: words }).click();
    const pdf = await page.pdf({ format: 'A4', printBackground: true });
    const heads = await page.evaluate(() => {
      const visible = element => getComputedStyle(element.closest('[data-for]') || element).display !== 'none';
      return [...document.querySelectorAll('#rest h2')].filter(visible).map(head => head.textContent);
    });
    await page.evaluate(() => window.dispatchEvent(new CustomEvent('afterprint')));
    return { pages: pdf.toString('latin1').match(/\/Type\s*\/Page\b/g).length, heads };
  };
  const manager = await shown('Manager');
  const shop = await shown('Shop');
  assert.ok(manager.pages <= 3, `${manager.pages} pages`);
  assert.ok(shop.pages > manager.pages, `${shop.pages} and ${manager.pages} pages`);
  assert.equal(await page.locator('#paper').count(), 0);
  await page.close();
});

test('no errors, warnings or network on any of these pages', async () => {
  await browser.close();
  assert.deepEqual(problems, []);
});
