// My runs, as a member sees them: by a one-time code, of nobody else, live, in all sizes and both themes. SPDX-License-Identifier: Apache-2.0
import { axe, begin, end, everyLook, is, says, sizes, test } from './kit.mjs';
import { ada, bako, finish, handOut, noBareKeys, plain, seed, start, tabTo } from './book_kit.mjs';

const house = await begin({ seed });
const desk = await house.signIn('d1'), keeper = await house.signIn('k1'); // figures that are stated and not proved here are a keeper's
/** A session of a member by a code of the desk: cookie. @param {string} member */
async function codeIn(member) {
  const { code } = await desk.call('/api/1/code', { member });
  const reply = await fetch(`${house.url}/api/1/session/code`, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ code }) });
  return reply.headers.get('set-cookie').split(';')[0];
}
for (const who of [ada, bako]) house.known[who] = { cookie: await codeIn(who) };
const answer = async (/** @type {string} */ who) => (await fetch(`${house.url}/api/1/mine`, { headers: { Cookie: house.known[who].cookie } })).json();
let run = 0;

await test('by a one-time code, typed at the kiosk', async () => {
  const { code } = await desk.call('/api/1/code', { member: '10055' });
  const page = await house.open('/mine');
  await page.locator('main').getByRole('link', { name: 'Sign in' }).click();
  await page.getByRole('radio', { name: 'Code from the desk' }).check();
  await page.getByRole('textbox', { name: /code/i }).fill(code.toLowerCase());
  await page.keyboard.press('Enter');
  await page.getByRole('heading', { name: 'My runs' }).waitFor();
  await page.getByText('Nothing of yours is under way').waitFor();
  says(await plain(page.getByRole('region', { name: 'What is left' })), 'You have 150.0 m left.', '0.0 m of 150 m are used.');
  await axe(page, 'nothing yet');
});

await test('it follows a run from the hand-out to the shelf, by itself', async () => {
  const page = await house.open('/mine', { as: ada, size: 'phone' });
  await page.getByText('Nothing of yours is under way').waitFor();
  run = await handOut(keeper, ada);
  await page.getByText('Handed out on Alder; the start check comes first.').waitFor({ timeout: 4000 });
  await start(desk, run);
  await page.getByText(/Prints on Alder and ends about/).waitFor({ timeout: 4000 });
  await page.getByText('Collect, not before').waitFor();
  const m = (await answer(ada)).runs[0];
  is(m.where, 'prints', 'where');
  is(m.collect_ms >= m.end_high_ms, true, 'not to be collected before the whole range of the end has passed');
  is(m.end_low_ms <= m.end_ms && m.end_ms <= m.end_high_ms, true, 'range');
  await desk.act('run-watched', { run, first_layer: 'good' });
  await desk.act('run-ended', { run });
  await page.getByText('It is over and still on the bed of Alder.').waitFor({ timeout: 4000 });
  await desk.act('run-off', { run, to: 'shelf', place: 7, kept_until: Date.now() + 5 * 86400000 });
  await page.getByText('On the shelf, place 7.').waitFor({ timeout: 4000 });
  await page.getByText(/^Kept until/).waitFor();
  await desk.act('run-take-back', { run, figure: 'counter', used_um: 12000000, stick_there: true });
  await desk.act('run-outcome', { run, outcome: 'good', counts: true });
  await desk.act('shelf-collect', { run });
  await page.getByRole('region', { name: 'Earlier' }).getByText('bracket.gcode').waitFor({ timeout: 4000 });
  says(await plain(page.getByRole('region', { name: 'What is left' })), 'You have 138.0 m left.', '12.0 m of 150 m');
  says(await plain(page.getByRole('region', { name: 'Earlier' })), 'good', 'collected', 'Run', '12.0 m');
});

await test('nothing of others, neither on the page nor in what the server says', async () => {
  await finish(desk, await handOut(keeper, bako, { hash: 'cd' }));
  await desk.act('ticket-take', { member: bako, machine: 'Alder' });
  const text = JSON.stringify(await answer(ada));
  for (const other of [bako, 'Bako', 'd1', 'Chidi', '10055']) is(text.includes(`"${other}`), false, `${other} in the answer`);
  is((await answer(bako)).runs.every((r) => r.run !== run), true, 'runs of another');
  const page = await house.open('/mine', { as: ada });
  await page.getByRole('region', { name: 'Earlier' }).waitFor();
  is((await page.locator('main').innerText()).includes(bako), false, 'another on the page');
  is((await fetch(`${house.url}/api/1/mine`)).status, 401, 'for the kiosk');
  for (const path of ['/api/1/export.zip', '/api/1/export.json', '/api/1/backups', '/api/1/ask/stock?edges_ms=1', `/api/1/ask/runs?member=${bako}`, `/api/1/ask/balance?member=${bako}`]) {
    is((await fetch(house.url + path, { headers: { Cookie: house.known[ada].cookie } })).status, 403, path);
  }
  is((await fetch(`${house.url}/api/1/ask/run?run=${(await answer(bako)).runs[0].run}`, { headers: { Cookie: house.known[ada].cookie } })).status, 404, 'a run of another');
});

await test('a ticket: how many are before, and one\'s turn', async () => {
  await desk.act('ticket-take', { member: ada });
  const page = await house.open('/mine', { as: ada });
  await page.getByText('1 is before you.').waitFor();
  const ticket = (await answer(ada)).ticket.ticket;
  await desk.act('ticket-call', { ticket, until: Date.now() + 900000, machine: 'Birch' });
  await page.getByText(/It is your turn: Birch is kept for you until/).waitFor({ timeout: 4000 });
  await desk.act('ticket-leave', { ticket });
});

await test('a run that stopped, and suspension, are said', async () => {
  const failed = await handOut(keeper, ada, { hash: 'ef' });
  await start(desk, failed);
  await desk.act('run-failed', { run: failed, percent: 40, by_height: [[10000, 12500000, 3600]], symptom: 'the part came loose' });
  const page = await house.open('/mine', { as: ada });
  await page.getByText('It stopped on Alder.').waitFor();
  await page.getByText('the part came loose').waitFor();
  await desk.act('member-suspend', { member: bako, reason: 'left a machine hot' });
  const other = await fetch(`${house.url}/api/1/mine`, { headers: { Cookie: house.known[bako].cookie } });
  is(other.status === 401 || other.status === 200, true, 'a suspended member sees their own or signs in again');
  await desk.act('member-resume', { member: bako });
  await page.keyboard.press('Tab');
  await tabTo(page, 'Set a password');
});

await test('how it looks', async () => {
  await everyLook(house, '/mine', { as: ada, name: 'mine', ready: (p) => p.getByRole('region', { name: 'Earlier' }).waitFor() });
  const page = await house.open('/mine', { as: ada, language: 'de', more: { viewport: sizes.phone } });
  await page.getByText('Dir bleiben').waitFor();
  await noBareKeys(page);
});
await end();
