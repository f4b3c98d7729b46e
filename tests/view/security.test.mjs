// Who gets nothing from the live page: by bare bytes on its port. The checks of Host and Origin follow what browsers
// send by the Fetch standard (fetch.spec.whatwg.org); status codes are those of RFC 9110 and RFC 6585.
import assert from 'node:assert/strict';
import { existsSync, readFileSync, statSync } from 'node:fs';
import { connect } from 'node:net';
import { test } from 'node:test';
import { copyOfJob, get, job, post, raw, serve, sleep, stop } from './live_page.mjs';

test('who lacks the secret, comes from another page, or sends too much or too slowly, gets nothing', async () => {
  const file = copyOfJob();
  const served = await serve([file, '--no-mechanics']);
  const address = served.address;
  const url = new URL(address);
  for (
    let i = 0;
    i < 200 && JSON.parse((await get(address, url.pathname + 'state')).got.split('\r\n\r\n')[1]).busy;
    i++
  )
    await sleep(100);
  assert.equal((await get(address, url.pathname)).status, 200);
  assert.match((await get(address, url.pathname)).got, /frame-ancestors 'none'[\s\S]*no-referrer/);
  // Who does not know the secret gets nothing.
  assert.match(url.pathname, /^\/[\w-]{24}\/$/);
  for (const path of [
    '/',
    '/state',
    '/' + 'A'.repeat(24) + '/state',
    url.pathname.slice(0, -2) + '/state',
    '//state',
    url.pathname.toLowerCase() + 'state',
  ])
    assert.equal((await get(address, path)).status, 404, path);
  // No path leads out of what the page offers.
  for (const path of [
    '../buoy-node.toml',
    '..%2f..%2fetc%2fpasswd',
    '../../../../etc/passwd',
    'layer/0',
    'page/../state',
    './state',
    '%73tate',
    'state/',
  ])
    assert.equal((await get(address, url.pathname + path)).status, 404, path);
  // A foreign Host is a name that an attacker's server answers for (DNS rebinding). A foreign Origin is another page in
  // the same browser.
  for (const host of ['evil.example', 'evil.example:' + url.port, '127.0.0.1', '127.0.0.1:1', null])
    assert.ok([400, 421].includes((await get(address, url.pathname + 'state', { Host: host })).status), host);
  assert.equal((await get(address, url.pathname + 'state', { Host: 'localhost:' + url.port })).status, 200);
  for (const origin of ['http://evil.example', 'null', 'http://127.0.0.1:1', 'https://' + url.host]) {
    assert.equal((await get(address, url.pathname + 'state', { Origin: origin })).status, 403, origin);
    assert.equal((await post(address, 'undo', '{}', { Origin: origin })).status, 403, origin);
  }
  assert.equal((await post(address, 'undo', '{}', { Origin: null })).status, 403);
  assert.equal((await post(address, 'undo', '{}', { 'Sec-Fetch-Site': 'cross-site' })).status, 403);
  assert.equal((await post(address, 'undo', '{}', { 'Content-Type': 'text/plain' })).status, 415);
  assert.equal((await get(address, url.pathname + 'state', { Host: url.host + '\r\nHost: ' + url.host })).status, 400);
  // What is not HTTP, is too much, or uses another method is refused.
  assert.equal((await raw(address, 'nonsense\r\n\r\n')).status, 400);
  assert.equal((await raw(address, `DELETE ${url.pathname} HTTP/1.1\r\nHost: ${url.host}\r\n\r\n`)).status, 405);
  assert.equal((await get(address, url.pathname + 'x'.repeat(60000))).status, 431);
  assert.equal((await post(address, 'edit', '{}', { 'Content-Length': 100_000_000 })).status, 413);
  assert.equal(
    (
      await raw(
        address,
        `POST ${url.pathname}edit HTTP/1.1\r\nHost: ${url.host}\r\nOrigin: ${url.origin}\r\n` +
          'Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n' +
          ('10000\r\n' + 'x'.repeat(0x10000) + '\r\n').repeat(1600),
      )
    ).status,
    413,
  );
  const memory = () => Number(/VmRSS:\s+(\d+)/.exec(readFileSync(`/proc/${served.child.pid}/status`, 'utf8'))[1]);
  assert.ok(memory() < 900_000, `${memory()} kB`);
  // Edits that reach beyond the plan are refused.
  const version = JSON.parse((await get(address, url.pathname + 'state')).got.split('\r\n\r\n')[1]).version;
  const edit = (path, value, what = 'set') =>
    post(address, 'edit', JSON.stringify({ version, edits: [{ do: what, path, value }] }));
  for (const [path, value] of [
    ['inputs.netlist.file', '/etc/passwd'],
    ['inputs.netlist', { file: '/etc/passwd' }],
    ['fixture.rules', '../../../../etc/passwd'],
    ['fixture.style', '/etc/passwd'],
    ['fixture', { rules: '/etc/passwd' }],
    ['fixture.catalogue', ['x']],
    ['schema', 7],
    ['board.name', 'x'],
    ['plan.time_limit_s', 86400],
    ['locks', []],
    ['', 1],
  ])
    assert.equal((await edit(path, value)).status, 403, path);
  assert.equal((await edit('lock', null, 'append')).status, 403);
  assert.equal((await edit('fixture.style', 'no-such-style')).status, 202);
  await sleep(300);
  const after = JSON.parse((await get(address, url.pathname + 'state')).got.split('\r\n\r\n')[1]);
  assert.ok(after.findings.length === 1 && after.lines.length === 0 && after.planned, JSON.stringify(after.findings));
  for (const body of [
    '',
    '[]',
    '{',
    'null',
    '{"version":1}',
    '{"version":' + after.version + ',"edits":[]}',
    '{"version":' + after.version + ',"edits":[1]}',
    '{"version":' + after.version + ',"edits":"x"}',
    '['.repeat(100000),
  ]) {
    const answer = await post(address, 'edit', body);
    assert.ok([400, 403, 409].includes(answer.status), body.slice(0, 40) + ' ' + answer.status);
  }
  assert.equal(
    (
      await post(
        address,
        'edit',
        JSON.stringify({ version: after.version + 5, edits: [{ do: 'append', path: 'ban', value: { target: 'X' } }] }),
      )
    ).status,
    409,
  );
  assert.equal(readFileSync(file, 'utf8'), readFileSync(job, 'utf8'));
  // Slow clients side by side are each cut off in time, and others are served meanwhile.
  const slow = Array.from({ length: 20 }, () =>
    raw(address, `GET ${url.pathname}state HTTP/1.1\r\nHost: ${url.host}\r\nX: ${'y'.repeat(400)}\r\n\r\n`, {
      drip: 100,
    }),
  );
  await sleep(500);
  assert.equal((await get(address, url.pathname + 'state')).status, 200);
  for (const answer of await Promise.all(slow))
    assert.ok(answer.ms < 14000 && answer.status === 0, `${answer.ms} ms, ${answer.status}`);
  // When more connect than it takes at once, they wait, and the server lives.
  const many = await Promise.all(Array.from({ length: 150 }, () => get(address, url.pathname + 'state')));
  assert.ok(many.filter(answer => answer.status === 200).length > 100);
  assert.equal((await get(address, url.pathname + 'state')).status, 200);
  // It listens on the loopback interface alone.
  const listening = readFileSync('/proc/net/tcp', 'utf8')
    .split('\n')
    .filter(
      line =>
        line
          .trim()
          .split(/\s+/)[1]
          ?.endsWith(':' + Number(url.port).toString(16).toUpperCase().padStart(4, '0')) &&
        line.trim().split(/\s+/)[3] === '0A',
    );
  assert.equal(listening.length, 1);
  assert.ok(listening[0].includes('0100007F:'));
  await stop(served);
});

