// Hand-out in a browser: keys counted, decisions, the stick, the start check and the first layer, a server that is killed. SPDX-License-Identifier: Apache-2.0
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { axe, begin, end, everyLook, is, noSideways, says, shot, test } from './kit.mjs';
import { shopWithSticks, tube } from './hand_kit.mjs';

let stick;
const job = tube(), hot = tube({ nozzle: 262 }), slips = {};
const house = await begin({ seed(h) {
  stick = shopWithSticks(h).a1;
  for (const m of ['m1', 'm2']) h.by('keeper', 'permit', 'grant', m, 'starter');
  h.by('keeper', 'member', 'enrol', 'm3', '--name', 'Ada Example');
  h.by('keeper', 'permit', 'grant', 'm3', 'starter');
  h.by('keeper', 'term', 'open', 'autumn-2026', '--allowance', '120');
  h.by('keeper', 'spool', 'add', 'p1', '--material', 'petg', '--net', '900');
  h.by('keeper', 'machine', 'fit', 'Alder', '--spool', 'p1');
  for (const [s, m] of [['A1', 'Alder'], ['B1', 'Birch']]) h.by('keeper', 'stick', 'add', s, m);
} });

/** As at the kiosk: sent, proved; the slip's code. */
async function proveIt(text, name) {
  const kept = await (await fetch(`${house.url}/api/1/files`, { method: 'POST', headers: { 'Content-Type': 'application/octet-stream', 'X-Proveout-Name': name }, body: text })).json();
  for (let at = await (await fetch(`${house.url}/api/1/proofs`, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ file: kept.file }) })).json(); ;) {
    if (at.state === 'done' && at.slip) return at.slip;
    if (at.state === 'failed') throw new Error(at.says);
    at = await (await fetch(`${house.url}/api/1/proofs/${at.proof}?wait=2`)).json();
  }
}
slips.job = await proveIt(job, 'tube.gcode');
slips.hot = await proveIt(hot, 'hot.gcode');
const runs = () => JSON.parse(house.run('run', 'list', '--json')).runs;
const free = (run, ...more) => { house.by('d1', 'run', 'ended', run); house.by('d1', 'run', 'off', run, '--to', 'member'); house.by('d1', 'run', 'take-back', run, '--good', ...more); };
/** Counts what a hand presses; a scanner types by itself, and its Enter is its own. */
function hands(page) {
  let n = 0;
  return { press: async (key) => { n++; await page.keyboard.press(key); }, scan: async (code) => { await page.keyboard.type(code); await page.keyboard.press('Enter'); }, get n() { return n; } };
}

await test('a proved job goes out with one key after two scans', async () => {
  mkdirSync(join(stick, 'old'));
  writeFileSync(join(stick, 'old', 'plate.gcode'), tube({ height: 4 }));
  const page = await house.open('/out', { as: 'desk' }), hand = hands(page), began = Date.now();
  await page.waitForFunction(() => document.activeElement?.tagName === 'INPUT' || document.querySelector('.page-out input'));
  await page.locator('.page-out input').first().focus();
  await hand.scan('m1');
  await page.waitForFunction(() => document.activeElement?.closest('section')?.querySelector('h2')?.textContent === 'Job');
  await hand.scan(slips.job.toLowerCase());
  await page.getByRole('heading', { name: 'Alder goes out' }).waitFor();
  await page.waitForFunction(() => document.activeElement?.getAttribute('type') === 'submit');
  says(await page.locator('.chosen-machine').innerText(), 'Clear', 'Spool p1', 'Stick A1', '1.17');
  await page.getByText('1 file is on this stick').waitFor();
  await shot(page, 'ready');
  await axe(page, 'ready');
  // the stick shows as an ordinary folder here: that it is meant is said once, by hand
  await page.getByLabel(/though no stick is mounted/).focus();
  await hand.press('Space');
  await page.locator('.chosen-machine button[type=submit]').focus();
  await hand.press('Enter');
  await page.getByRole('heading', { name: /Alder is out with member m1/ }).waitFor();
  is(hand.n <= 5, true, `keys pressed: ${hand.n}`);
  is(Date.now() - began < 15000, true, 'quicker than 15 s');
  says(await page.locator('.booked').innerText(), 'tube.gcode is on stick A1', 'read back');
  is(readFileSync(join(stick, 'tube.gcode'), 'utf8') === job, true, 'what is on the stick');
  is(readdirSync(stick).sort().join(), 'old,tube.gcode', 'the stick');
  is(runs().length, 1, 'runs');
  await axe(page, 'start check');
  await shot(page, 'start-check', true);
});

