// Machines as the desk uses them: tagged out and cleared, fitted, loaded, the gap, sticks, history with undo, charts. SPDX-License-Identifier: Apache-2.0
import { axe, begin, end, is, says, shot, test } from './kit.mjs';
import { ada, finish, handOut, noBareKeys, plain, pressKey, seed, start, typeInto } from './book_kit.mjs';

const house = await begin({ seed });
const desk = await house.signIn('d1'), keeper = await house.signIn('k1'); // figures that are stated and not proved here are a keeper's
await finish(desk, await handOut(keeper, ada));
await finish(desk, await handOut(keeper, ada, { hash: 'cd' }), { outcome: 'failed', cause: 'handling' });
const machine = async (/** @type {string} */ name) => (await desk.ask(`machines?machine=${name}`)).machines[0];

await test('tagged out with a reason by key, seen by others at once, and cleared', async () => {
  const other = await house.open('/machines', { as: 'd2' });
  await other.getByRole('row', { name: /Birch/ }).waitFor();
  const page = await house.open('/machine/Birch', { as: 'desk' });
  await page.getByRole('button', { name: 'Tag out' }).waitFor();
  await page.keyboard.press('t');
  await page.getByRole('dialog').waitFor();
  await page.keyboard.press('Tab');
  await pressKey(page, 'Tag it out');
  await page.getByRole('dialog').getByText('This is needed.').waitFor();
  await axe(page, 'no reason');
  await typeInto(page, 'Reason', 'the nozzle leaks');
  await pressKey(page, 'Tag it out');
  await page.getByRole('complementary', { name: 'tagged out' }).getByText('the nozzle leaks').waitFor();
  await other.getByText('tagged out: the nozzle leaks').waitFor({ timeout: 4000 });
  is((await machine('Birch')).state, 'tagged-out', 'state');
  await axe(page, 'tagged out');
  await shot(page, 'tagged');
  await page.keyboard.press('t');
  await typeInto(page, 'What was done', 'a new nozzle');
  await page.keyboard.press('Control+Enter');
  await pressKey(page, 'In use again');
  await other.getByText('tagged out: the nozzle leaks').waitFor({ state: 'detached', timeout: 4000 });
  is((await machine('Birch')).state, 'free', 'state');
});

await test('what is fitted: a nozzle makes the gap due, the check makes it good', async () => {
  const page = await house.open('/machine/Alder', { as: 'desk' });
  await page.getByRole('region', { name: 'Fitted and loaded' }).waitFor();
  await desk.act('machine-gap', { machine: 'Alder' });
  await page.getByText('It holds.').waitFor({ timeout: 4000 });
  await pressKey(page, 'Fit something at nozzle 1');
  await page.getByRole('dialog').waitFor();
  is(await page.getByRole('dialog').getByText('pull the plug').count(), 1, 'the caution of mains');
  await typeInto(page, 'Nozzle', '0,6');
  await pressKey(page, 'It is fitted');
  await page.getByText('0.6 mm', { exact: true }).waitFor();
  await page.getByText('Check it before the next run.').waitFor();
  is((await machine('Alder')).tools[0].nozzle_um, 600, 'nozzle');
  is((await machine('Alder')).tools[0].spool, 'S11', 'the spool stays');
  await pressKey(page, 'Gap checked');
  await typeInto(page, 'Gap, where it was measured', '0.12');
  await pressKey(page, 'It is good');
  await page.getByText('It holds.').waitFor();
});

await test('a spool loaded at the machine, taken off, and back by undo', async () => {
  const page = await house.open('/machine/Cedar', { as: 'desk' });
  await page.getByRole('region', { name: 'Fitted and loaded' }).waitFor();
  await pressKey(page, 'Load nozzle 1');
  await page.getByRole('dialog').waitFor();
  await page.getByRole('dialog').getByLabel(/^S12/).focus();
  await page.keyboard.press('Space');
  await pressKey(page, 'Load');
  await page.getByRole('link', { name: 'S12' }).waitFor();
  await pressKey(page, 'Take off: S12');
  await page.getByRole('link', { name: 'S12' }).waitFor({ state: 'detached' });
  await page.keyboard.press('u');
  await page.getByRole('link', { name: 'S12' }).waitFor();
});

await test('history: each event with who and when, taken back where nothing rests on it, else the book says why', async () => {
  const page = await house.open('/machine/Cedar', { as: 'desk' });
  const list = page.getByRole('region', { name: 'What happened' });
  await list.getByText('Fitted or loaded').first().waitFor();
  await desk.act('machine-rest', { machine: 'Cedar', reason: 'a new belt' });
  await list.getByText('Rests for care').waitFor({ timeout: 4000 });
  await pressKey(page, /^Undo: Rests for care/);
  await page.getByText('Taken back.', { exact: true }).waitFor();
  is((await machine('Cedar')).state, 'free', 'state');
  await page.goto('/machine/Alder');
  await list.getByText('Outcome').first().waitFor();
  await list.getByRole('button', { name: /^Undo: Taken back/ }).last().focus();
  await page.keyboard.press('Enter');
  await page.locator('.notice.bad').waitFor();
});

await test('sticks: seen and lost; the keeper adds one', async () => {
  const page = await house.open('/machines', { as: 'desk' });
  await page.getByRole('region', { name: 'Sticks' }).getByText('E1').waitFor();
  is(await page.getByRole('button', { name: 'Add a stick' }).count(), 0, 'for the desk');
  await pressKey(page, 'Lost: stick E1');
  await page.getByText('of Elm, lost').waitFor();
  await page.keyboard.press('u');
  await page.getByText('of Elm, there').waitFor();
  const keeper = await house.open('/machines', { as: 'keeper' });
  await keeper.getByText('of Elm, there').waitFor();
  await pressKey(keeper, 'Add a stick');
  await typeInto(keeper, 'Stick', 'E2');
  await keeper.getByRole('dialog').getByLabel('Elm').focus();
  await keeper.keyboard.press('Space');
  await pressKey(keeper, 'Add');
  await page.getByText('E2').waitFor({ timeout: 4000 });
});

await test('charts say in words what they show, and few failures are called few', async () => {
  const page = await house.open('/machines', { as: 'desk' });
  await page.locator('.chart canvas').first().waitFor();
  const use = await plain(page.getByRole('region', { name: 'How they were used' }));
  says(use, '2 runs took 24 m in 21 days', '24 m and', 'most on Alder, 24 m', 'of 1 materials', '1 of 2 runs failed or were stopped', 'Most often by handling: 1.', 'That is few');
  // Wilson 1927 for 1 of 2: 0.0945 to 0.9055 (the score interval by hand)
  says(use, 'between 9 and 91 of a hundred');
});

await test('a run that is out is named with its end and its member', async () => {
  await start(desk, await handOut(keeper, ada, { hash: 'ef' }));
  const page = await house.open('/machine/Alder', { as: 'desk' });
  await page.getByText(/out, run \d+, ends about/).waitFor();
  await page.getByText(`of member ${ada}`).or(page.getByText(`of ${ada}:`)).first().waitFor();
});

await test('in German', async () => {
  for (const path of ['/machines', '/machine/Alder']) {
    const page = await house.open(path, { as: 'keeper', language: 'de' });
    await page.getByText(/Wie sie benutzt wurden|Was geschah/).first().waitFor();
    await noBareKeys(page);
  }
});
await end();