const stateOf = async address => {
  const url = new URL(address);
  return JSON.parse((await get(address, url.pathname + 'state')).got.split('\r\n\r\n')[1]);
};
const idle = async address => {
  for (let i = 0; i < 600; i++) {
    const state = await stateOf(address);
    if (!state.busy) return state;
    await sleep(100);
  }
  return assert.fail('it works for ever');
};
const send = async (address, edits) => {
  const { version } = await idle(address);
  return post(address, 'edit', JSON.stringify({ version, edits }));
};

test('a hundred silent connections that always come back do not keep the page from its own (constructed)', async () => {
  const served = await serve([copyOfJob(), '--no-mechanics']);
  const url = new URL(served.address);
  let attacking = true;
  const open = () => {
    if (!attacking) return;
    const socket = connect({ host: url.hostname, port: Number(url.port) });
    socket.on('error', () => socket.destroy());
    socket.on('close', () => setTimeout(open));
    sockets.add(socket);
    socket.on('close', () => sockets.delete(socket));
  };
  const sockets = new Set();
  for (let i = 0; i < 100; i++) open();
  await sleep(500);
  try {
    for (let i = 0; i < 3; i++) assert.equal((await get(served.address, url.pathname)).status, 200);
  } finally {
    attacking = false;
    for (const socket of sockets) socket.destroy();
    await stop(served);
  }
});

