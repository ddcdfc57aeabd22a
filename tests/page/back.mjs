// Take-back in a browser: two keys, a failure, a better figure, a full day by keyboard, undo. SPDX-License-Identifier: Apache-2.0
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { axe, begin, end, everyLook, is, says, shot, test } from './kit.mjs';
import { shopWithSticks, tube } from './hand_kit.mjs';

const house = await begin({ seed(h) {
  shopWithSticks(h);
  for (const m of ['m1', 'm2']) h.by('keeper', 'permit', 'grant', m, 'starter');
  h.by('keeper', 'spool', 'add', 'p1', '--material', 'petg', '--net', '900');
  h.by('keeper', 'machine', 'fit', 'Alder', '--spool', 'p1');
  for (const [s, m] of [['A1', 'Alder'], ['B1', 'Birch']]) h.by('keeper', 'stick', 'add', s, m);
  writeFileSync(join(h.where, 'tube.gcode'), tube());
} });
const out = (machine) => { house.by('d1', 'run', 'hand-out', 'm1', 'tube.gcode', '--machine', machine); return JSON.parse(house.run('run', 'list', '--json')).runs[0].run; };
const show = (run) => JSON.parse(house.run('run', 'show', run, '--json'));

await test('the stick is scanned, one key, and the machine is free', async () => {
  const run = out('Alder'), page = await house.open('/back', { as: 'desk' });
  let pressed = 0;
  await page.locator('.page-back input').first().focus();
  await page.keyboard.type('A9');
  await page.keyboard.press('Enter');
  await page.getByText('there is no stick A9').waitFor();
  await axe(page, 'no such stick');
  await page.keyboard.type('A1'); // the scanner
  await page.keyboard.press('Enter');
  await page.getByRole('heading', { name: 'Alder is back from member m1' }).waitFor();
  await page.waitForFunction(() => document.activeElement?.getAttribute('type') === 'submit');
  says(await page.locator('main').innerText(), 'place 1', 'Caution', 'below 40', 'Kept until');
  await axe(page, 'proposal');
  await shot(page, 'proposal', true);
  pressed++;
  await page.keyboard.press('Enter');
  await page.getByRole('heading', { name: 'Alder is free' }).waitFor();
  is(pressed <= 2, true, 'keys');
  const done = show(run);
  is(`${done.state} ${done.outcome} ${done.part.place}`, 'back good 1', 'booked');
  says(await page.locator('.paper-label').innerText(), 'Member m1', `Run ${run}`);
  await axe(page, 'done');
  await shot(page, 'done');
  await page.keyboard.press('u'); // all of it is taken back
  await page.getByText('Taken back.', { exact: true }).waitFor();
  is(show(run).state, 'out', 'after undo');
  house.by('d1', 'run', 'take-back', run, '--good');
  house.by('d1', 'run', 'off', run, '--to', 'member');
});

await test('on paper there is the label alone', async () => {
  const run = out('Alder'), page = await house.open(`/back?run=${run}`, { as: 'desk' });
  await page.getByRole('button', { name: /It came out good/ }).press('Enter');
  await page.getByRole('heading', { name: 'Alder is free' }).waitFor();
  await page.emulateMedia({ media: 'print' });
  is(await page.getByRole('heading', { name: 'Alder is free' }).isVisible(), false, 'the page on paper');
  is(await page.locator('.paper-label').isVisible(), true, 'the label on paper');
  await shot(page, 'label-on-paper');
});

await test('not good, by the counter, with a message changed; keyboard only', async () => {
  const run = out('Alder'), page = await house.open('/back', { as: 'desk' });
  await page.getByRole('button', { name: /^Alder/ }).waitFor();
  await page.locator('h1').focus();
  await page.keyboard.press('1');
  await page.getByRole('heading', { name: 'Alder is back from member m1' }).waitFor();
  await page.locator('h1').focus();
  await page.keyboard.press('m');
  await page.getByLabel('not good').check();
  await page.getByLabel('What was seen').selectOption({ index: 1 });
  await page.getByLabel('by the machine\u2019s counter').or(page.getByLabel("by the machine's counter")).check();
  await page.getByLabel('Used, by the counter').fill('1.02');
  await page.getByLabel(/Stick A1 is back/).uncheck();
  await axe(page, 'more');
  await shot(page, 'more', true);
  await page.getByRole('button', { name: /^Book it/ }).press('Enter');
  await page.getByRole('heading', { name: 'Alder is free' }).waitFor();
  const done = show(run);
  is(`${done.outcome} ${done.used_um} ${done.figure} ${done.stick_there}`, 'failed 1020000 counter false', 'booked');
});

await test('it stopped before its end: the height says what was used', async () => {
  const run = out('Birch'), page = await house.open('/back?machine=birch', { as: 'desk' });
  await page.getByRole('heading', { name: 'Birch is back from member m1' }).waitFor();
  await page.locator('h1').focus();
  await page.keyboard.press('x');
  await page.getByLabel(/height|high/i).first().fill('10');
  await page.getByRole('button', { name: /^Book|Confirm/ }).first().waitFor();
  await axe(page, 'stopped');
  await shot(page, 'stopped', true);
  await page.getByRole('button', { name: /^Book|Confirm/ }).first().press('Enter');
  await page.waitForFunction(() => document.querySelector('.page-back .scan'));
  const done = show(run);
  is(done.used_um > 0.4 * done.reserved_um && done.used_um < 0.6 * done.reserved_um, true, 'about half');
});

await test('two desks: what one took back, the other can not', async () => {
  const run = out('Alder'), one = await house.open(`/back?run=${run}`, { as: 'd1' }), two = await house.open(`/back?run=${run}`, { as: 'd2' });
  await two.getByRole('button', { name: /It came out good/ }).waitFor();
  await one.getByRole('button', { name: /It came out good/ }).press('Enter');
  await one.getByRole('heading', { name: 'Alder is free' }).waitFor();
  await two.getByRole('button', { name: /It came out good/ }).press('Enter');
  await two.getByText(/is not out: it is back/).waitFor();
});

await test('all looks', async () => {
  out('Alder');
  await everyLook(house, '/back?machine=Alder', { as: 'desk', name: 'run', ready: (page) => page.getByRole('button', { name: /It came out good/ }).waitFor() });
  const de = await house.open('/back', { as: 'desk', language: 'de' });
  await de.getByText('Was ist zurück?').waitFor();
  is((/\bback\.[a-z_]+\b/.exec(await de.locator('main').innerText()) ?? [''])[0], '', 'a key is shown');
});
await end();
