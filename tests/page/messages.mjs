// The outbox: copied, marked as sent, changed, dropped, written; nothing goes out by itself. SPDX-License-Identifier: Apache-2.0
import { axe, begin, end, is, says, test } from './kit.mjs';
import { busy } from './desk_kit.mjs';

const house = await begin(), { desk, names, shelved } = await busy(house);
house.by('keeper', 'member', 'name', 'm1', '--contact', 'm1@quay.example');
const run = await shelved(names[0], 1, { message: 'Your part waits on place 1.' });
await shelved(names[1], 2, { member: 'm2', message: 'Your part waits on place 2.' });
const waiting = async () => (await desk.call('/api/1/ask/outbox?state=waiting')).messages;

await test('read, why it was written, where to, copied and marked as sent by keys', async () => {
  const page = await house.open('/messages', { as: 'desk', more: { permissions: ['clipboard-read', 'clipboard-write'] } });
  await page.getByText('Your part waits on place 1.').waitFor();
  says(await page.locator('.letters').innerText(), 'To member m1', 'Their part waits on the shelf.', `Run ${run}.`);
  is((await page.locator('body').innerText()).includes('m1@quay.example'), false, 'the contact before it is asked for');
  await page.getByRole('button', { name: 'Where to: member m1' }).click();
  await page.getByText('m1@quay.example').waitFor();
  await axe(page, 'contact');
  await page.locator('h1').focus();
  await page.keyboard.press('c');
  await page.getByText('The text is copied.').waitFor();
  is(await page.evaluate(() => navigator.clipboard.readText()), 'Your part waits on place 1.', 'what was copied');
  is((await waiting()).length, 2, 'waiting before it is marked');
  await page.keyboard.press('s');
  await page.getByText('The message to member m1 is booked as sent.').waitFor();
  is((await waiting()).length, 1, 'waiting');
  await page.keyboard.press('u');
  await page.getByText('Taken back.', { exact: true }).waitFor();
  is((await waiting()).length, 2, 'waiting after undo');
});

await test('changed: the book keeps both, all or none', async () => {
  const page = await house.open('/messages', { as: 'desk', size: 'phone' });
  await page.getByRole('button', { name: 'Change: member m2' }).tap();
  await axe(page, 'change');
  await page.getByRole('textbox', { name: 'Text' }).fill('Your part waits on place 2, until Friday.');
  await page.getByRole('button', { name: 'Put it in the outbox' }).tap();
  await page.getByText('is changed').waitFor();
  const rows = await waiting();
  is(rows.length, 2, 'waiting');
  is(rows.some((m) => m.text === 'Your part waits on place 2, until Friday.' && m.kind === 'collect' && m.run), true, 'with its run and kind');
  is((await desk.call('/api/1/ask/outbox?state=dropped')).messages.length, 1, 'dropped');
});

await test('dropped, and written', async () => {
  const page = await house.open('/messages', { as: 'desk' });
  await page.getByRole('button', { name: 'Don\'t send: member m2' }).click();
  await page.getByText('will not be sent').waitFor();
  is((await waiting()).length, 1, 'waiting');
  await page.getByRole('button', { name: 'Write a message' }).click();
  await page.getByRole('combobox', { name: 'To' }).fill('m2');
  await page.getByRole('option', { name: /^m2/ }).click();
  await page.getByRole('button', { name: 'Put it in the outbox' }).click();
  await page.getByText('Say to whom, and what.').waitFor();
  await axe(page, 'nothing written');
  await page.getByRole('textbox', { name: 'Text' }).fill('Your bottle was found.');
  await page.getByRole('button', { name: 'Put it in the outbox' }).click();
  await page.getByText('A message to member m2 waits in the outbox.').waitFor();
  is((await waiting()).some((m) => m.kind === 'other' && m.text === 'Your bottle was found.'), true, 'written');
});

await test('in German', async () => {
  const page = await house.open('/messages', { as: 'desk', language: 'de' });
  await page.locator('.letters').waitFor();
  is((/\b(kit|messages)\.[a-z_]+\b/.exec(await page.locator('body').innerText()) ?? [''])[0], '', 'a key');
});
await end();
