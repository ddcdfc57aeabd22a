// Spools as the desk uses them: new, weighed, loaded and taken off, dried, low, used up. SPDX-License-Identifier: Apache-2.0
import { axe, begin, end, everyLook, is, says, shot, test } from './kit.mjs';
import { ada, finish, handOut, noBareKeys, plain, pressKey, seed, typeInto } from './book_kit.mjs';

const house = await begin({ seed });
const desk = await house.signIn('d1'), keeper = await house.signIn('k1'); // figures that are stated and not proved here are a keeper's
const spool = async (/** @type {string} */ name) => (await desk.ask(`spools?spool=${name}`)).spools[0];

await test('a new spool by keys, with what the scale says', async () => {
  const page = await house.open('/spools', { as: 'desk' });
  await page.getByRole('row', { name: /S11/ }).waitFor();
  await page.keyboard.press('n');
  await page.getByRole('dialog').waitFor();
  await typeInto(page, 'Spool', 'S20');
  await typeInto(page, 'Colour', 'slate');
  await typeInto(page, 'Gross', 'heavy');
  await page.keyboard.press('Enter');
  await page.getByRole('dialog').getByText('This is no figure.').waitFor();
  await axe(page, 'no figure');
  await typeInto(page, 'Gross', '1 194,5');
  await typeInto(page, 'Tare', '230');
  await page.keyboard.press('Enter');
  await page.getByRole('row', { name: /S20/ }).waitFor();
  const s = await spool('S20');
  is(`${s.left_mg} ${s.material} ${s.density_mg_cm3} ${s.diameter_um}`, '964500 petg 1270 1750', 'the book, with density and diameter of the shop file');
});

await test('weighed: the scale holds, the drift is shown; undone by u', async () => {
  await finish(desk, await handOut(keeper, ada)); // 12.0 m by the counter: 36.66 g
  const mg = 1000000 - 36656; // 12 m * pi/4 * (1.75 mm)^2 * 1.27 g/cm3 = 36.656 g
  is((await spool('S11')).left_mg, mg, 'by the book');
  const page = await house.open('/spools', { as: 'desk' });
  await page.getByRole('row', { name: /S11/ }).waitFor();
  await pressKey(page, 'S11');
  await page.getByRole('heading', { name: 'Spool S11' }).waitFor();
  await pressKey(page, 'Weigh');
  await page.getByRole('dialog').waitFor();
  await page.keyboard.type('1190');
  await page.keyboard.press('Enter');
  await page.getByRole('row', { name: /-3 g|−3 g/ }).waitFor(); // 960 g by the scale, 963.3 by the book
  const one = page.getByRole('region', { name: 'Spool S11' });
  says(await plain(one), '960 g', 'held against the book');
  await page.locator('.chart canvas').first().waitFor();
  await page.keyboard.press('u');
  await page.getByText('Taken back.', { exact: true }).waitFor();
  is((await spool('S11')).left_mg, mg, 'by the book again');
});

await test('loaded where its material fits, and taken off', async () => {
  const page = await house.open('/spools?spool=S20', { as: 'desk' });
  await page.getByRole('heading', { name: 'Spool S20' }).waitFor();
  await pressKey(page, 'Open the bag');
  await page.getByText('S20 is open.').waitFor();
  await pressKey(page, 'Load');
  await page.getByRole('dialog').waitFor();
  is(await page.getByRole('dialog').getByText('Nozzle and bed stay hot').count(), 1, 'the caution');
  await axe(page, 'load');
  await page.getByRole('dialog').getByLabel('Birch').focus();
  await page.keyboard.press('Space');
  await pressKey(page, 'Load');
  await page.getByRole('button', { name: 'Take off Birch' }).waitFor();
  is((await spool('S20')).machine, 'Birch', 'where');
  await pressKey(page, 'Take off Birch');
  await page.getByText('on no machine').waitFor();
});

await test('the dryer, with the caution; used up takes what is left to the waste', async () => {
  const page = await house.open('/spools?spool=S20', { as: 'desk' });
  await page.getByRole('heading', { name: 'Spool S20' }).waitFor();
  await pressKey(page, 'Into the dryer');
  says(await page.getByRole('dialog').innerText(), 'Stay well below 80 °C', 'fire');
  await typeInto(page, 'Temperature', '60');
  await typeInto(page, 'For', '4');
  await page.keyboard.press('Enter');
  await page.getByRole('button', { name: 'Out of the dryer' }).waitFor();
  is((await spool('S20')).dry_minutes, 240, 'minutes');
  await pressKey(page, 'Out of the dryer');
  await page.getByRole('button', { name: 'Into the dryer' }).waitFor();
  await pressKey(page, 'Used up');
  await typeInto(page, 'Left on it', '12');
  await pressKey(page, 'It is used up');
  await page.getByText('S20 is used up.').waitFor();
  is((await spool('S20')).state, 'empty', 'state');
  is((await desk.ask('waste')).mg, 12000, 'waste');
});

await test('low ones are named first, by word', async () => {
  const page = await house.open('/spools', { as: 'desk' });
  await page.getByText('1 spool is low:').waitFor(); // S12: 90 g
  await page.getByRole('radio', { name: 'Low' }).focus();
  await page.keyboard.press('Space');
  await page.getByRole('row', { name: /S11/ }).waitFor({ state: 'detached' });
  says(await page.getByRole('row', { name: /S12/ }).innerText(), 'low');
});

await test('the stock now is the sum of what is left, and a time before the first spool has none', async () => {
  const all = (await desk.ask('spools?limit=1000')).spools.reduce((a, s) => a + (s.state === 'empty' ? 0 : s.left_mg), 0);
  const stock = await desk.ask(`stock?edges_ms=${Date.now() - 86400000},${Date.now() + 1000}`);
  is(stock.materials.reduce((a, m) => a + m.mg[1], 0), all, 'now');
  is(stock.materials.reduce((a, m) => a + m.mg[0], 0), 0, 'yesterday');
  const page = await house.open('/spools', { as: 'desk' });
  await page.locator('.chart canvas').first().waitFor();
  says(await plain(page.getByRole('region', { name: 'Stock' }).first()), 'in hand now', 'petg', 'pla');
  await page.getByText('As a table').first().click();
  await page.getByRole('columnheader', { name: 'petg (g)' }).waitFor();
});

await test('how it looks', async () => {
  await everyLook(house, '/spools?spool=S11', { as: 'desk', name: 'spools', ready: (p) => p.locator('.chart canvas').first().waitFor() });
  const page = await house.open('/spools', { as: 'desk', language: 'de' });
  await page.getByText('Vorrat').first().waitFor();
  await noBareKeys(page);
  await shot(page, 'german');
});
await end();
