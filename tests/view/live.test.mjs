// The live page in a browser. What it shows is checked against `teasel plan` of the saved file.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { chmodSync, existsSync, mkdtempSync, readFileSync, statSync, symlinkSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { test } from 'node:test';
import {
  axe,
  change,
  copyOfJob,
  get,
  large,
  open,
  planOf,
  post,
  probesOf,
  probesOnPage,
  problems,
  release,
  serve,
  settled,
  sleep,
  stop,
  teasel,
  until,
  version,
  work,
} from './live_page.mjs';

test('lock, ban, need, undo and redo; what is saved plans to what the page shows', async () => {
  const file = copyOfJob();
  const served = await serve([file, '--no-mechanics']);
  const page = await open(served.address);
  const text = readFileSync(file, 'utf8');
  await settled(page);
  const first = await probesOnPage(page);
  assert.deepEqual(first, probesOf(planOf(file, '--no-mechanics')));
  // This takes a pad that is open and not probed, on a net that is probed elsewhere.
  const [net, pad] = await page.evaluate(() => {
    const free = teaselPage.data.targets.find(
      target =>
        target.state === 'open' &&
        target.net >= 0 &&
        teaselPage.data.nets[target.net].wanted === 1 &&
        teaselPage.data.nets[target.net].probes.length === 1,
    );
    teaselPage.choose('pad', free.id);
    return [teaselPage.data.nets[free.net].name, free.name];
  });
  await change(page, () => page.getByRole('button', { name: `Probe ${net} here` }).click());
  assert.ok((await probesOnPage(page)).some(probe => probe.startsWith(`${net} | ${pad} |`)));
  assert.match(await page.locator('#effect').innerText(), new RegExp(net.replace(/[^\w]/g, '.') + ' moves'));
  assert.match(await page.locator('#about').innerText(), /Unlock/);
  // The slider fades the plan before in: where the probe stood, and nothing where it stands now.
  const differs = await page.evaluate(async name => {
    const slide = document.querySelector('#effect input[type=range]');
    const board = document.querySelector('#board canvas') || document.getElementById('board');
    const shown = () => board.toDataURL();
    const now = shown();
    const at = async value => {
      slide.value = value;
      slide.dispatchEvent(new window.Event('input'));
      await new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)));
      return shown();
    };
    const before = await at('0');
    const stood = teaselPage.view.compared.probes.find(probe => probe.net === name);
    const stands = teaselPage.data.probes.find(probe => probe.net === name);
    const again = await at('100');
    return { moved: stood.x !== stands.x || stood.y !== stands.y, changed: before !== now, back: again === now };
  }, net);
  assert.deepEqual(differs, { moved: true, changed: true, back: true });
  // A ban keeps every probe off a pad.
  const banned = await page.evaluate(() => {
    const probe = teaselPage.data.probes.find(candidate => candidate.net === 'GND' && candidate.side === 'bottom');
    teaselPage.choose('pad', probe.target);
    return teaselPage.data.targets[probe.target].name;
  });
  await change(page, () => page.getByRole('button', { name: 'Never probe this pad' }).click());
  const third = await probesOnPage(page);
  assert.ok(!third.some(probe => probe.includes(`| ${banned} | bottom`)));
  assert.match(await page.locator('#about').innerText(), /blocked[\s\S]*banned/);
  // After a change of a need the page waits until all is planned anew.
  await page.evaluate(() => teaselPage.choose('net', teaselPage.data.nets.find(entry => entry.name === 'GND').id));
  await page.getByRole('spinbutton', { name: 'probes' }).fill('3');
  // Results that come in later do not wipe out what is being filled in.
  await page.getByRole('checkbox', { name: 'mandatory' }).click();
  await page.evaluate(() => teaselLive.fetchPage());
  assert.equal(await page.getByRole('spinbutton', { name: 'probes' }).inputValue(), '3');
  assert.equal(
    await page.getByRole('checkbox', { name: 'mandatory' }).isChecked(),
    !(await page.evaluate(() => teaselPage.data.nets.find(entry => entry.name === 'GND').mandatory)),
  );
  await page.getByRole('checkbox', { name: 'mandatory' }).click();
  await change(page, () => page.getByRole('button', { name: 'Ask for this' }).click());
  await settled(page);
  assert.equal((await probesOnPage(page)).filter(probe => probe.startsWith('GND |')).length, 3);
  // Undo and redo go through all states.
  await change(page, () => page.click('#do-undo'));
  await until(page, () => document.body.dataset.live !== 'busy', 'undo');
  assert.deepEqual(await probesOnPage(page), third);
  await change(page, () => page.click('#do-undo'));
  await change(page, () => page.click('#do-undo'));
  assert.deepEqual(await probesOnPage(page), first);
  assert.ok(await page.locator('#do-undo').isDisabled());
  assert.ok(await page.locator('#lines').isHidden());
  await change(page, () => page.click('#do-redo'));
  await change(page, () => page.click('#do-redo'));
  assert.deepEqual(await probesOnPage(page), third);
  await settled(page);
  await page.click('#do-save');
  await until(page, () => !teaselLive.sending && !teaselLive.state.lines.length, 'saving');
  // The saved file is the old one with two more tables and nothing else.
  const now = readFileSync(file, 'utf8');
  const without = now
    .replace(/\n\[\[lock\]\]\n(?:\w+ = .*\n)+/, '')
    .replace(/\n\[\[ban\]\]\ntarget = "[^"]*"\nside = "bottom"\n/, '');
  assert.equal(without, text);
  const plan = planOf(file, '--no-mechanics');
  assert.deepEqual(await probesOnPage(page), probesOf(plan));
  // The figures, the lists and the head are those of plan.json.
  assert.ok(
    (await page.locator('#head').innerText()).includes(plan.plan_id),
    'the plan id of the page and of the files',
  );
  const met = plan.nets.filter(entry => entry.wanted > 0 && entry.got >= entry.wanted).length;
  assert.equal(
    (await page.locator('#rest .num b').allInnerTexts())[0],
    `${met} / ${plan.nets.filter(entry => entry.wanted > 0).length}`,
  );
  assert.match(
    await page.getByRole('tab', { name: /^Probes/ }).innerText(),
    new RegExp(' ' + plan.probes.length + '$'),
  );
  // The page is the same after it is loaded again.
  await page.reload();
  await settled(page);
  assert.deepEqual(await probesOnPage(page), probesOf(plan));
  assert.ok(await page.locator('#do-save').isDisabled());
  await page.close();
  await stop(served);
});

