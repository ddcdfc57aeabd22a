// The shelf as the desk uses it: scan and collect, move, labels on a sheet, to the waste, undo; keys alone. SPDX-License-Identifier: Apache-2.0
import { axe, begin, end, is, noSideways, says, shot, test } from './kit.mjs';
import { busy } from './desk_kit.mjs';

const house = await begin(), { desk, names, shelved } = await busy(house);
const runs = [];
for (const [i, machine] of names.slice(0, 3).entries()) runs.push(await shelved(machine, i + 1, { member: i === 1 ? 'm2' : 'm1', kept: i === 2 ? 1200 : 3 * 86400000 }));
await new Promise((done) => setTimeout(done, 1300)); // the third is past its time
const part = async (run) => (await desk.call(`/api/1/ask/run?run=${run}`)).part;

await test('what stands where, for whom, and what is past its days', async () => {
  const page = await house.open('/shelf', { as: 'desk' });
  await page.getByText('3 parts wait. The next free place is 4.').waitFor();
  const text = await page.locator('.places').innerText();
  says(text, 'for member m1', 'for member m2', `run ${runs[0]}, ${names[0]}`, 'was kept until');
  await page.getByText('One part is past its day.').waitFor();
  await page.getByLabel('Show these only').check();
  is(await page.locator('.places li').count(), 1, 'past');
  await axe(page, 'past');
});

await test('a scanned label collects its part, and that is taken back by a key', async () => {
  const page = await house.open('/shelf', { as: 'desk' });
  await page.locator('.places').waitFor();
  await page.getByLabel('Label or run').click();
  await page.keyboard.type(`${runs[0]}\n`); // a scanner types, and ends with Enter
  await page.getByText(`is its place: run ${runs[0]}, for member m1.`).waitFor();
  await axe(page, 'scanned');
  await page.locator('main').getByRole('button', { name: 'Collected', exact: true }).first().focus();
  await page.keyboard.press('Enter');
  await page.getByText(`The part of run ${runs[0]} was collected by member m1.`).waitFor();
  is((await part(runs[0])).state, 'collected', 'state');
  await page.locator('h1').focus();
  await page.keyboard.press('u');
  await page.getByText('Taken back.', { exact: true }).waitFor();
  is((await part(runs[0])).state, 'shelf', 'state after undo');
  await page.getByLabel('Label or run').fill('999999');
  await page.keyboard.press('Enter');
  await page.getByText('No part of run 999999 is on the shelf.').waitFor();
});

await test('moved: a taken place is told at the field', async () => {
  const page = await house.open('/shelf', { as: 'desk', size: 'phone' });
  await page.getByRole('button', { name: `Move or keep longer: run ${runs[0]}` }).tap();
  await axe(page, 'move');
  await page.getByLabel('Place').fill('2');
  await page.getByRole('button', { name: 'Put it there' }).tap();
  await page.getByText(`On place 2 lies the part of run ${runs[1]}`, { exact: false }).or(page.getByText(`on place 2 lies the part of run ${runs[1]}`)).first().waitFor();
  await page.getByLabel('Place').fill('7');
  await page.getByLabel('Kept until').fill('2027-01-05');
  await page.getByRole('button', { name: 'Put it there' }).tap();
  await page.getByText(`The part of run ${runs[0]} lies on place 7.`).waitFor();
  const now = await part(runs[0]);
  is(now.place, 7, 'place');
  const wall = new Intl.DateTimeFormat('sv-SE', { timeZone: (await (await fetch(`${house.url}/api/1/shop`)).json()).time_zone, dateStyle: 'short', timeStyle: 'short' }).format(now.kept_until_ms);
  is(wall, '2027-01-06 00:00', 'kept to the end of that day on the shop\'s wall');
});

await test('labels: several on a sheet, with bars and squares, and they print alone', async () => {
  const page = await house.open('/shelf', { as: 'desk' });
  await page.getByLabel('All 3').check();
  await page.getByRole('button', { name: '3 labels' }).click();
  await page.locator('.labels .bars').nth(2).waitFor();
  const text = await page.locator('.sheet').innerText();
  says(text, `${runs[0]}`, 'm1', 'm2', 'Place');
  is(/hook\.gcode/.test(text), false, 'the file on a label');
  is(await page.locator('.squares').count(), 3, 'squares');
  // the bars are those of the number: each sign 11 modules, the stop 13, and the path draws every second width
  const drawn = await page.locator('.bars path').first().getAttribute('d'), { labels } = await desk.call(`/api/1/shelf/labels?runs=${runs[0]}`);
  is(labels[0].bars.widths.reduce((a, b) => a + b), labels[0].bars.modules, 'modules');
  is((drawn.match(/M/g) ?? []).length, (labels[0].bars.widths.length + 1) / 2, 'bars drawn');
  await axe(page, 'labels');
  await shot(page, 'labels');
  await page.emulateMedia({ media: 'print' });
  is(await page.getByRole('button', { name: 'Print' }).isVisible(), false, 'buttons on paper');
  is(await page.locator('.shell-head').isVisible(), false, 'the head on paper');
  is(await page.locator('.sheet li').first().isVisible(), true, 'labels on paper');
  await shot(page, 'labels-on-paper');
});

await test('to the waste, weighed, by keys alone; undo', async () => {
  const page = await house.open('/shelf', { as: 'desk' });
  await page.getByLabel(`Choose run ${runs[2]}`).focus();
  await page.keyboard.press('Space');
  for (let i = 0; i < 40 && await page.evaluate(() => document.activeElement?.textContent) !== 'To the waste'; i++) await page.keyboard.press('Shift+Tab');
  await page.keyboard.press('Enter');
  await page.getByRole('dialog').waitFor();
  await axe(page, 'waste');
  await page.keyboard.type('34');
  await page.keyboard.press('Enter');
  await page.getByText('A part went to the waste.').waitFor();
  is((await part(runs[2])).state, 'waste', 'state');
  is((await desk.call(`/api/1/ask/run?run=${runs[2]}`)).waste.at(-1).mg, 34000, 'weight');
  await page.keyboard.press('u');
  await page.getByText('Taken back.', { exact: true }).waitFor();
  is((await part(runs[2])).state, 'shelf', 'state after undo');
});

await test('two desks: what one collects leaves the other\'s page', async () => {
  const one = await house.open('/shelf', { as: 'd1' }), two = await house.open('/shelf', { as: 'd2' });
  await two.getByText('3 parts wait').waitFor();
  await one.getByRole('button', { name: `Collected: run ${runs[1]}` }).click();
  await two.getByText('2 parts wait').waitFor({ timeout: 3000 });
  await noSideways(two);
});

await test('in German', async () => {
  const page = await house.open('/shelf', { as: 'desk', language: 'de' });
  await page.locator('.places').waitFor();
  is((/\b(kit|shelf)\.[a-z_]+\b/.exec(await page.locator('body').innerText()) ?? [''])[0], '', 'a key');
});
await end();
