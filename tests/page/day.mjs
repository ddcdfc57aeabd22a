// One whole day at the desk, by the keyboard alone: opening round, hand-out, watch, tickets, take-back, shelf, messages, note, closing round. SPDX-License-Identifier: Apache-2.0
// A second desk window and a kiosk are open beside it. Nothing is clicked, and no act is booked but by keys; the book is only read.
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { begin, end, is, passwords, says, shot, test } from './kit.mjs';
import { shopWithSticks, tube } from './hand_kit.mjs';

const job = tube();
let night = 0;
const house = await begin({ seed(h) {
  shopWithSticks(h);
  for (const m of ['m1', 'm2']) h.by('keeper', 'permit', 'grant', m, 'starter');
  h.by('keeper', 'term', 'open', 'autumn-2026', '--allowance', '120');
  h.by('keeper', 'spool', 'add', 'p1', '--material', 'petg', '--net', '900');
  h.by('keeper', 'machine', 'fit', 'Alder', '--spool', 'p1');
  for (const [s, m] of [['A1', 'Alder'], ['B1', 'Birch']]) h.by('keeper', 'stick', 'add', s, m);
  writeFileSync(join(h.where, 'hook.gcode'), tube({ size: 24 })); // what is still on a machine when the day begins
  h.by('d1', 'run', 'hand-out', 'm2', 'hook.gcode', '--machine', 'Birch');
  night = JSON.parse(h.run('run', 'list', '--json')).runs[0].run;
  h.by('d1', 'run', 'start', String(night), '--all-good');
} });
const show = (run) => JSON.parse(house.run('run', 'show', String(run), '--json'));

/** What has the focus, as it is named: its label, else what stands on it. */
const focused = (page) => page.evaluate(() => {
  const e = /** @type {any} */ (document.activeElement);
  return (e?.getAttribute('aria-label') ?? e?.labels?.[0]?.textContent ?? (e?.querySelector(':scope > span') ?? e)?.textContent ?? '').trim();
});
const fits = (name, want) => (typeof want === 'string' ? name.startsWith(want) : want.test(name));
/** By Tab (or back by Shift+Tab) to what is named so; as many presses as a page may cost at most. */
async function reach(page, want, { key = 'Tab', most = 45 } = {}) {
  const seen = [];
  for (let i = 0; i < most; i++) {
    const name = await focused(page);
    if (fits(name, want)) return;
    seen.push(name.slice(0, 30));
    await page.keyboard.press(key);
  }
  throw new Error(`${key} does not come to ${want} on ${page.url()}: ${seen.join(' | ')}`);
}
const press = async (page, want, o) => { await reach(page, want, o); await page.keyboard.press('Enter'); };
const back = (page, want) => press(page, want, { key: 'Shift+Tab' });
const type = async (page, want, text) => { await reach(page, want); await page.keyboard.type(text); };
/** By Alt and a figure; the focus goes to its heading, or where a scanner is to type. */
async function way(page, n, title) {
  await page.keyboard.press(`Alt+${n}`);
  await page.getByRole('heading', { level: 1, name: title }).waitFor();
  await page.waitForFunction(() => document.activeElement?.matches('main h1, form.scan input'));
}
/** By the arrows to a line of Today. */
async function walk(page, text) {
  await page.locator('.due li', { hasText: text }).waitFor();
  for (let i = 0; i < 45 && !(await page.evaluate(() => document.activeElement?.hasAttribute('data-key'))); i++) await page.keyboard.press('Tab');
  await page.keyboard.press('Home');
  for (let i = 0; i < 25; i++) {
    if (await page.evaluate((x) => document.activeElement?.hasAttribute('data-key') && document.activeElement.textContent.includes(x), text)) return;
    await page.keyboard.press('ArrowDown');
  }
  throw new Error(`the arrows do not come to "${text}"`);
}
const notice = (page, text) => page.locator('.notices').getByText(text).first().waitFor({ timeout: 5000 });
/** The other desk's window, which nobody touches. */
const follows = (page, text, state = 'visible') => page.locator('main').getByText(text).first().waitFor({ state, timeout: 3000 });

