// What the tests of the live page share. TEASEL: the program; JOB: a copy of the demo's job that may be changed; RELEASE: a
// folder of release files; LARGE_JOB: a large board's job, if any.
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
export const browser = await chromium.launch({ executablePath: process.env.CHROMIUM || '/usr/bin/chromium', args: ['--no-sandbox'] });
export const problems = [];
const running = [];
after(async () => { running.forEach(p => p.kill('SIGKILL')); await browser.close(); rmSync(work, { recursive: true, force: true }); });

export function serve(args, cwd = dirname(job)) {
  const p = spawn(teasel, ['view', ...args, '--json'], { cwd, stdio: ['ignore', 'pipe', 'inherit'] });
  running.push(p);
  return new Promise((good, bad) => { let text = ''; p.stdout.on('data', d => { text += d; if (text.includes('\n')) good({ p, address: JSON.parse(text).address }); }); p.on('exit', c => bad(new Error('ended with ' + c))); });
}
export const stop = s => new Promise(r => { s.p.removeAllListeners('exit'); s.p.on('exit', r); s.p.kill('SIGINT'); });
export const sleep = ms => new Promise(r => setTimeout(r, ms));
/** The page forbids evaluation, so that waiting is done from outside. */
export async function until(page, f, what, ms = 60000) {
  for (const end = Date.now() + ms; Date.now() < end; await sleep(40)) if (await page.evaluate(f)) return;
  assert.fail('waited in vain for ' + what + ': ' + await page.evaluate(() => document.body.dataset.live + ', ' + document.getElementById('saying')?.textContent + document.getElementById('findings')?.textContent));
}
export const settled = page => until(page, () => document.body.dataset.live === 'settled' && teaselLive.shownSettled && teaselLive.shown === teaselLive.state.version && teaselPage.lists, 'everything to be worked out');
export async function open(address, options = {}) {
  const page = await browser.newPage({ viewport: { width: 1400, height: 1000 }, ...options });
  page.on('console', m => { if ((m.type() === 'error' || m.type() === 'warning') && !/status of 4(09|22)/.test(m.text())) problems.push(m.text()); });
  page.on('pageerror', e => problems.push(String(e.stack)));
  page.on('request', r => { if (!r.url().startsWith(new URL(address).origin) && !/^(data|blob):/.test(r.url())) problems.push('network: ' + r.url()); });
  await page.goto(address);
  return page;
}
export const copyOfJob = () => { const f = join(dirname(job), 'copy-' + Math.random().toString(36).slice(2) + '.toml'); copyFileSync(job, f); return f; };
export const version = page => page.evaluate(() => teaselLive.state.version);
export async function change(page, f) {
  const before = await version(page);
  await f();
  await until(page, `!teaselLive.sending && teaselLive.state.version > ${before} && teaselLive.shown === teaselLive.state.version`, 'the change');
}
export const planOf = (file, ...more) => { const out = mkdtempSync(join(work, 'plan-')); try { execFileSync(teasel, ['plan', file, '-o', out, '-q', ...more]); } catch (e) { if (e.status !== 2) throw e; } return JSON.parse(readFileSync(join(out, 'plan.json'), 'utf8')); };
export const probesOnPage = page => page.evaluate(() => teaselPage.d.probes.map(p => [p.net, teaselPage.d.targets[p.target].name, p.side, teaselPage.d.classes[p.cls].name].join(' | ')).sort());
export const probesOf = plan => plan.probes.map(p => [p.net, p.target, p.side, p.class].join(' | ')).sort();

/** One request as bytes; what comes back until the server ends the connection. */
export function raw(address, text, { drip = 0, ms = 20000 } = {}) {
  const { port } = new URL(address);
  return new Promise(good => {
    const began = Date.now();
    let got = '';
    const c = net.connect(Number(port), '127.0.0.1', async () => {
      c.setNoDelay(true);
      if (!drip) { c.write(text); return; }
      for (const ch of text) { if (c.destroyed) return; c.write(ch); await sleep(drip); }
    });
    c.on('data', d => { got += d; });
    c.on('error', () => {});
    const end = () => { clearTimeout(timer); c.destroy(); good({ got, ms: Date.now() - began, status: Number((/^HTTP\/1\.1 (\d+)/.exec(got) || [])[1] || 0) }); };
    c.on('end', end); c.on('close', end);
    const timer = setTimeout(end, ms);
  });
}
export const post = (address, path, body, heads = {}) => {
  const u = new URL(address), all = { Host: u.host, Origin: u.origin, 'Content-Type': 'application/json', 'Content-Length': Buffer.byteLength(body), ...heads };
  return raw(address, `POST ${u.pathname}${path} HTTP/1.1\r\n` + Object.entries(all).filter(([, v]) => v !== null).map(([k, v]) => `${k}: ${v}\r\n`).join('') + '\r\n' + body);
};
export const get = (address, path, heads = {}) => { const u = new URL(address); return raw(address, `GET ${path} HTTP/1.1\r\n` + Object.entries({ Host: u.host, ...heads }).filter(([, v]) => v !== null).map(([k, v]) => `${k}: ${v}\r\n`).join('') + '\r\n'); };