test("the policy runs the program's own script alone, which comes from the same address (CSP Level 3)", async () => {
  const served = await serve([copyOfJob(), '--no-mechanics']);
  const url = new URL(served.address);
  const shell = (await get(served.address, url.pathname)).got;
  const policy = /Content-Security-Policy: (.*)\r/.exec(shell)[1];
  assert.match(policy, /default-src 'none'; script-src 'self';/);
  assert.doesNotMatch(shell.split('\r\n\r\n')[1], /<script(?![^>]* src=live\.js>)|\son\w+=/);
  const script = await get(served.address, url.pathname + 'live.js');
  assert.equal(script.status, 200);
  assert.match(script.got, /Content-Type: text\/javascript/);
  assert.equal((await get(served.address, '/live.js')).status, 404);
  await stop(served);
});

test('edits made to break the program are refused, and it lives (constructed faults)', async () => {
  const served = await serve([copyOfJob(), '--no-mechanics']);
  const { address } = served;
  const classes = { do: 'set', path: 'fixture.classes', value: ['100 mil', '75 mil'] };
  assert.equal((await send(address, [classes])).status, 202);
  const before = await idle(address);
  assert.equal(before.lines.length, 1);
  assert.equal((await send(address, [{ do: 'insert', path: 'fixture.classes[0]', value: { size: 1 } }])).status, 422);
  const nested = depth => '['.repeat(depth) + ']'.repeat(depth);
  for (const value of [nested(20000), '{"a":'.repeat(20000) + '1' + '}'.repeat(20000)]) {
    const body = `{"version":${before.version},"edits":[{"do":"set","path":"keep_out","value":${value}}]}`;
    assert.equal((await post(address, 'edit', body)).status, 403);
  }
  assert.equal((await send(address, [{ do: 'set', path: 'need' + '.a'.repeat(20000), value: 1 }])).status, 403);
  for (const path of [
    'inputs.netlist."file"',
    '"inputs".netlist.file',
    'fixture."kit"',
    'fixture.kit',
    '"fixture"."prices"',
  ])
    assert.equal((await send(address, [{ do: 'set', path, value: '/etc/hostname' }])).status, 403, path);
  // Thousands of points, each line across most others.
  const star = Array.from({ length: 5001 }, (empty, i) => {
    const angle = (2 * Math.PI * ((i * 2500) % 5001)) / 5001;
    return [`${(50 + 40 * Math.cos(angle)).toFixed(3)} mm`, `${(35 + 30 * Math.sin(angle)).toFixed(3)} mm`];
  });
  for (const polygon of [star, star.slice(0, 1999)]) {
    const began = Date.now();
    const answer = await send(address, [{ do: 'append', path: 'keep_out', value: { side: 'top', polygon } }]);
    assert.equal(answer.status, 422, answer.got);
    assert.ok(Date.now() - began < 3000, `${Date.now() - began} ms`);
  }
  const after = await idle(address);
  assert.deepEqual(after.lines, before.lines);
  await stop(served);
});

test('what was not saved outlives the program, and is taken up by the next (kill -9)', async () => {
  const file = copyOfJob();
  const beside = file + '.unsaved';
  const first = await serve([file, '--no-mechanics']);
  assert.equal((await send(first.address, [{ do: 'append', path: 'ban', value: { target: 'TP1' } }])).status, 200);
  const { lines } = await idle(first.address);
  assert.ok(lines.length > 0 && existsSync(beside));
  assert.equal(statSync(beside).mode & 0o777, statSync(file).mode & 0o777);
  first.child.removeAllListeners('exit');
  first.child.kill('SIGKILL');
  await sleep(200);
  const second = await serve([file, '--no-mechanics']);
  const taken = await idle(second.address);
  assert.deepEqual(taken.lines, lines);
  const said = JSON.stringify(taken.findings);
  assert.ok(taken.can_undo && said.includes('taken up again'), said);
  assert.equal((await post(second.address, 'undo', '{}')).status, 200);
  assert.equal((await idle(second.address)).lines.length, 0);
  assert.ok(!existsSync(beside));
  assert.equal((await post(second.address, 'redo', '{}')).status, 200);
  assert.ok(existsSync(beside));
  assert.equal((await post(second.address, 'save', '{}')).status, 200);
  assert.ok(!existsSync(beside));
  assert.match(readFileSync(file, 'utf8'), /target = "TP1"/);
  await stop(second);
});
