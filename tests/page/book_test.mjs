// The book as the keeper uses it: the term, funds, courses, export, verify, copies, events with undo. SPDX-License-Identifier: Apache-2.0
import { readFileSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { axe, begin, end, is, says, shot, test } from './kit.mjs';
import { ada, finish, handOut, noBareKeys, plain, pressKey, seed, typeInto } from './book_kit.mjs';

const house = await begin({ seed });
const desk = await house.signIn('d1'), keeper = await house.signIn('k1');
await finish(desk, await handOut(keeper, ada));
const saved = async (/** @type {any} */ page) => {
  const [down] = await Promise.all([page.waitForEvent('download'), pressKey(page, 'Save the export')]);
  return { name: down.suggestedFilename(), bytes: readFileSync(await down.path()) };
};

await test('the term in figures and words', async () => {
  const page = await house.open('/book', { as: 'keeper' });
  const term = page.getByRole('region', { name: 'Term this-term' });
  await term.getByText('150 m free for each member').waitFor();
  const text = await plain(term);
  says(text, '12 m, 0.04 kg', 'Of 1 members who printed, 0 used four fifths', '% of the term are past', 'Still open: 1 part on the shelf.');
});

await test('export: an archive of CSV and one JSON object, names only when asked for', async () => {
  const page = await house.open('/book', { as: 'keeper' });
  await page.getByRole('region', { name: 'Export' }).waitFor();
  const zip = await saved(page);
  is(/^book-\d{4}-\d\d-\d\d\.zip$/.test(zip.name), true, zip.name);
  is(zip.bytes.subarray(0, 4).toString('latin1'), 'PK\x03\x04', 'a ZIP archive');
  const all = zip.bytes.toString('latin1');
  says(all, 'runs.csv', 'README.md', 'bracket.gcode');
  is(all.includes('Ada Quay'), false, 'names');
  is(all.includes('$argon2'), false, 'hashes');
  await page.getByRole('radio', { name: 'JSON' }).focus();
  await page.keyboard.press('Space');
  await page.getByLabel('With names and contacts').focus();
  await page.keyboard.press('Space');
  const json = JSON.parse((await saved(page)).bytes.toString());
  is(json.names, true, 'names');
  is(JSON.stringify(json).includes('Ada Quay'), true, 'names are in it');
  is(JSON.stringify(json).includes('$argon2'), false, 'hashes');
  await page.getByLabel('Until the end of').last().fill('2020-01-01');
  is(JSON.parse((await saved(page)).bytes.toString()).tables.runs.length, 0, 'runs before 2020');
});

await test('verify and a copy; the copy is a book in order', async () => {
  const page = await house.open('/book', { as: 'keeper' });
  await page.getByText('No copy was made here yet.').waitFor();
  await pressKey(page, 'Verify the book');
  await page.getByText(/In order: \d+ events/).waitFor();
  await pressKey(page, 'Make a copy');
  await page.getByText(/1 copy; made/).waitFor();
  const folder = join(house.where, 'book.db.backups'), [name] = readdirSync(folder).filter((f) => f.endsWith('.db'));
  is(/^book-\d{4}-\d\d-\d\d-\d{6}\.db$/.test(name), true, name);
  house.run('ledger', 'verify', '--ledger', join(folder, name));
  await axe(page, 'verified');
  await shot(page, 'verified');
});

await test('a fund and a course, an assignment, closed again', async () => {
  const page = await house.open('/book', { as: 'keeper' });
  await page.getByText('No fund.').waitFor();
  await pressKey(page, 'Open a fund');
  await typeInto(page, 'Short name', 'regatta');
  await typeInto(page, 'Title', 'Model boats');
  await typeInto(page, 'Budget', '120,50');
  await page.keyboard.press('Enter');
  await page.getByText('£120.50 of £120.50 left, 0 runs').waitFor();
  await pressKey(page, 'Open a course');
  await typeInto(page, 'Short name', 'hulls');
  await typeInto(page, 'Title', 'How hulls float');
  await page.getByRole('dialog').getByLabel('Model boats').focus();
  await page.keyboard.press('Space');
  await pressKey(page, 'Open');
  await page.getByText('(fund regatta)').waitFor();
  await pressKey(page, 'Assignment for How hulls float');
  await typeInto(page, 'Short name', 'rudder');
  await typeInto(page, 'Title', 'A rudder');
  await page.keyboard.press('Enter');
  await page.getByText('A rudder', { exact: false }).first().waitFor();
  await pressKey(page, 'Close How hulls float');
  await page.getByText(/How hulls float closed/).waitFor();
  await page.keyboard.press('u');
  await page.getByRole('button', { name: 'Close How hulls float' }).waitFor();
  is((await keeper.ask('courses')).courses[0].closed_ms, null, 'open again');
});

await test('events: of one kind, by one person, taken back', async () => {
  await desk.act('note-leave', { text: 'Feed Birch first' });
  const page = await house.open('/book', { as: 'keeper' });
  const events = page.getByRole('region', { name: 'Events' });
  await events.getByText('Feed Birch first').waitFor();
  await events.getByLabel('Kind').selectOption('run-hand-out');
  await events.getByText('Feed Birch first').waitFor({ state: 'detached' });
  says(await events.innerText(), 'Handed out');
  await events.getByLabel('Kind').selectOption('');
  await typeInto(page, 'By', 'd1');
  await events.getByText('Feed Birch first').waitFor();
  await pressKey(page, /^Undo: Note left/);
  await page.getByText('Taken back.', { exact: true }).waitFor();
  await typeInto(page, 'By', 'k1');
  await events.locator('strong', { hasText: 'Taken back' }).first().waitFor();
});

await test('a term is closed only when all is back, and the sentence says so', async () => {
  const run = await handOut(keeper, ada, { hash: 'cd' });
  const page = await house.open('/book', { as: 'keeper' });
  await page.getByRole('region', { name: 'Term this-term' }).getByText('1 run out').waitFor();
  await pressKey(page, 'Close the term');
  await pressKey(page, 'Close it');
  await page.getByRole('dialog').getByRole('alert').waitFor();
  await axe(page, 'a refusal');
  await page.keyboard.press('Escape');
  await finish(desk, run);
  await pressKey(page, 'Close the term');
  await pressKey(page, 'Close it');
  await page.getByText('Term this-term is closed.').waitFor();
  await page.keyboard.press('u');
  await page.getByText('Taken back.', { exact: true }).waitFor();
});

await test('the desk sees the term and no more; the server says the same', async () => {
  const page = await house.open('/book', { as: 'desk' });
  await page.getByRole('region', { name: 'Term this-term' }).waitFor();
  for (const name of ['Save the export', 'Verify the book', 'Make a copy', 'Close the term', 'Open a fund']) is(await page.getByText(name).count(), 0, name);
  for (const path of ['/api/1/export.zip', '/api/1/export.json', '/api/1/backups', '/api/1/ask/events']) is((await fetch(house.url + path, { headers: { Cookie: desk.cookie } })).status, 403, path);
  for (const path of ['/api/1/verify', '/api/1/backups']) is((await fetch(house.url + path, { method: 'POST', body: '{}', headers: { Cookie: desk.cookie, 'Content-Type': 'application/json', 'X-Proveout-Token': desk.token } })).status, 403, path);
});

await test('in German', async () => {
  const page = await house.open('/book', { as: 'keeper', language: 'de' });
  await page.getByText('Wie sie benutzt wurden').waitFor();
  await page.locator('.chart canvas').first().waitFor();
  await noBareKeys(page);
});
await end();