await test('start check and first layer, by keys; undo', async () => {
  const run = runs()[0].run, page = await house.open(`/out?start=${run}`, { as: 'desk' });
  const start = page.getByRole('button', { name: /^Start: the watch/ });
  await start.waitFor();
  is(await start.isDisabled(), true, 'before the points were seen');
  await page.keyboard.press('a');
  await start.focus();
  await page.keyboard.press('Enter');
  await page.getByRole('heading', { name: 'Watch: the first layer' }).waitFor();
  is(await page.locator('svg.layer').count(), 14, 'drawings');
  const labels = await page.locator('svg.layer').evaluateAll((l) => l.map((s) => s.getAttribute('aria-label')));
  is(new Set(labels).size, 14, 'each says what it shows');
  await axe(page, 'watch');
  await shot(page, 'layers', true);
  await page.getByRole('button', { name: /A corner lifts/ }).press('Enter');
  await page.getByRole('button', { name: 'The first layer is poor; it goes on' }).press('Enter');
  await page.getByText('At 11:00 the first layer was judged poor.').waitFor();
  const was = JSON.parse(house.run('run', 'show', run, '--json'));
  is(was.first_layer, 'poor', 'booked');
  await page.keyboard.press('u');
  await page.getByRole('heading', { name: 'Watch: the first layer' }).waitFor();
  await page.getByText('Send it as a message too').press('Enter');
  await page.getByRole('button', { name: 'Put it into the outbox' }).press('Enter');
  await page.getByRole('status').getByText('The message waits').first().waitFor();
  says(house.run('outbox', 'list'), 'm1');
  free(run);
});

await test('what must be decided is asked, with a reason', async () => {
  const page = await house.open('/out?member=m3', { as: 'desk' }), hand = hands(page);
  await page.getByRole('heading', { name: 'Job' }).waitFor();
  await page.waitForFunction(() => document.activeElement?.tagName === 'INPUT');
  await hand.scan('WRONG-ONE');
  await page.getByText(/no code of a slip/).waitFor();
  await hand.scan(slips.hot);
  await page.getByRole('heading', { name: 'Decide' }).waitFor();
  const button = page.locator('.chosen-machine button[type=submit]');
  is(await button.isDisabled(), true, 'without a reason');
  await page.waitForFunction(() => document.activeElement?.closest('.decide'));
  await page.keyboard.type('tried it yesterday');
  await axe(page, 'ask');
  await shot(page, 'ask', true);
  await button.press('Enter');
  await page.getByText(/ordinary folder/).waitFor(); // refused at the stick: nothing is booked
  await axe(page, 'refused');
  is(runs().length, 1, 'runs after a refusal');
  await page.getByLabel('Goes along unwritten').check();
  await button.press('Enter');
  await page.getByRole('heading', { name: /Alder is out with member m3/ }).waitFor();
  const run = JSON.parse(house.run('run', 'show', runs()[0].run, '--json'));
  is(`${run.verdict} ${run.leave}`, 'ask tried it yesterday', 'booked');
  free(run.run);
});