await test('one whole day by keys alone', async () => {
  const desk = await house.open('/', { more: { permissions: ['clipboard-read', 'clipboard-write'] } }), other = await house.open('/today', { as: 'd2' }), kiosk = await house.open('/prove');
  const part = async (name, f) => { try { await f(); } catch (e) { e.stack = `${name}: ${e.stack}`; throw e; } };
  let run = 0, code = '', called = '';
  Object.assign(other.note, { size: 'other' });
  Object.assign(kiosk.note, { size: 'kiosk' });
  for (const page of [desk, other, kiosk]) page.setDefaultTimeout(12000);
  const chosen = new Promise((done) => kiosk.on('filechooser', done)); // from here on: whoever listens only as the key is pressed may come too late
  for (const page of [desk, other, kiosk]) await page.evaluate(() => addEventListener('pointerdown', () => { document.documentElement.dataset.pointed = ''; }, true));

  await part('sign in', async () => {
    await press(desk, 'Sign in');
    await desk.waitForURL('**/sign-in**');
    await type(desk, 'Member number', 'd1');
    await type(desk, 'Password', passwords.d1);
    await desk.keyboard.press('Enter');
    await desk.waitForURL('**/today');
  });

  await part('opening round', async () => {
    await way(desk, 4, 'Round');
    await press(desk, 'Begin the opening round');
    await desk.getByRole('heading', { level: 1, name: 'Opening round' }).waitFor();
    await follows(other, 'The opening round is still open');
    await desk.getByRole('heading', { level: 2, name: 'Alder', exact: true }).waitFor();
    await desk.keyboard.press('y');
    await desk.getByRole('heading', { level: 2, name: 'Birch', exact: true }).waitFor();
    await desk.keyboard.press('x'); // it stopped
    await desk.waitForFunction(() => document.activeElement?.closest('.failure') && document.activeElement.tagName === 'INPUT');
    await desk.keyboard.type('10');
    await reach(desk, 'What is to be seen');
    await desk.keyboard.type('layers'); // the list goes to what begins so
    await desk.locator('.used').waitFor();
    await desk.locator('.choice label.on', { hasText: 'machine' }).waitFor(); // the cause that the sign points to
    await shot(desk, 'failure', true);
    await press(desk, 'Confirm and book all');
    await desk.getByRole('heading', { level: 2, name: 'Cedar', exact: true }).waitFor();
    const was = show(night);
    is(`${was.state} ${was.outcome} ${was.cause}`, 'back failed machine', 'the run of the night');
    is(was.used_um > 0.4 * was.reserved_um && was.used_um < 0.6 * was.reserved_um, true, 'about half of it was used');
    for (const name of ['Cedar', 'Dogwood', 'Elm']) {
      await desk.getByRole('heading', { level: 2, name, exact: true }).waitFor();
      await desk.keyboard.press('y');
    }
    await desk.getByRole('heading', { name: 'All machines are seen' }).waitFor();
    await press(desk, 'The round is done');
    await desk.getByText('The opening round is done.').waitFor();
    await follows(other, 'The opening round is still open', 'detached');
  });

  await part('the kiosk proves a file', async () => {
    await kiosk.keyboard.press('o');
    await (await chosen).setFiles({ name: 'tube.gcode', mimeType: 'text/plain', buffer: Buffer.from(job) });
    await kiosk.getByRole('heading', { name: 'Slip', exact: true }).waitFor({ timeout: 20000 });
    code = (await kiosk.locator('.slip .code').innerText()).trim().split(/\s+/).pop();
  });

  await part('hand-out by the slip', async () => {
    await way(desk, 2, 'Hand out');
    await type(desk, 'Number or name', 'm1');
    await desk.keyboard.press('Enter');
    await desk.waitForFunction(() => document.activeElement?.closest('section')?.querySelector('h2')?.textContent === 'Job');
    await desk.keyboard.type(code);
    await desk.keyboard.press('Enter');
    await desk.getByRole('heading', { name: 'Alder goes out' }).waitFor();
    await desk.waitForFunction(() => document.activeElement?.getAttribute('type') === 'submit');
    await reach(desk, 'Write to the folder', { key: 'Shift+Tab' }); // no stick is mounted here: said once
    await desk.keyboard.press('Space');
    await press(desk, 'Write the stick');
    await desk.getByRole('heading', { name: /Alder is out with member m1/ }).waitFor();
    run = JSON.parse(house.run('run', 'list', '--json')).runs[0].run;
    await follows(other, `Alder is out with member m1, run ${run}`);
    await press(desk, 'Send it as a message too');
    await press(desk, 'Put it into the outbox');
    await notice(desk, 'The message waits in the outbox.');
    await follows(other, '1 message waits to be sent');
    await desk.keyboard.press('a');
    await press(desk, 'Start: the watch begins');
    await desk.getByRole('heading', { name: 'Watch: the first layer' }).waitFor();
    await follows(other, 'Alder: how is the first layer?');
    await press(desk, 'The first layer is good');
    await desk.getByText('the first layer was judged good').waitFor();
    is(show(run).first_layer, 'good', 'the first layer');
    await follows(other, 'Alder: how is the first layer?', 'detached');
  });

  await part('a ticket', async () => {
    await way(desk, 7, 'Tickets');
    await type(desk, 'Member', 'm2');
    await desk.getByRole('option', { name: /^m2/ }).waitFor();
    await desk.keyboard.press('Enter');
    await press(desk, 'Take a number');
    await notice(desk, /Ticket \d+ is taken/);
    called = /^Call to (\w+)/.exec(await desk.locator('.tickets li .button.main').innerText())[1];
    await desk.keyboard.press('n');
    await notice(desk, `is called to ${called}.`);
    await follows(other, `is called: ${called}`);
  });

  await part('acts of today', async () => {
    await way(desk, 1, 'Today');
    await walk(desk, `is called: ${called}`);
    await desk.keyboard.press('d');
    await notice(desk, 'did not want it');
    await follows(other, `is called: ${called}`, 'detached');
    await walk(desk, `run ${run} should end`);
    await desk.keyboard.press('e');
    await notice(desk, `Alder: run ${run} has ended.`);
    await follows(other, `take the part of run ${run} off`);
  });

  await part('take-back, the part to the shelf', async () => {
    await way(desk, 3, 'Take back');
    await type(desk, 'Stick, machine or run', 'A1');
    await desk.keyboard.press('Enter');
    await desk.getByRole('heading', { name: 'Alder is back from member m1' }).waitFor();
    await press(desk, 'It came out good');
    await desk.getByRole('heading', { name: 'Alder is free' }).waitFor();
    const was = show(run);
    is(`${was.state} ${was.outcome} ${was.part.state} ${was.part.place}`, 'back good shelf 1', 'the run of the day');
    await follows(other, `take the part of run ${run} off`, 'detached');
    await follows(other, 'Free: Alder, Birch, Cedar, Dogwood, Elm');
  });

  await part('a message is sent', async () => {
    await way(desk, 8, 'Messages');
    await desk.locator('.letters li').first().waitFor();
    const text = await desk.locator('.letters blockquote').first().innerText(), waits = await desk.locator('.letters li').count();
    await desk.keyboard.press('c');
    await notice(desk, 'The text is copied.');
    is(await desk.evaluate(() => navigator.clipboard.readText()), text, 'what was copied');
    await desk.keyboard.press('s');
    await notice(desk, 'is booked as sent');
    await desk.waitForFunction((n) => document.querySelectorAll('.letters li').length === n - 1, waits);
  });

  await part('the part is collected', async () => {
    await way(desk, 6, 'Shelf');
    await type(desk, 'Label or run', String(run));
    await desk.keyboard.press('Enter');
    await desk.getByText(`is its place: run ${run}, for member m1.`).waitFor();
    await press(desk, 'Collected');
    await desk.getByText(`The part of run ${run} was collected by member m1.`).waitFor();
    is(show(run).part.state, 'collected', 'the part');
  });

  await part('a note, and taken back, and left', async () => {
    await way(desk, 1, 'Today');
    for (const text of ['Birch needs oil', 'Birch: see to its belt first']) {
      await desk.keyboard.press('h');
      await desk.waitForFunction(() => document.activeElement?.tagName === 'TEXTAREA');
      await desk.keyboard.type(text);
      await press(desk, 'Leave it');
      await desk.getByRole('dialog').waitFor({ state: 'detached' });
      await follows(other, text);
      if (text.endsWith('oil')) {
        await desk.keyboard.press('u');
        await follows(other, text, 'detached');
      }
    }
  });

  await part('closing round', async () => {
    await way(desk, 4, 'Round');
    await press(desk, 'Begin the closing round');
    for (const name of ['Alder', 'Birch', 'Cedar', 'Dogwood', 'Elm']) {
      await desk.getByRole('heading', { level: 2, name, exact: true }).waitFor();
      await desk.keyboard.press('y');
    }
    await desk.getByRole('heading', { name: 'All machines are seen' }).waitFor();
    says(await desk.locator('main').innerText(), 'Over night', 'Nothing runs on.');
    await press(desk, 'The round is done');
    await desk.getByText('The closing round is done.').waitFor();
  });

  await part('sign out', async () => {
    await back(desk, 'Sign out');
    await desk.waitForURL('**/prove');
    says(await desk.locator('.who').innerText(), 'Kiosk');
    await desk.goto('/today');
    await desk.getByText('Sign in to see this page').waitFor();
  });

  for (const page of [other, kiosk]) is(await page.evaluate(() => 'pointed' in document.documentElement.dataset), false, 'a pointer was used');
  is(await other.evaluate(() => performance.getEntriesByType('navigation').length), 1, 'the other window was never loaded anew');
});
await end();