test('keep-outs are drawn, moved by hand, changed by numbers and removed', async () => {
  const file = copyOfJob();
  const served = await serve([file, '--no-mechanics']);
  const page = await open(served.address);
  await settled(page);
  const before = await probesOnPage(page);
  await page.locator('#board').scrollIntoViewIfNeeded();
  const at = (...place) =>
    page.evaluate(([x, y]) => {
      const view = teaselPage.view;
      const spot = view.toScreen(x * 1000, y * 1000);
      const rect = view.canvas.getBoundingClientRect();
      return [rect.left + spot[0] / view.pixelRatio, rect.top + spot[1] / view.pixelRatio];
    }, place);
  const drag = async (from, to) => {
    await page.mouse.move(...(await at(...from)));
    await page.mouse.down();
    await page.mouse.move(...(await at((from[0] + to[0]) / 2, (from[1] + to[1]) / 2)));
    await page.mouse.move(...(await at(...to)));
    await page.mouse.up();
  };
  const probe = await page.evaluate(() => {
    const view = teaselPage.view;
    teaselPage.clear();
    view.all();
    const aimed = teaselPage.data.probes.find(candidate => candidate.side === view.side);
    return [aimed.x / 1000, aimed.y / 1000, teaselPage.data.targets[aimed.target].name];
  });
  await page.getByRole('button', { name: 'Draw a keep-out as a rectangle' }).click();
  await drag([probe[0] - 2, probe[1] - 2], [probe[0] + 2, probe[1] + 2]);
  await page.getByLabel('name', { exact: true }).fill('test sensor');
  await page.getByRole('combobox', { name: 'kind', exact: true }).selectOption('camera');
  await change(page, () => page.getByRole('button', { name: 'Add it' }).click());
  assert.ok((await page.evaluate(() => teaselLive.tookMs)) < 1500);
  assert.ok(!(await probesOnPage(page)).some(place => place.includes(`| ${probe[2]} |`)));
  assert.match(await page.locator('#lines pre').textContent(), /camera/);
  // The keep-out is picked on the board and dragged away.
  const blank = await page.evaluate(([x, y]) => {
    const view = teaselPage.view;
    for (const [dx, dy] of [
      [1.9, 0],
      [0, 1.9],
      [-1.9, 0],
      [0, -1.9],
    ]) {
      const spot = view.toScreen((x + dx) * 1000, (y + dy) * 1000);
      if (view.pick(...spot)?.kind === 'keep-out') return [x + dx, y + dy];
    }
    return null;
  }, probe);
  assert.ok(blank, 'no spot of the keep-out that is not a pad');
  // What is worked out later draws the pane anew.
  await settled(page);
  await page.mouse.click(...(await at(...blank)));
  assert.match(await page.locator('#about').innerText(), /^Keep-out test sensor/);
  await change(page, () => drag(blank, [blank[0], blank[1] - 500]));
  assert.deepEqual(await probesOnPage(page), before);
  assert.match(await page.locator('#about').innerText(), /^Keep-out test sensor/);
  // Numbers put it back over the pad; then it is removed.
  await settled(page);
  await page.evaluate(() => teaselPage.choose('keep-out', teaselPage.data.keep_outs.length - 1));
  await page
    .getByLabel('corners, x y in mm')
    .fill(`${probe[0] - 1} ${probe[1] - 1}; ${probe[0] + 1} ${probe[1] - 1}; ${probe[0]} ${probe[1] + 1}`);
  await change(page, () => page.getByRole('button', { name: 'Change it' }).click());
  assert.ok(!(await probesOnPage(page)).some(place => place.includes(`| ${probe[2]} |`)));
  await page.evaluate(() => teaselPage.choose('keep-out', teaselPage.data.keep_outs.length - 1));
  await change(page, () => page.getByRole('button', { name: 'Remove it' }).click());
  assert.deepEqual(await probesOnPage(page), before);
  // Escape ends drawing.
  await page.getByRole('button', { name: 'Draw it corner by corner' }).click();
  await page.mouse.click(...(await at(probe[0] - 3, probe[1] - 3)));
  await page.keyboard.press('Escape');
  assert.equal(await page.evaluate(() => teaselPage.view.tool), null);
  // Another one is drawn corner by corner. A click on its first corner ends it.
  await page.getByRole('button', { name: 'Draw it corner by corner' }).click();
  for (const [dx, dy] of [
    [-3, -3],
    [3, -3],
    [0, 3],
    [-3, -3],
  ])
    await page.mouse.click(...(await at(probe[0] + dx, probe[1] + dy)));
  assert.equal((await page.getByLabel('corners, x y in mm').inputValue()).split(';').length, 3);
  await page.close();
  await stop(served);
});

