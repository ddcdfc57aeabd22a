// The plan on today's page: the queue, a change tried by keys, by buttons and by drag, its cost, keeping and undo. SPDX-License-Identifier: Apache-2.0
import { readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { axe, begin, end, everyLook, is, says, test } from './kit.mjs';

const house = await begin({
  seed: (h) => { // the next Thursday at ten, the desk is open until eight; messages to members
    const text = readFileSync(resolve(process.argv[3]), 'utf8'), shop = text.replace(/^ +closed:.*\n(?: +- .*\n)*/m, '').replace(/^rules:\n/m, 'outbox: {command: "true", on: true}\nrules:\n');
    if (!shop.includes('outbox: {')) throw new Error('the shop file has no rules');
    const at = new Date(Date.now() + 86400000 * ((((4 - new Date().getUTCDay() + 6) % 7) + 1)));
    h.env.PROVEOUT_CLOCK = `${at.toISOString().slice(0, 10)}T10:00`;
    writeFileSync(join(h.where, 'shop.yaml'), shop);
    h.env.PROVEOUT_SHOP = join(h.where, 'shop.yaml');
  },
});
const opens = house.open.bind(house);
house.open = async (...words) => {
  const page = await opens(...words);
  page.setDefaultTimeout(8000);
  return page;
};
const d1 = await house.signIn('d1'), sha = 'ab'.repeat(32);
for (const member of ['m1', 'm2']) await d1.act('permit-grant', { member, permission: 'starter' });
for (const machine of ['Alder', 'Birch']) await d1.act('proof-keep', { sha256: sha, machine, verdict: 'clear', um: 1000000, seconds: 5400, file: 'hook.gcode' });
const first = (await d1.act('run-reserve', { member: 'm1', um: 1000000, seconds: 3600, machine: 'Alder' })).answer.run;
const second = (await d1.act('run-reserve', { member: 'm2', um: 1000000, sha256: sha, file: 'hook.gcode' })).answer.run;
const plan = async () => Object.fromEntries((await d1.call('/api/1/plan')).runs.map((r) => [r.run, r]));
const grip = (page, run) => page.locator(`.strip [data-at$="/plan-${run}"]`);
const said = (page) => page.locator('.trial .said');

await test('the queue in words, and its runs on the strips', async () => {
  const page = await house.open('/today', { as: 'd1' }), now = await plan();
  await page.getByRole('heading', { name: /^Queue/ }).waitFor();
  says(await page.locator('.queue').innerText(), `Run ${first}, member m1`, `Run ${second}, member m2`, '2 runs wait', 'No plan is better');
  is(now[first].machine, 'Alder', 'the machine that was asked for');
  says(await grip(page, second).getAttribute('aria-label'), `${now[second].machine}: Run ${second}, `);
  await axe(page, 'queue');
});

await test('a change by keys alone: taken up, moved, its cost read, given up, kept, undone', async () => {
  const page = await house.open('/today', { as: 'd1' }), before = await plan();
  await grip(page, first).focus();
  await page.keyboard.press('Enter');
  await said(page).getByText('it costs nothing').waitFor();
  is(await said(page).getAttribute('role'), 'status', 'it is read aloud');
  await page.keyboard.press('ArrowRight');
  await said(page).getByText('for waiting').waitFor();
  is(await page.evaluate((r) => document.activeElement?.getAttribute('data-at') === `Alder/plan-${r}`, first), true, 'the focus stays on it');
  says(await said(page).innerText(), 'points more by the shop\u2019s weights', 'Nothing else moves.');
  await page.keyboard.press('Escape');
  await page.locator('.trial').waitFor({ state: 'detached' });
  is(await page.evaluate((r) => document.activeElement?.getAttribute('data-at') === `Alder/plan-${r}`, first), true, 'and comes back to it');
  is(JSON.stringify((await plan())[first]), JSON.stringify(before[first]), 'nothing was booked');
  await page.keyboard.press('Enter');
  await said(page).getByText('it costs nothing').waitFor();
  for (let i = 1; i <= 2; i++) {
    const at = (await said(page).innerText());
    await page.keyboard.press('ArrowRight');
    await page.waitForFunction((was) => { const t = document.querySelector('.trial .said')?.textContent ?? ''; return t.includes('costs') && t !== was; }, at);
    await page.waitForTimeout(200);
  }
  await axe(page, 'trial');
  await page.keyboard.press('Enter');
  await page.locator('.notices').getByText(`Run ${first} is promised: Alder`).waitFor();
  await page.locator('.queue li', { hasText: `Run ${first},` }).getByText('promised').waitFor();
  const kept = (await plan())[first];
  is(kept.stays && kept.promised_machine === 'Alder' && kept.promised_ms - before[first].start_ms >= 3600000, true, `an hour later: ${JSON.stringify(kept)}`);
  is((await d1.ask('outbox')).messages.length, 1, 'a message to the member');
  await page.keyboard.press('u');
  await page.locator('.queue li', { hasText: `Run ${first},` }).getByText('promised').waitFor({ state: 'detached' });
  is((await plan())[first].promised_ms, null, 'undone');
});

await test('to another machine by drag; what else moves is said; the list and its buttons do the same on a phone', async () => {
  const page = await house.open('/today', { as: 'd1' }), now = await plan();
  is(now[second].machine, 'Birch', 'Alder is wanted by the other');
  await grip(page, second).scrollIntoViewIfNeeded();
  const mine = await grip(page, second).boundingBox(), alder = await grip(page, first).boundingBox();
  await page.mouse.move(mine.x + 6, mine.y + mine.height / 2);
  await page.mouse.down();
  await page.mouse.move(mine.x + 4, alder.y + alder.height / 2, { steps: 5 });
  await page.mouse.up();
  await said(page).getByText(`Run ${second} on Alder at`).waitFor();
  await said(page).getByText(`Run ${first} then starts on Alder at`).waitFor();
  is(await page.locator('.strip .span.was').count() > 0, true, 'where they were');
  await page.getByRole('button', { name: 'Give up' }).click();
  const phone = await house.open('/today', { as: 'd2', size: 'phone' });
  await phone.locator('.queue li', { hasText: `Run ${second},` }).getByRole('button').tap();
  await said(phone).getByText('it costs nothing').waitFor();
  await phone.locator('.trial label', { hasText: 'Alder' }).tap();
  await said(phone).getByText(`Run ${second} on Alder`).waitFor();
  await phone.locator('.trial label', { hasText: 'Birch' }).tap();
  await said(phone).getByText(`Run ${second} on Birch`).waitFor();
  await phone.getByRole('button', { name: 'Keep and promise it' }).tap();
  await page.locator('.queue li', { hasText: `Run ${second},` }).getByText('promised').waitFor({ timeout: 5000 }); // the other desk sees it
});

await test('the book went on: it is said, reckoned anew, and kept then', async () => {
  const page = await house.open('/today', { as: 'd1' });
  await page.locator('.queue li', { hasText: `Run ${first},` }).getByRole('button').click();
  await said(page).getByText('it costs nothing').waitFor();
  let once = 0;
  await page.route('**/api/1/plan/keep', async (route) => { // another desk between look and press
    if (once++ === 0) await d1.act('note-leave', { text: 'in between' });
    await route.continue();
  });
  await page.getByRole('button', { name: 'Keep and promise it' }).click();
  await page.locator('.trial').getByText('the plan has changed since this was tried').waitFor();
  await page.waitForTimeout(800);
  await page.getByRole('button', { name: 'Keep and promise it' }).click();
  await page.locator('.notices').getByText(`Run ${first} is promised`).waitFor();
});

await test('what can\u2019t be met is said, with what would help', async () => {
  const late = (await d1.act('run-reserve', { member: 'm2', um: 1000000, sha256: sha, file: 'hook.gcode', due: (await d1.call('/api/1/plan')).from_ms + 1800000 })).answer.run; // an hour and a half of work, due in half an hour
  const page = await house.open('/today', { as: 'd1' });
  const lacks = page.locator('.lacks');
  await lacks.getByText(`Run ${late} is due`).waitFor();
  says(await lacks.innerText(), 'Even with the shop to itself it would be off about');
  is((await d1.call('/api/1/plan')).cannot_be_met.map((l) => l.run).includes(late), true, 'as the server says');
  says(await grip(page, late).getAttribute('aria-label'), 'late');
  await axe(page, 'what can\u2019t be met');
});

await test('where lines of today lead, what they name is chosen there', async () => {
  const page = await house.open(`/book?run=${first}`, { as: 'd1' });
  await page.getByRole('heading', { name: `Run ${first}` }).waitFor();
  says(await page.locator('section', { has: page.locator('#b-run') }).innerText(), 'asked for', 'Alder', 'Start promised', `Your run ${first} can start on Alder`);
  is(await page.getByRole('link', { name: 'Hand out' }).last().getAttribute('href'), `/out?run=${first}&member=m1`, 'what comes next');
  await axe(page, 'a run of the book');
  await page.goto('/people?permission=starter');
  await page.getByRole('heading', { name: 'starter lapses within 14 days' }).waitFor();
  await page.getByText('Nobody\u2019s does.').waitFor();
  await page.goto(`/shelf?run=${first}`);
  await page.locator('.scanned-place').getByText(String(first)).waitFor();
  await d1.act('spool-add', { spool: 'P1', material: 'petg', diameter_um: 1750, density_mg_cm3: 1270, net_mg: 900000 });
  await page.goto('/spools?spool=P1');
  await page.getByRole('heading', { name: /P1/ }).first().waitFor();
});

await test('every look, and the second language', async () => {
  const page = await house.open('/today', { as: 'd1', language: 'de' });
  await page.locator('.queue li').first().getByRole('button').click();
  await page.getByText('es kostet nichts').waitFor();
  is((/\b(kit|today)\.[a-z_-]+/.exec(await page.locator('main').innerText()) ?? [''])[0], '', 'a key is shown');
  await everyLook(house, '/today', { as: 'desk', name: 'plan', ready: async (p) => {
    await p.locator('.queue li').first().getByRole('button').click();
    await p.locator('.trial .said strong').waitFor();
  } });
});
await end();