await test('a member by name, a file that is chosen, another machine', async () => {
  const page = await house.open('/out', { as: 'desk' });
  await page.locator('.page-out input').first().fill('nobody of that name');
  await page.keyboard.press('Enter');
  await page.getByText(/Nobody in the book/).waitFor();
  await page.locator('.page-out input').first().fill('Ada');
  await page.keyboard.press('Enter');
  await page.getByText('m3 Ada Example').waitFor();
  await page.getByLabel('Choose a file').last().setInputFiles({ name: 'part.stl', mimeType: 'model/stl', buffer: Buffer.from(`solid s\n${'facet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 9 0 0\nvertex 0 9 0\nendloop\nendfacet\n'.repeat(4)}endsolid s\n`) });
  await page.getByText(/is no job/).waitFor();
  await page.getByLabel('Choose a file').last().setInputFiles({ name: 'mine.gcode', mimeType: 'text/plain', buffer: Buffer.from(tube({ size: 24 })) });
  await page.getByRole('heading', { name: 'Alder goes out' }).waitFor();
  await page.getByRole('button', { name: /^Birch/ }).press('Enter');
  await page.getByRole('heading', { name: 'Birch goes out' }).waitFor();
  says(await page.locator('.offers').innerText(), 'Not now:', 'does not hold the permission two-material', 'permission large-format');
  await noSideways(page);
});

await test('killed in the midst: what the page says after, and nothing twice', async () => {
  const page = await house.open('/out?member=m1', { as: 'desk' });
  await page.waitForFunction(() => document.activeElement?.tagName === 'INPUT');
  await page.keyboard.type(slips.job);
  await page.keyboard.press('Enter');
  await page.getByRole('heading', { name: 'Alder goes out' }).waitFor();
  await page.getByLabel('Goes along unwritten').check();
  const before = runs().length;
  // the server books and dies before its answer is here
  await page.route('**/api/1/hand-out/confirm', async (route) => {
    await route.fetch().catch(() => {});
    await house.stop('SIGKILL');
    await route.abort('connectionreset');
  }, { times: 1 });
  await page.locator('.chosen-machine button[type=submit]').press('Enter');
  await page.getByRole('heading', { name: 'Was it booked?' }).waitFor();
  await axe(page, 'unknown');
  await shot(page, 'killed');
  await page.reload().catch(() => {}); // it is known even to a page that is loaded anew
  await house.start();
  const { cookie } = await house.signIn('d1');
  await page.context().addCookies([{ name: cookie.split('=')[0], value: cookie.split('=')[1], url: house.url, httpOnly: true, sameSite: 'Strict' }]);
  await page.goto('/out');
  await page.getByRole('heading', { name: /Alder is out with member m1/ }).waitFor();
  is(runs().length, before + 1, 'runs');
  await shot(page, 'after-kill');
  free(runs()[0].run);
  // and one that never reached the server
  const other = await house.open('/out?member=m1', { as: 'desk' });
  await other.waitForFunction(() => document.activeElement?.tagName === 'INPUT');
  await other.keyboard.type(slips.job);
  await other.keyboard.press('Enter');
  await other.getByRole('heading', { name: 'Alder goes out' }).waitFor();
  await other.getByLabel('Goes along unwritten').check();
  await other.route('**/api/1/hand-out/confirm', (route) => route.abort('connectionreset'), { times: 1 });
  await other.locator('.chosen-machine button[type=submit]').press('Enter');
  await other.getByText('Nothing was booked: confirm again.').waitFor();
  is(runs().length, before + 1, 'runs');
});

await test('all looks', async () => {
  await everyLook(house, '/out?member=m1', { as: 'desk', name: 'offers', ready: async (page) => {
    await page.waitForFunction(() => document.activeElement?.tagName === 'INPUT');
    await page.keyboard.type(slips.hot);
    await page.keyboard.press('Enter');
    await page.getByRole('heading', { name: 'Decide' }).waitFor();
  } });
  const de = await house.open('/out?member=m1', { as: 'desk', language: 'de' });
  await de.getByText('Erst das Mitglied').waitFor();
  is((/\bout\.[a-z_]+\b/.exec(await de.locator('main').innerText()) ?? [''])[0], '', 'a key is shown');
});
await end();