test('a part: its height, and whether it is fitted; an interface that must be usable', async () => {
  const file = copyOfJob();
  const served = await serve([file, '--no-mechanics']);
  const page = await open(served.address);
  await settled(page);
  const part = await page.evaluate(() => {
    const found = teaselPage.data.parts.find(candidate => candidate.fitted === 2 && candidate.targets.length > 2);
    teaselPage.choose('part', found.id);
    return found.name;
  });
  // A height that is none is not sent.
  const unchanged = await version(page);
  await page.getByLabel('height in mm').fill('-3');
  await page.getByRole('button', { name: 'Use this height' }).click();
  await sleep(300);
  assert.equal(await version(page), unchanged);
  assert.ok(await page.evaluate(() => !document.querySelector('.changes input[type=number]').validity.valid));
  await page.getByLabel('height in mm').fill('3.25');
  await change(page, () => page.getByRole('button', { name: 'Use this height' }).click());
  assert.match(await page.locator('#about').innerText(), /3\.25 mm high/);
  await change(page, () => page.getByLabel('not fitted').check());
  assert.match(await page.locator('#about').innerText(), /fitting\s+not fitted/);
  const text = await page.evaluate(() => JSON.stringify(teaselLive.state.lines));
  assert.match(text, /3\.25 mm/);
  assert.match(text, new RegExp(`not_fitted.*${part}`));
  await change(page, () => page.getByLabel('not fitted').uncheck());
  await page.locator('#whole summary').first().click();
  const ticks = page.locator('fieldset').filter({ hasText: 'interfaces that must be usable' }).locator('input');
  assert.ok((await ticks.count()) > 0);
  await change(page, () => ticks.first().check());
  assert.ok((await page.evaluate(() => teaselLive.job.interface)).some(entry => entry.mandatory));
  await page.close();
  await stop(served);
});

