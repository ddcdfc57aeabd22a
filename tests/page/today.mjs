// Today: every act as a user does it, by keyboard; two desks at once; undo; the strips; what the browser tells; how it looks. SPDX-License-Identifier: Apache-2.0
import { readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { axe, begin, end, is, says, shot, test } from './kit.mjs';

const sha = (/** @type {string} */ c) => c.repeat(64);
const house = await begin({
  seed: (h) => { // the demo's shop, with a watch of three seconds and messages to members
    const text = readFileSync(resolve(process.argv[3]), 'utf8');
    const shop = text.replace(/watch_minutes: [\d.]+/, 'watch_minutes: 0.05');
    if (shop === text) throw new Error('the shop file has no watch_minutes');
    writeFileSync(join(h.where, 'shop.yaml'), shop);
    h.env.PROVEOUT_SHOP = join(h.where, 'shop.yaml');
  },
});
const d1 = await house.signIn('d1'), k1 = await house.signIn('k1'); // stated figures of a hand-out are a keeper's
const line = (page, text) => page.locator('.due li', { hasText: text });
const gone = (page, text) => line(page, text).waitFor({ state: 'detached', timeout: 3000 });
const notice = (page, text) => page.locator('.notices').getByText(text).first().waitFor({ timeout: 3000 });
/** How long it takes until something is so, ms. */
async function within(ms, f) {
  const begun = Date.now();
  await f();
  if (Date.now() - begun > ms) throw new Error(`it took ${Date.now() - begun} ms, not ${ms} at most`);
}
/** A run that is out on a machine, not started. */
async function handOut(machine, c, more = {}) {
  await d1.act('proof-keep', { sha256: sha(c), machine, verdict: 'clear', um: 2000000, seconds: 7200, first_bead_seconds: 240, first_layer_seconds: 241, materials: ['petg'], ...more });
  return (await k1.act('run-hand-out', { member: 'm1', machine, um: 2000000, seconds: 7200, sha256: sha(c), recipe: 'everyday' })).answer.run;
}
for (const permission of ['starter', 'two-material', 'large']) await d1.act('permit-grant', { member: 'm1', permission }).catch(() => {});

await test('nothing waits', async () => {
  const page = await house.open('/today', { as: 'desk' });
  await page.getByText('Nothing waits for you.').waitFor();
  says(await page.locator('.free-now').innerText(), 'Free: Alder, Birch, Cedar, Dogwood, Elm');
  is(/^\(/.test(await page.title()), false, 'a count in the title');
  await axe(page, 'empty');
});

let run = 0;
await test('a run, from the start check to the take-back, by keys alone; another desk follows', async () => {
  const page = await house.open('/today', { as: 'd1' }), other = await house.open('/today', { as: 'd2' });
  await page.getByText('Nothing waits for you.').waitFor();
  await other.getByText('Nothing waits for you.').waitFor();
  run = await handOut('Alder', 'a');
  await within(1000, () => Promise.all([line(page, 'look before the first bead').waitFor(), line(other, 'look before the first bead').waitFor()]));
  says(await page.title(), '(1) Today');
  await page.keyboard.press('c');
  await page.getByRole('dialog', { name: 'Alder: before the first bead' }).waitFor();
  await axe(page, 'start check');
  await page.keyboard.press('Enter');
  await page.getByRole('alert').getByText('All five have to be so').waitFor();
  for (const box of await page.getByRole('dialog').getByRole('checkbox').all()) {
    await box.focus();
    await page.keyboard.press('Space');
  }
  await shot(page, 'start-check');
  await page.getByRole('dialog').getByRole('button', { name: 'It starts' }).focus();
  await page.keyboard.press('Enter');
  await within(1000, () => line(other, 'how is the first layer?').waitFor());
  await line(page, 'how is the first layer?').waitFor();
  await page.locator('.part.now li', { hasText: 'how is the first layer?' }).waitFor({ timeout: 6000 }); // the watch is over after three seconds
  // good, then undo
  await line(page, 'how is the first layer?').focus();
  await page.keyboard.press('g');
  await notice(page, 'Alder: first layer good.');
  await within(1000, () => gone(other, 'how is the first layer?'));
  is(await page.evaluate(() => document.activeElement?.closest('.due li') !== null), true, 'the focus stays in the list');
  await page.keyboard.press('u');
  await notice(page, 'Taken back.');
  await Promise.all([line(page, 'how is the first layer?').waitFor(), line(other, 'how is the first layer?').waitFor()]);
  // poor, with what is seen
  await line(page, 'how is the first layer?').focus();
  await page.keyboard.press('p');
  const poor = page.getByRole('dialog', { name: 'Alder: a poor first layer' });
  await poor.getByLabel('Lines lie round and apart').focus();
  await page.keyboard.press('Space');
  await axe(page, 'poor layer');
  await shot(page, 'poor');
  await poor.getByRole('button', { name: 'Book it as poor' }).focus();
  await page.keyboard.press('Enter');
  await notice(page, 'Alder: first layer poor.');
  const booked = await d1.ask(`run?run=${run}`);
  is(booked.first_layer, 'poor', 'the book');
  // ended, off, and on to the take-back
  await line(page, `run ${run} should end`).focus();
  await page.keyboard.press('e');
  await notice(page, `Alder: run ${run} has ended.`);
  await line(page, `take the part of run ${run} off`).waitFor();
  says(await line(page, `take the part of run ${run} off`).innerText(), 'When the bed is below 40', 'Off, to place 1');
  await line(page, `take the part of run ${run} off`).focus();
  await page.keyboard.press('s');
  await notice(page, `Run ${run}: off the bed, on place 1.`);
  await line(other, 'the part is off').waitFor();
  await line(page, 'the part is off').focus();
  await page.keyboard.press('o');
  await page.waitForURL(`**/back?run=${run}`);
});

await test('the arrows walk, and the focus is not lost when another desk acts', async () => {
  await d1.act('run-take-back', { run, figure: 'proof', used_um: 2000000 });
  await d1.act('spool-add', { spool: 'S1', material: 'petg', diameter_um: 1750, density_mg_cm3: 1270, net_mg: 900000 });
  await d1.act('spool-add', { spool: 'S2', material: 'petg', diameter_um: 1750, density_mg_cm3: 1270, net_mg: 30000 });
  await d1.act('spool-open', { spool: 'S2' });
  await d1.act('spool-dry', { spool: 'S1', c: 55, minutes: 240 });
  await d1.act('machine-fit', { machine: 'Birch', surface: 'plain' });
  await d1.act('machine-tag', { machine: 'Elm', reason: 'the fan rattles' });
  const page = await house.open('/today', { as: 'd1' });
  await line(page, 'Spool S1 is dry').focus();
  await page.keyboard.press('ArrowDown');
  const at = () => page.evaluate(() => document.activeElement?.getAttribute('data-key') ?? document.activeElement?.tagName);
  const second = await at();
  await page.keyboard.press('ArrowUp');
  is((await at()).startsWith('dry/S1'), true, `the line above ${second}`);
  await d1.act('spool-dried', { spool: 'S1' }); // elsewhere
  await gone(page, 'Spool S1 is dry');
  is(await page.evaluate(() => document.activeElement?.closest('.due') !== null), true, 'the focus stays');
  await line(page, 'check the gap').focus();
  await page.keyboard.press('g');
  await notice(page, 'Birch: the gap is good.');
  await gone(page, 'check the gap');
  says(await line(page, 'Elm is tagged out').innerText(), 'the fan rattles');
  says(await line(page, 'Spool S2 is running out').innerText(), '30\u202fg left');
  await line(page, 'Spool S2').focus();
  await page.keyboard.press('o');
  await page.waitForURL('**/spools?spool=S2');
});

await test('tickets: called, did not want it, lapsed, no-show', async () => {
  await d1.act('ticket-take', { member: 'm1' });
  const page = await house.open('/today', { as: 'd1' });
  await line(page, 'is free').getByRole('button', { name: /^Call/ }).click();
  await notice(page, 'is called.');
  await line(page, 'is called: ').getByRole('button', { name: /^Did not want it/ }).click();
  await notice(page, 'did not want it');
  const { ticket } = (await d1.act('ticket-take', { member: 'm2' })).answer;
  await d1.act('ticket-call', { ticket, until: Date.now() + 900, machine: 'Cedar' });
  await line(page, 'nobody came').waitFor({ timeout: 4000 }); // asks by itself when the time is up
  await line(page, 'nobody came').focus();
  await page.keyboard.press('n');
  await notice(page, 'nobody came.');
  await gone(page, 'nobody came');
});

await test('a part past its day is collected by one tap on a phone', async () => {
  const late = await handOut('Cedar', 'c');
  await d1.act('run-start', { run: late, heated: true, stream_steady: true, bed_clean: true, gap_good: true, spool_right: true });
  await d1.act('run-ended', { run: late });
  await d1.act('run-off', { run: late, to: 'shelf', place: 7, kept_until: Date.now() + 500 });
  await d1.act('run-take-back', { run: late, figure: 'proof', used_um: 1000000 });
  const page = await house.open('/today', { as: 'd2', size: 'phone' });
  await line(page, 'Place 7').waitFor({ timeout: 4000 });
  await line(page, 'Place 7').getByRole('button', { name: /^Collected/ }).tap();
  await notice(page, `Run ${late} was collected.`);
  await gone(page, 'Place 7');
  await page.getByRole('button', { name: 'Undo' }).tap();
  await line(page, 'Place 7').waitFor();
  await line(page, 'Place 7').getByRole('button', { name: /^Collected/ }).tap();
  await gone(page, 'Place 7');
});

await test('a note is left, seen by the other desk, and taken back', async () => {
  const page = await house.open('/today', { as: 'd1' }), other = await house.open('/today', { as: 'd2' });
  await page.locator('.free-now').waitFor();
  await other.locator('.free-now').waitFor();
  await page.keyboard.press('h');
  await page.getByLabel('For whoever comes next').fill('Feed Birch first');
  await axe(page, 'note');
  await page.getByRole('button', { name: 'Leave it' }).click();
  await within(1000, () => other.locator('.hand-over').getByText('Feed Birch first').waitFor());
  says(await other.locator('.hand-over').innerText(), 'd1');
  await page.keyboard.press('u');
  await other.locator('.hand-over').waitFor({ state: 'detached', timeout: 3000 });
});

await test('a refusal is said, and the list is what the book says', async () => {
  const page = await house.open('/today', { as: 'd1' });
  await d1.act('machine-fit', { machine: 'Dogwood', surface: 'plain' });
  await line(page, 'Dogwood: check the gap').waitFor();
  await page.route('**/api/1/acts/machine-gap', (route) => route.fulfill({ status: 409, contentType: 'application/problem+json', body: JSON.stringify({ title: 'Conflict', status: 409, detail: 'Dogwood has left the shop' }) }));
  await line(page, 'Dogwood: check the gap').getByRole('button', { name: /^Gap is good/ }).click();
  await page.getByRole('alert').getByText('Dogwood has left the shop').waitFor();
  await line(page, 'Dogwood: check the gap').waitFor();
});

await test('the strips: walked by arrows, said in a table, another day', async () => {
  await handOut('Birch', 'b');
  const page = await house.open('/today', { as: 'd1' });
  const spans = page.locator('.strip [data-at]');
  await page.locator('.strip [data-at^="Birch/"]').first().waitFor();
  await page.locator('.strip [data-at][tabindex="0"]').focus();
  const label = () => page.evaluate(() => document.activeElement?.getAttribute('aria-label') ?? '');
  const seen = new Set([await label()]);
  for (const key of ['ArrowRight', 'ArrowRight', 'ArrowDown', 'ArrowRight', 'ArrowDown', 'ArrowLeft', 'ArrowUp', 'Home', 'End']) {
    await page.keyboard.press(key);
    seen.add(await label());
  }
  is(seen.size > 1 && [...seen].every((s) => /^(Alder|Birch|Cedar|Dogwood|Elm): /.test(s)), true, [...seen].join(' | '));
  is(await page.locator('.strip [data-at][tabindex="0"]').count(), 1, 'one of them is in the order of tabs');
  await page.getByText('As a table').click();
  says(await page.locator('.as-table table').innerText(), 'Elm', 'tagged out', 'end not known', 'Alder');
  is((await spans.count()) > 2, true, 'spans');
  await axe(page, 'strips with table');
  await page.getByLabel('Tomorrow').check({ force: true });
  await page.locator('.strip [data-at^="Elm/"]').first().waitFor(); // still tagged out
  is(await page.locator('.strip [data-at^="Cedar/"]').count(), 0, 'Cedar has nothing tomorrow');
  is(await page.locator('.strip .now').count(), 0, 'no now on another day');
});

await test('what waits is told by the browser where the person allowed it, on whatever page, once', async () => {
  const page = await house.open('/settings', { as: 'd1' });
  await page.addInitScript(() => {
    globalThis.told = [];
    globalThis.Notification = class { static permission = 'granted'; constructor(title, o) { globalThis.told.push([title, o.tag]); } close() {} };
    localStorage.setItem('proveout.notify', 'on');
  });
  await page.reload();
  await page.waitForSelector('main h1');
  const started = await handOut('Dogwood', 'd');
  await d1.act('run-start', { run: started, heated: true, stream_steady: true, bed_clean: true, gap_good: true, spool_right: true });
  await page.waitForFunction(() => globalThis.told.length > 0, null, { timeout: 8000 });
  await page.waitForTimeout(2500);
  is(JSON.stringify(await page.evaluate(() => globalThis.told.map((x) => x[0]))), JSON.stringify(['Dogwood: look at the first layer']), 'told');
  says(await page.title(), '(', ') Settings');
});

await test('keys are off where they were switched off; the buttons still act', async () => {
  const page = await house.open('/today', { as: 'd1' });
  await page.evaluate(() => localStorage.setItem('proveout.keys', 'off'));
  await page.reload();
  await line(page, 'Dogwood: how is the first layer?').focus();
  await page.keyboard.press('g');
  await page.waitForTimeout(400);
  is(await line(page, 'Dogwood: how is the first layer?').count(), 1, 'the key did nothing');
  await line(page, 'Dogwood: how is the first layer?').getByRole('button', { name: /^Good/ }).click();
  await gone(page, 'Dogwood: how is the first layer?');
});

await test('count-downs tick, and no live region says so', async () => {
  await d1.act('machine-clear', { machine: 'Elm' });
  const page = await house.open('/today', { as: 'd1' });
  await page.locator('.due li').first().waitFor();
  const loud = await page.evaluate(() => [...document.querySelectorAll('[aria-live], [role=status], [role=alert], [role=timer]')].filter((x) => x.querySelector('.left, .now-clock')).length);
  is(loud, 0, 'live regions with a running clock');
  is(await page.evaluate(() => [...document.querySelectorAll('.left')].every((x) => x.getAttribute('aria-hidden') === 'true')), true, 'count-downs are not read');
});

await test('every word is there in both languages', async () => {
  const page = await house.open('/today', { as: 'd1', language: 'de' });
  await page.getByRole('heading', { name: 'Jetzt' }).waitFor();
  is((/\b(kit|today|pages|shell)\.[a-z_-]+/.exec(await page.locator('body').innerText()) ?? [''])[0], '', 'a key is shown');
});
await end();
