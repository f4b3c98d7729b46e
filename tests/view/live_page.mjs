// What the tests of the live page share. TEASEL: the program; JOB: a copy of the demo's job that may be changed;
// RELEASE: a folder of release files; LARGE_JOB: a large board's job, if any.
import assert from 'node:assert/strict';
import { execFileSync, spawn } from 'node:child_process';
import { copyFileSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import net from 'node:net';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { after } from 'node:test';
import { createRequire } from 'node:module';
import { chromium } from 'playwright-core';

export const { TEASEL: teasel, JOB: job, RELEASE: release, LARGE_JOB: large } = process.env;
export const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
export const work = mkdtempSync(join(tmpdir(), 'teasel-live-'));
export const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM || '/usr/bin/chromium',
  args: ['--no-sandbox'],
});
export const problems = [];
const running = [];
after(async () => {
  running.forEach(child => child.kill('SIGKILL'));
  await browser.close();
  rmSync(work, { recursive: true, force: true });
});

export function serve(args, cwd = dirname(job)) {
  const child = spawn(teasel, ['view', ...args, '--json'], { cwd, stdio: ['ignore', 'pipe', 'inherit'] });
  running.push(child);
  return new Promise((good, bad) => {
    let text = '';
    child.stdout.on('data', data => {
      text += data;
      if (text.includes('\n')) good({ child, address: JSON.parse(text).address });
    });
    child.on('exit', code => bad(new Error('ended with ' + code)));
  });
}
export const stop = served =>
  new Promise(resolve => {
    served.child.removeAllListeners('exit');
    served.child.on('exit', resolve);
    served.child.kill('SIGINT');
  });
export const sleep = ms => new Promise(resolve => setTimeout(resolve, ms));
/** The page forbids evaluation, so that waiting is done from outside. */
export async function until(page, condition, what, ms = 60000) {
  for (const end = Date.now() + ms; Date.now() < end; await sleep(40)) if (await page.evaluate(condition)) return;
  assert.fail(
    'waited in vain for ' +
      what +
      ': ' +
      (await page.evaluate(
        () =>
          document.body.dataset.live +
          ', ' +
          document.getElementById('saying')?.textContent +
          document.getElementById('findings')?.textContent,
      )),
  );
}
export const settled = page =>
  until(
    page,
    () =>
      document.body.dataset.live === 'settled' &&
      teaselLive.shownSettled &&
      teaselLive.shown === teaselLive.state.version &&
      teaselPage.lists,
    'everything to be worked out',
  );
export async function open(address, options = {}) {
  const page = await browser.newPage({ viewport: { width: 1400, height: 1000 }, ...options });
  page.on('console', message => {
    if ((message.type() === 'error' || message.type() === 'warning') && !/status of 4(09|22)/.test(message.text()))
      problems.push(message.text());
  });
  page.on('pageerror', error => problems.push(String(error.stack)));
  page.on('request', request => {
    if (!request.url().startsWith(new URL(address).origin) && !/^(data|blob):/.test(request.url()))
      problems.push('network: ' + request.url());
  });
  await page.goto(address);
  return page;
}
export const copyOfJob = () => {
  const file = join(dirname(job), 'copy-' + Math.random().toString(36).slice(2) + '.toml');
  copyFileSync(job, file);
  return file;
};
export const version = page => page.evaluate(() => teaselLive.state.version);
export async function change(page, action) {
  const before = await version(page);
  await action();
  await until(
    page,
    `!teaselLive.sending && teaselLive.state.version > ${before} && teaselLive.shown === teaselLive.state.version`,
    'the change',
  );
  // A change that costs nets or turns the board over asks whether it stays.
  const keep = page.locator('#question').getByRole('button', { name: 'Keep it' });
  if (await keep.count()) await keep.click();
}
export const planOf = (file, ...more) => {
  const out = mkdtempSync(join(work, 'plan-'));
  try {
    execFileSync(teasel, ['plan', file, '-o', out, '-q', ...more]);
  } catch (error) {
    if (error.status !== 2) throw error;
  }
  return JSON.parse(readFileSync(join(out, 'plan.json'), 'utf8'));
};
export const probesOnPage = page =>
  page.evaluate(() =>
    teaselPage.data.probes
      .map(probe =>
        [
          probe.net,
          teaselPage.data.targets[probe.target].name,
          probe.side,
          teaselPage.data.classes[probe.cls].name,
        ].join(' | '),
      )
      .sort(),
  );
export const probesOf = plan =>
  plan.probes.map(probe => [probe.net, probe.target, probe.side, probe.class].join(' | ')).sort();

/** Sends one request as bytes, and gives what comes back until the server ends the connection. */
export function raw(address, text, { drip = 0, ms = 20000 } = {}) {
  const { port } = new URL(address);
  return new Promise(good => {
    const began = Date.now();
    let got = '';
    const socket = net.connect(Number(port), '127.0.0.1', async () => {
      socket.setNoDelay(true);
      if (!drip) {
        socket.write(text);
        return;
      }
      for (const ch of text) {
        if (socket.destroyed) return;
        socket.write(ch);
        await sleep(drip);
      }
    });
    socket.on('data', data => {
      got += data;
    });
    socket.on('error', () => {});
    const end = () => {
      clearTimeout(timer);
      socket.destroy();
      good({ got, ms: Date.now() - began, status: Number((/^HTTP\/1\.1 (\d+)/.exec(got) || [])[1] || 0) });
    };
    socket.on('end', end);
    socket.on('close', end);
    const timer = setTimeout(end, ms);
  });
}
export const post = (address, path, body, heads = {}) => {
  const url = new URL(address);
  const all = {
    Host: url.host,
    Origin: url.origin,
    'Content-Type': 'application/json',
    'Content-Length': Buffer.byteLength(body),
    ...heads,
  };
  return raw(
    address,
    `POST ${url.pathname}${path} HTTP/1.1\r\n` +
      Object.entries(all)
        .filter(([, value]) => value !== null)
        .map(([head, value]) => `${head}: ${value}\r\n`)
        .join('') +
      '\r\n' +
      body,
  );
};
export const get = (address, path, heads = {}) => {
  const url = new URL(address);
  return raw(
    address,
    `GET ${path} HTTP/1.1\r\n` +
      Object.entries({ Host: url.host, ...heads })
        .filter(([, value]) => value !== null)
        .map(([head, value]) => `${head}: ${value}\r\n`)
        .join('') +
      '\r\n',
  );
};