test('style, classes and a rule: planned anew; what cannot be kept is refused with its reason', async () => {
  const file = copyOfJob();
  const served = await serve([file, '--no-mechanics']);
  const page = await open(served.address);
  await settled(page);
  await page.locator('#whole > summary').click();
  await change(page, () => page.getByLabel('39 mil').click());
  await settled(page);
  assert.ok(!(await probesOnPage(page)).some(probe => probe.endsWith('| 39 mil')));
  await page.locator('#choices summary', { hasText: 'Rules' }).click();
  await page.getByLabel('Show only rules with').last().fill('board_edge least');
  await page.getByLabel('Show only rules with').last().fill('test_pad');
  const rule = page.getByLabel('cost kind test_pad');
  await rule.fill('9');
  await change(page, () => rule.press('Enter'));
  await settled(page);
  assert.match(await page.locator('#lines pre').textContent(), /cost\.kind\.test_pad = 9/);
  await change(page, () => page.getByLabel('style').selectOption('fixed-plate'));
  await settled(page);
  // A lock on a blocked pad is refused, and all stays as it was.
  const before = await probesOnPage(page);
  const versionBefore = await version(page);
  const answer = await page.evaluate(async () => {
    const blocked = teaselPage.data.targets.find(
      target => target.state === 'blocked' && target.net >= 0 && teaselPage.data.nets[target.net].wanted,
    );
    return teaselLive.ask('edit', {
      version: teaselLive.shown,
      edits: [
        { do: 'append', path: 'lock', value: { net: teaselPage.data.nets[blocked.net].name, target: blocked.name } },
      ],
    });
  });
  assert.equal(answer.status, 422);
  assert.match(answer.findings.join(), /lock-not-kept/);
  assert.equal(await version(page), versionBefore);
  await settled(page);
  assert.deepEqual(await probesOnPage(page), before);
  // A file that changed on disk is not written.
  writeFileSync(file, readFileSync(file, 'utf8') + '\n# by another hand\n');
  await page.click('#do-save');
  await until(
    page,
    () => !teaselLive.sending && /changed on disk/.test(document.getElementById('findings').textContent),
    'the refusal',
  );
  assert.match(readFileSync(file, 'utf8'), /by another hand\n$/);
  assert.doesNotMatch(readFileSync(file, 'utf8'), /test_pad/);
  page.on('dialog', dialog => dialog.accept());
  await change(page, () => page.click('#do-again'));
  await settled(page);
  assert.ok(await page.locator('#lines').isHidden());
  await page.close();
  await stop(served);
});

