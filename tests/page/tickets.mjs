// Tickets at the desk and the screen on the wall: taken, called, served, nobody came; numbers only on the wall. SPDX-License-Identifier: Apache-2.0
import { axe, begin, end, is, says, shot, test } from './kit.mjs';
import { busy } from './desk_kit.mjs';

const house = await begin(), { desk, names, out } = await busy(house);
for (const machine of names.slice(1)) await out(machine, 'm2');

await test('a number is taken by keys alone, and says when the turn comes', async () => {
  const page = await house.open('/tickets', { as: 'desk' });
  await page.getByText('Nobody waits.').waitFor();
  await page.getByLabel('Member', { exact: false }).first().focus();
  await page.keyboard.type('m1');
  await page.getByRole('option', { name: /^m1/ }).waitFor();
  await page.keyboard.press('Enter');
  await axe(page, 'picked');
  await page.getByLabel('How long the run takes').focus();
  await page.keyboard.type('1:10');
  await page.keyboard.press('Enter');
  await page.getByText(/Ticket \d+ is taken\./).waitFor();
  says(await page.locator('.got').innerText(), `${names[0]} is free now`);
  const [t] = (await desk.call('/api/1/ask/tickets')).tickets;
  is(t.member, 'm1', 'member');
  is(t.seconds, 4200, 'seconds');
});

await test('a second ticket of the same member is refused at the field', async () => {
  const page = await house.open('/tickets', { as: 'desk' });
  await page.getByLabel('Member', { exact: false }).first().fill('m1');
  await page.getByRole('option', { name: /^m1/ }).click();
  await page.getByRole('button', { name: 'Take a number' }).click();
  await page.getByText('has ticket').waitFor();
  await axe(page, 'refused');
});

let wall;
await test('called: the screen on the wall follows, without sign-in, with numbers only', async () => {
  const page = await house.open('/tickets', { as: 'desk' });
  wall = await house.open('/screen', { size: 'wall' });
  await wall.getByText('Nobody is called just now.').waitFor();
  says(await wall.locator('main').innerText(), 'Waiting:', names[0], 'free');
  await page.locator('h1').focus();
  await page.keyboard.press('n');
  await page.getByText(`is called to ${names[0]}.`).waitFor();
  const [t] = (await desk.call('/api/1/ask/tickets')).tickets;
  await wall.locator('.now-called .number', { hasText: String(t.ticket) }).waitFor({ timeout: 15000 });
  const text = await wall.locator('body').innerText(), body = await (await fetch(`${house.url}/api/1/screen`)).text();
  for (const who of ['m1', 'm2', 'd1', 'hook']) {
    is(new RegExp(`\\b${who}`).test(text), false, `${who} on the wall`);
    is(body.includes(`"${who}`), false, `${who} in the answer`);
  }
  is(/member|file|sha256|reason/.test(body), false, 'fields of persons and jobs');
  await axe(wall, 'wall');
  await shot(wall, 'wall-called');
  const serve = page.getByRole('link', { name: 'Hand out' }).last();
  says(await serve.getAttribute('href'), 'member=m1', `ticket=${t.ticket}`, `machine=${names[0]}`);
  is(await page.getByRole('button', { name: 'Nobody came' }).isDisabled(), true, 'no-show before its time is up');
});

await test('the server goes away for the night, and the screen comes back by itself', async () => {
  const page = await house.open('/screen', { size: 'wall' });
  await page.getByText('Machines', { exact: true }).waitFor();
  await house.stop('SIGKILL');
  await new Promise((done) => setTimeout(done, 2500));
  is(await page.getByText('Machines', { exact: true }).isVisible(), true, 'what was known stays');
  await house.start();
  const again = await house.signIn('d1'), [t] = (await again.ask('tickets')).tickets;
  await again.act('ticket-leave', { ticket: t.ticket });
  await page.getByText('Nobody is called just now.').waitFor({ timeout: 20000 });
  page.faults.length = 0;
});

await test('its time is up: nobody came', async () => {
  const d1 = await house.signIn('d1');
  const { answer } = await d1.act('ticket-take', { member: 'm1' });
  await d1.act('ticket-call', { ticket: answer.ticket, machine: names[0], until: Date.now() + 1500 });
  const page = await house.open('/tickets', { as: 'desk', size: 'phone' });
  await page.getByText('its time was up').waitFor({ timeout: 8000 });
  await axe(page, 'lapsed');
  await shot(page, 'lapsed', true);
  await page.getByRole('button', { name: 'Nobody came' }).tap();
  await page.getByText(`Ticket ${answer.ticket}: nobody came.`).waitFor();
  is((await d1.call('/api/1/ask/tickets?all=true')).tickets.find((t) => t.ticket === answer.ticket && t.state === 'passed').no_show, true, 'counted');
  await page.getByRole('button', { name: 'Undo' }).last().tap();
  await page.getByText('Taken back.', { exact: true }).waitFor();
});

await test('in German', async () => {
  const d1 = await house.signIn('d1');
  await d1.act('ticket-take', { member: 'm2', seconds: 3600 });
  for (const path of ['/tickets', '/screen']) {
    const page = await house.open(path, { as: 'desk', language: 'de' });
    await page.locator('.machines li, .tickets li').first().waitFor();
    is((/\b(kit|tickets|screen)\.[a-z_]+\b/.exec(await page.locator('body').innerText()) ?? [''])[0], '', `a key on ${path}`);
  }
});
await end();
