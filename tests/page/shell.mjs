// The shell, signing in, settings, what is not there, the line cut and back. SPDX-License-Identifier: Apache-2.0
import { axe, begin, end, everyLook, is, passwords, says, shot, test } from './kit.mjs';

const house = await begin();

await test('the kiosk sees what is for all, and nothing else', async () => {
  const page = await house.open('/');
  await page.waitForURL('**/prove');
  says(await page.locator('nav.ways').innerText(), 'Prove');
  is(await page.locator('nav.ways').getByText('People').count(), 0, 'ways of the desk');
  await page.goto('/people');
  await page.getByText('Sign in to see this page').waitFor();
});

await test('signing in goes on where one was', async () => {
  const page = await house.open('/shelf');
  await page.locator('main').getByRole('link', { name: 'Sign in' }).click();
  await page.getByLabel('Member number').fill('d1');
  await page.getByLabel('Password', { exact: true }).fill('not this one');
  await page.keyboard.press('Enter');
  await page.getByRole('alert').getByText('do not fit together').waitFor();
  await axe(page, 'a refusal');
  await shot(page, 'refused');
  await page.getByLabel('Password', { exact: true }).fill(passwords.d1);
  await page.keyboard.press('Enter');
  await page.waitForURL('**/shelf');
  await page.getByRole('heading', { name: 'Shelf' }).waitFor();
  says(await page.locator('.who').innerText(), 'd1', 'desk');
  await page.getByRole('button', { name: 'Sign out' }).click();
  await page.waitForURL('**/prove');
});

await test('keys: help, a way by Alt, and switched off', async () => {
  const page = await house.open('/settings', { as: 'desk' });
  await page.keyboard.press('?');
  await page.getByRole('dialog').waitFor();
  await axe(page, 'keys');
  await page.keyboard.press('Escape');
  is(await page.getByRole('dialog').count(), 0, 'dialogs');
  await page.getByLabel('Single keys act').uncheck();
  await page.getByRole('heading', { name: 'Settings' }).click();
  await page.keyboard.press('?');
  is(await page.getByRole('dialog').count(), 0, 'dialogs with keys off');
  await page.keyboard.press('Alt+2');
  await page.waitForURL('**/out');
});

await test('the language is kept, and no key of the catalogue is shown', async () => {
  const page = await house.open('/settings');
  await page.getByLabel('Deutsch').check();
  await page.getByRole('heading', { name: 'Einstellungen' }).waitFor();
  await page.reload();
  await page.getByRole('heading', { name: 'Einstellungen' }).waitFor();
  is(await page.evaluate(() => document.documentElement.lang), 'de', 'language of the document');
  for (const path of ['/about', '/sign-in', '/settings']) {
    await page.goto(path);
    await page.waitForSelector('main h1');
    is((/\b(kit|shell|about|settings|sign-in|pages)\.[a-z_]+\b/.exec(await page.locator('body').innerText()) ?? [''])[0], '', `a key on ${path}`);
  }
});

await test('settings of somebody who is signed in', async () => {
  await everyLook(house, '/settings', { as: 'desk', name: 'settings' });
});

await test('what is not there', async () => {
  const page = await house.open('/nothing-here');
  await page.getByRole('heading', { name: 'No such page' }).waitFor();
  await axe(page);
  const reply = await fetch(`${house.url}/nothing-here`, { headers: { Accept: 'text/html' } });
  is(reply.status, 404, 'status for who looks');
  is((await fetch(`${house.url}/nothing-here`, { headers: { Accept: 'application/json' } })).headers.get('content-type'), 'application/problem+json', 'for a program');
});

await test('more ways on a phone', async () => {
  const page = await house.open('/settings', { as: 'desk', size: 'phone' });
  await page.getByRole('button', { name: 'More' }).click();
  await axe(page, 'more');
  await shot(page, 'more');
  await page.getByRole('dialog').getByRole('link', { name: 'People' }).click();
  await page.waitForURL('**/people');
});

await test('the line is cut, and comes back by itself', async () => {
  const page = await house.open('/settings', { as: 'desk' });
  await house.stop('SIGKILL');
  await page.getByText('Line cut, last seen').waitFor({ timeout: 8000 });
  await axe(page, 'cut');
  await shot(page, 'cut');
  await house.start();
  await page.getByText('Line cut, last seen').waitFor({ state: 'detached', timeout: 15000 });
  await page.getByRole('dialog').waitFor({ timeout: 3000 }); // sessions are in memory only: it asks at once
});

await test('after a restart it asks to sign in and goes on where one was, with what was typed', async () => {
  const page = await house.open('/out', { as: 'desk' });
  const field = page.locator('main input').first();
  await field.fill('m1');
  await house.stop('SIGKILL');
  await house.start();
  const dialog = page.getByRole('dialog');
  await dialog.getByText('You are signed out').waitFor({ timeout: 15000 });
  await axe(page, 'signed out');
  is(await dialog.getByLabel('Member number').inputValue(), 'd1', 'who was here');
  await page.keyboard.type(passwords.d1); // the password's field has the focus
  await page.keyboard.press('Enter');
  await dialog.waitFor({ state: 'detached', timeout: 10000 });
  is(await field.inputValue(), 'm1', 'what was typed');
  says(await page.locator('.who').innerText(), 'd1', 'desk');
  const desk = await house.signIn('d2'); // and it follows the book again
  await page.goto('/messages');
  await desk.act('note-leave', { text: 'after the restart' });
  is(await page.getByRole('dialog').count(), 0, 'dialogs');
});

await test('whoever does not sign in again is the kiosk', async () => {
  const page = await house.open('/settings', { as: 'desk' });
  await house.stop();
  await house.start();
  await page.getByRole('dialog').waitFor({ timeout: 15000 });
  await page.keyboard.press('Escape');
  await page.getByText('Kiosk').first().waitFor({ timeout: 3000 });
  is(await page.getByRole('dialog').count(), 0, 'dialogs');
  await page.goto('/people');
  await page.getByText('Sign in to see this page').waitFor();
});

await test('an act whose answer was cut off is not sent twice; the page says to look first', async () => {
  const page = await house.open('/today', { as: 'desk' });
  let sent = 0;
  const notes = async () => JSON.stringify(await (await house.signIn('k1')).ask('events')).split('"note-leave"').length - 1, before = await notes();
  await page.route('**/api/1/acts/note-leave', async (route) => {
    sent++;
    await route.fetch(); // it reached the book ...
    await house.stop('SIGKILL');
    await route.abort('connectionreset'); // ... and its answer did not come through
  });
  await page.keyboard.press('h');
  const note = page.getByRole('dialog').filter({ hasText: 'Leave a note' });
  await note.getByLabel('For whoever comes next').fill('The key is in the drawer.');
  await page.keyboard.press('Tab');
  await note.getByRole('button', { name: 'Leave it' }).press('Enter');
  await note.getByText('look whether it was booked').waitFor({ timeout: 8000 });
  await house.start();
  const over = page.getByRole('dialog').filter({ hasText: 'You are signed out' });
  await over.waitFor({ timeout: 15000 });
  await page.keyboard.type(passwords.d1);
  await page.keyboard.press('Enter');
  await over.waitFor({ state: 'detached', timeout: 10000 });
  await page.locator('.hand-over').getByText('The key is in the drawer.').waitFor({ timeout: 10000 }); // there one sees it
  is(await note.getByLabel('For whoever comes next').inputValue(), 'The key is in the drawer.', 'what was typed');
  is(sent, 1, 'times sent');
  is(await notes(), before + 1, 'notes in the book');
});
await end();