test('a link stays a link, rights stay as they are, a folder that cannot be written to says so', async () => {
  const file = copyOfJob();
  const link = file.replace('copy-', 'link-');
  symlinkSync(file, link);
  chmodSync(file, 0o640);
  const served = await serve([link]);
  const page = await open(served.address);
  await settled(page);
  await page.evaluate(() => teaselLive.send([{ do: 'append', path: 'ban', value: { target: 'R1-1' } }]));
  await page.click('#do-save');
  await until(page, () => !teaselLive.sending && !teaselLive.state.lines.length, 'saving');
  assert.match(readFileSync(file, 'utf8'), /R1-1/);
  // The page says about bending what the summary of the command says.
  await settled(page);
  const bent = execFileSync(teasel, ['plan', file, '-o', join(work, 'bent'), '-v'], {
    stdio: ['ignore', 'pipe', 'ignore'],
  })
    .toString()
    .split('\n')
    .find(line => /^bending/.test(line))
    .trim();
  assert.ok((await page.locator('#rest').textContent()).includes(bent), bent);
  assert.equal(statSync(file).mode & 0o777, 0o640);
  await page.close();
  await stop(served);
});

test('a folder: what was recognised is looked at, corrected and confirmed, then planned', async () => {
  const folder = mkdtempSync(join(work, 'first-'));
  const served = await serve([release, '-o', join(folder, 'new.toml'), '--no-mechanics'], folder);
  const page = await open(served.address);
  await page.waitForSelector('body[data-ready=first]');
  const cards = page.locator('.card');
  const layers = execFileSync('ls', [release])
    .toString()
    .split('\n')
    .filter(name => name.endsWith('.gbr')).length;
  assert.equal(await page.locator('.card img').count(), layers);
  for (const img of await page.locator('.card img').all()) {
    await img.scrollIntoViewIfNeeded();
    await img.evaluate(
      image =>
        image.complete ||
        new Promise(resolve => {
          image.onload = resolve;
          image.onerror = resolve;
        }),
    );
    assert.ok(await img.evaluate(image => image.naturalWidth > 0));
  }
  // The picture shows what the job says, and changes with it.
  const picture = page.locator('.understood img');
  const redrawn = async before => {
    for (let tries = 0; tries < 100 && (await picture.getAttribute('src')) === before; ++tries) await sleep(100);
    const now = await picture.getAttribute('src');
    assert.notEqual(now, before);
    return now;
  };
  let drawn = await picture.getAttribute('src');
  assert.ok(await picture.evaluate(image => image.decode().then(() => image.naturalWidth > 0)));
  const go = page.getByRole('button', { name: 'Write the job file and plan' });
  assert.ok(await go.isDisabled());
  // One correction is taken, and one is refused.
  const silk = cards.filter({ hasText: 'F_Silk' });
  await silk.locator('select').selectOption('ignore');
  drawn = await redrawn(drawn);
  await cards.filter({ hasText: 'board' }).first().getByLabel('name').fill('another name');
  await cards.filter({ hasText: 'board' }).first().getByLabel('name').press('Tab');
  await redrawn(drawn);
  assert.equal(
    (await post(served.address, 'edit', JSON.stringify({ path: 'inputs.netlist.file', value: '/etc/passwd' }))).status,
    403,
  );
  assert.equal((await get(served.address, new URL(served.address).pathname + 'layer/../../../etc/passwd')).status, 404);
  // What nothing is doubtful about is confirmed by groups; what is marked CHECK one by one.
  for (const all of await page.getByRole('button', { name: /^All of these are right/ }).all()) await all.click();
  for (const box of await page.locator('.card.check input[type=checkbox]').all()) assert.ok(!(await box.isChecked()));
  for (const box of await page.locator('.card input[type=checkbox]').all()) await box.check();
  assert.ok(!existsSync(join(folder, 'new.toml')));
  await go.click();
  await page.waitForSelector('#bar');
  await settled(page);
  const text = readFileSync(join(folder, 'new.toml'), 'utf8');
  assert.match(text, /F_Silk[^\n]*\n(#[^\n]*\n)*role = "ignore"/);
  assert.match(await page.locator('#head h1').innerText(), /another name/);
  assert.deepEqual(await probesOnPage(page), probesOf(planOf(join(folder, 'new.toml'), '--no-mechanics')));
  await page.close();
  await stop(served);
});

test('a job that cannot be planned says why, and is read again when it can', async () => {
  const file = copyOfJob();
  const good = readFileSync(file, 'utf8');
  writeFileSync(file, good.replace('[board]', '[bord]'));
  const served = await serve([file, '--no-mechanics']);
  const page = await open(served.address);
  await until(page, () => /unknown key/.test(document.getElementById('findings').textContent), 'the finding');
  assert.match(await page.locator('#findings').innerText(), /perhaps board/);
  writeFileSync(file, good);
  await page.click('#do-again');
  await settled(page);
  await page.close();
  await stop(served);
});

test('the accessibility checker finds nothing serious on the live pages (axe-core)', async () => {
  const served = await serve([copyOfJob(), '--no-mechanics']);
  const page = await open(served.address, { colorScheme: 'dark' });
  const folder = mkdtempSync(join(work, 'axe-'));
  const folderServed = await serve([release, '-o', join(folder, 'x.toml')], folder);
  const first = await open(folderServed.address);
  await settled(page);
  await page.locator('#whole > summary').click();
  await page.locator('#choices summary', { hasText: 'Rules' }).click();
  await page.evaluate(() => teaselPage.choose('net', teaselPage.data.nets.find(net => net.name === 'GND').id));
  await change(page, () =>
    page.evaluate(() => teaselLive.send([{ do: 'append', path: 'ban', value: { target: 'R1-1' } }])),
  );
  await page.getByRole('tab', { name: /^Nets/ }).click();
  await page.fill('#filter', 'SWD');
  await first.waitForSelector('body[data-ready=first]');
  for (const one of [page, first]) {
    await one.evaluate(axe);
    const found = await one.evaluate(() => axe.run(document, { resultTypes: ['violations'] }));
    assert.deepEqual(
      found.violations
        .filter(violation => ['serious', 'critical'].includes(violation.impact))
        .map(
          violation =>
            violation.id +
            ': ' +
            violation.nodes
              .slice(0, 3)
              .map(node => node.html.slice(0, 160))
              .join(' | '),
        ),
      [],
    );
    await one.close();
  }
  await stop(served);
  await stop(folderServed);
});

test(
  'a large board answers lock, ban and keep-out soon, and as planned afresh',
  { skip: large && existsSync(large) ? false : 'no large board' },
  async () => {
    const served = await serve([large, '--no-mechanics'], dirname(large));
    const page = await open(served.address);
    await until(
      page,
      () => document.body.dataset.ready === 'all' && ['settled', 'settling'].includes(document.body.dataset.live),
      'the first plan',
      150000,
    );
    const took = async edits => {
      await page.evaluate(list => teaselLive.send(list), edits);
      return page.evaluate(() => [teaselLive.tookMs, teaselLive.state.findings]);
    };
    const pad = await page.evaluate(() => {
      const probe = teaselPage.data.probes[40];
      const target = teaselPage.data.targets[probe.target];
      return [probe.net, target.name, probe.x / 1000, probe.y / 1000, target.side];
    });
    const mm = value => value.toFixed(3) + ' mm';
    const [net_, name, x, y, side] = pad;
    const list = [];
    for (const edits of [
      [{ do: 'append', path: 'lock', value: { net: net_, target: name } }],
      [
        {
          do: 'append',
          path: 'keep_out',
          value: { name: 'a', side, from: [mm(x + 3), mm(y + 3)], to: [mm(x + 12), mm(y + 12)] },
        },
      ],
      [{ do: 'set', path: 'keep_out[0].to', value: [mm(x + 16), mm(y + 14)] }],
      [{ do: 'remove', path: 'lock[0]' }],
      [{ do: 'append', path: 'ban', value: { target: name } }],
    ])
      list.push((await took(edits))[0]);
    console.log('# ms from click to answer: ' + list.map(value => value.toFixed(0)).join(', '));
    assert.ok(!(await probesOnPage(page)).some(probe => probe.includes(`| ${name} |`)));
    const reached = await page.evaluate(() => teaselLive.state.version);
    assert.equal(reached, 6);
    await page.close();
    await stop(served);
  },
);

test('no errors, warnings or foreign network on any of these pages', () => assert.deepEqual(problems, []));
