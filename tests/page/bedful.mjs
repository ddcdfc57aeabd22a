// Bedfuls on the page: parts in, the best so far while it is searched for, stopped and kept, what does not fit and why, 3MF. SPDX-License-Identifier: Apache-2.0
//   node tests/page/bedful.mjs PROVEOUT SHOP [SHOTS]
import { begin, end, everyLook, is, noSideways, says, shot, test } from './kit.mjs';

const house = await begin();

/** Binary STL of a box, or of prisms over an L. */
function stl(boxes) {
  const t = [];
  for (const [x, y, z, a, b, c] of boxes) {
    const p = [...Array(8).keys()].map((i) => [x + (i & 1 ? a : 0), y + (i & 2 ? b : 0), z + (i & 4 ? c : 0)]);
    for (const f of [[0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4], [2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5]]) t.push(f.map((k) => p[k]));
  }
  const d = Buffer.alloc(84 + 50 * t.length);
  d.writeUInt32LE(t.length, 80);
  t.forEach((q, i) => q.flat().forEach((v, k) => d.writeFloatLE(v, 84 + 50 * i + 12 + 4 * k)));
  return d;
}
const file = (name, ...boxes) => ({ name, mimeType: 'model/stl', buffer: stl(boxes) });
const bracket = file('bracket.stl', [0, 0, 0, 60, 40, 30]), wide = file('wide.stl', [0, 0, 0, 400, 300, 20]), corner = file('corner.stl', [0, 0, 0, 70, 18, 10], [0, 0, 0, 18, 70, 10]);
const choose = async (page, ...files) => {
  await page.locator('input[type=file]').setInputFiles(files);
  await page.waitForFunction((n) => document.querySelectorAll('.bedful-parts li').length >= n && !/on its way/.test(document.querySelector('.bedful-parts').textContent), files.length);
};
const copies = (page, name, n) => page.locator('.bedful-parts li', { hasText: name }).getByRole('textbox').fill(String(n));
const over = async (page, more = {}) => { await page.getByRole('heading', { name: 'The layout' }).waitFor({ timeout: 20000, ...more }); return page.locator('.bedful-layout').innerText(); };

await test('parts are laid out, told in words, and taken along as 3MF', async () => {
  const page = await house.open('/bedful', { as: 'desk' });
  await page.getByText('No part yet').waitFor();
  is(await page.getByRole('button', { name: 'Lay them out' }).isDisabled(), true, 'nothing to lay out');
  await choose(page, bracket, wide);
  await copies(page, 'bracket.stl', 20);
  await page.keyboard.press('Tab');
  await page.getByRole('radio', { name: 'Alder' }).check();
  await page.getByRole('button', { name: 'Lay them out' }).click();
  says(await over(page), '2 bedfuls on Alder.', 'No layout takes fewer.', 'What did not fit', '1 of part 2, wide.stl: has no room on an empty bed', 'of part 1, bracket.stl', '% of the bed');
  await page.waitForFunction(() => { const i = document.querySelector('.bedful-layout img'); return i?.complete && i.naturalWidth > 0; });
  const desk = await house.signIn('d1'), at = await page.getByRole('link', { name: 'Take bedful 2 as 3MF' }).getAttribute('href');
  const reply = await fetch(house.url + at, { headers: { Cookie: desk.cookie } });
  is(reply.status, 200, 'file'); is(reply.headers.get('content-type'), 'model/3mf', 'kind'); says(reply.headers.get('content-disposition'), 'bedful-2.3mf');
  is(Buffer.from(await reply.arrayBuffer()).subarray(0, 2).toString(), 'PK', 'an archive');
  is((await fetch(house.url + at)).status, 401, 'to nobody');
  await page.getByText('Where each part lies').first().click();
  is(await page.locator('.bedful-beds details[open] tbody tr').count() >= 10, true, 'a row for each place');
  await noSideways(page);
  await shot(page, 'laid', true);
});

await test('the best so far is seen while it is searched for; stopping keeps it', async () => {
  const page = await house.open('/bedful', { as: 'desk' });
  await choose(page, corner);
  await copies(page, 'corner.stl', 61);
  await page.getByLabel('Search for').fill('120');
  await page.getByRole('radio', { name: 'Alder' }).check();
  await page.getByRole('button', { name: 'Lay them out' }).click();
  await page.getByRole('heading', { name: 'The best so far' }).waitFor();
  await page.locator('.bedful-layout img').waitFor({ timeout: 10000 });
  says(await page.locator('.bedful-layout').innerText(), 'Best so far: ', 'of 120 s');
  is(await page.getByRole('link', { name: /3MF/ }).count(), 0, 'no file yet');
  await shot(page, 'so-far', true);
  const begun = Date.now();
  await page.locator('main h1').focus();
  await page.keyboard.press('x');
  const text = await over(page);
  is(Date.now() - begun < 10000, true, 'stopped at once');
  says(text, 'the search was ended before its time', 'bedful');
  is(await page.getByRole('link', { name: /3MF/ }).count() > 0, true, 'files');
});

await test('one after another, in order; what is no figure, no part or no head is said at its place', async () => {
  const page = await house.open('/bedful', { as: 'desk' });
  await choose(page, bracket, { name: 'notes.stl', mimeType: 'text/plain', buffer: Buffer.from('a word\n') });
  says(await page.locator('.bedful-parts').innerText(), 'is no part');
  is(await page.getByRole('button', { name: 'Lay them out' }).isDisabled(), true, 'one is no part');
  await page.getByRole('button', { name: 'Remove notes.stl' }).click();
  await copies(page, 'bracket.stl', 3);
  await page.getByLabel('Finish each part').check();
  await page.getByLabel('Search for').fill('2');
  await page.getByRole('radio', { name: 'Alder' }).check();
  await page.getByRole('button', { name: 'Lay them out' }).click();
  const text = await over(page);
  await page.getByText('Where each part lies').first().click();
  says(await page.locator('.bedful-beds table').first().innerText(), 'Order');
  says(text, 'Caution');
  await page.getByLabel('Between parts').fill('200');
  await page.getByText('A number from 0 to 100 mm is wanted.').waitFor();
  await copies(page, 'bracket.stl', 10000);
  await page.getByLabel('Between parts').fill('6');
  await choose(page, corner);
  await page.getByRole('button', { name: 'Lay them out' }).click();
  await page.getByText('10000 in all at most').waitFor();
});

await test('what the server refuses', async () => {
  const d = await house.signIn('d1');
  const ask = async (body) => { try { return await d.call('/api/1/bedfuls', body); } catch (e) { return String(e); } };
  const hash = 'a'.repeat(64);
  says(await ask({ machine: 'Oak', files: [hash], copies: [1] }), '422', 'no such machine');
  says(await ask({ machine: 'Alder', files: [hash], copies: [1] }), '404', 'not kept here');
  says(await ask({ machine: 'Alder', files: [hash], copies: [1, 2] }), '422', 'as many figures');
  says(await ask({ machine: 'Alder', files: [hash], copies: [1], seconds: 3000 }), '422', '300 seconds');
  says(await ask({ machine: 'Alder', files: [hash], copies: [1], clearance_um: 100001 }), '422', '100 mm');
});

await test('in every look', async () => {
  await everyLook(house, '/bedful', { as: 'desk', name: 'look', ready: async (page) => {
    await choose(page, bracket, wide);
    await page.getByRole('radio', { name: 'Birch' }).check();
    await page.getByRole('button', { name: 'Lay them out' }).click();
    await over(page);
  } });
});
await end();
