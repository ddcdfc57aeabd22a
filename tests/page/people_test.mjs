// People and one member, as the desk and the keeper use them: by keys alone, in all sizes and both themes. SPDX-License-Identifier: Apache-2.0
import { axe, begin, end, is, says, shot, test } from './kit.mjs';
import { ada, bako, finish, handOut, noBareKeys, plain, pressKey, seed, tabTo, typeInto } from './book_kit.mjs';

const house = await begin({ seed });
const desk = await house.signIn('d1'), keeper = await house.signIn('k1'); // figures that are stated and not proved here are a keeper's
await finish(desk, await handOut(keeper, ada));

await test('a member is found by number, by name, and opened with Enter', async () => {
  const page = await house.open('/people', { as: 'desk' });
  await page.keyboard.press('s');
  await page.keyboard.type('tide');
  await page.waitForFunction(() => document.querySelectorAll('tbody tr').length === 1);
  says(await page.locator('tbody').innerText(), bako, 'Bako Tidewell');
  await page.keyboard.press('Control+a');
  await page.keyboard.type(ada);
  await page.waitForFunction((n) => document.querySelectorAll('tbody tr').length === 1 && document.body.innerText.includes(n), 'Ada Quay');
  await page.keyboard.press('Enter');
  await page.getByRole('heading', { level: 1, name: 'Ada Quay' }).waitFor();
  await page.goBack();
  is(await page.getByLabel('Search', { exact: true }).inputValue(), ada, 'the search is there again');
  await page.keyboard.press('Control+a');
});

await test('a new member, by keys, with what is missing said at its field, and undone', async () => {
  const page = await house.open('/people', { as: 'desk' });
  await page.getByRole('row').nth(2).waitFor();
  await page.keyboard.press('n');
  await page.getByRole('dialog').waitFor();
  await page.keyboard.press('Enter');
  await page.getByRole('dialog').getByText('This is needed.').waitFor();
  await axe(page, 'a missing number');
  is(await page.getByRole('dialog').getByText('Role').count(), 0, 'roles, which the desk does not give');
  await typeInto(page, 'Number', ada);
  await page.keyboard.press('Enter');
  await page.getByRole('dialog').getByText(/10041.*already|already.*10041/).waitFor();
  await typeInto(page, 'Number', '10062');
  await typeInto(page, 'Name', 'Dara Ebb');
  await page.keyboard.press('Enter');
  await page.waitForURL('**/person/10062');
  await page.getByRole('heading', { level: 1, name: 'Dara Ebb' }).waitFor();
  await page.keyboard.press('u');
  await page.getByText('Taken back.', { exact: true }).waitFor();
  is(JSON.parse(house.run('member', 'list', '--json')).members.some((m) => m.member === '10062'), false, 'after the undo');
});

await test('what is left: the figures of the book, in words', async () => {
  const page = await house.open(`/person/${ada}`, { as: 'desk' });
  const left = page.getByRole('region', { name: 'What is left' });
  await left.getByText('138.0 m left.').waitFor(); // 150 - 12.0 by the counter
  says(await plain(left), '12.0 m of 150 m are used.', 'One run may take 30 m.', 'No waiver beyond it.');
  says(await plain(page.getByRole('region', { name: 'Runs' }).first()), 'bracket.gcode', 'good', '12.0 m');
  await noBareKeys(page);
});

await test('a permission granted and withdrawn; the shop file says how long', async () => {
  const page = await house.open(`/person/${bako}`, { as: 'desk' });
  const part = page.getByRole('region', { name: 'Permissions' });
  await part.getByText('starter').waitFor();
  await pressKey(page, 'Grant');
  await page.getByRole('dialog').waitFor();
  await page.getByRole('dialog').getByLabel('large-format').focus();
  await page.keyboard.press('Space');
  await pressKey(page, 'Grant');
  await part.getByText('large-format').waitFor();
  await page.getByRole('dialog').waitFor({ state: 'detached' });
  is(JSON.parse(house.run('member', 'show', bako, '--json')).permits.length, 2, 'permits');
  await pressKey(page, 'Withdraw large-format');
  await part.getByText('large-format').waitFor({ state: 'detached' });
  await page.keyboard.press('u');
  await part.getByText('large-format').waitFor();
});

await test('waivers: the desk up to its limit, the keeper beyond', async () => {
  const page = await house.open(`/person/${bako}`, { as: 'desk' });
  await page.getByRole('heading', { name: 'Bako' }).waitFor();
  await pressKey(page, 'Give a waiver');
  await typeInto(page, 'Filament', '25');
  await typeInto(page, 'Reason', 'course work');
  await pressKey(page, 'Give');
  await page.getByRole('dialog').getByText(/keeper/).first().waitFor();
  await axe(page, 'a waiver that is too large');
  is(JSON.parse(house.run('member', 'show', bako, '--json')).balance.waivers_left_um, 0, 'nothing was given');
  await typeInto(page, 'Filament', '7,5');
  await pressKey(page, 'Give');
  await page.getByText('Waivers beyond it: 7.5 m.').waitFor();
  const keeper = await house.open(`/person/${bako}`, { as: 'keeper' });
  await keeper.getByRole('heading', { name: 'Bako' }).waitFor();
  await pressKey(keeper, 'Give a waiver');
  await typeInto(keeper, 'Filament', '25');
  await typeInto(keeper, 'Reason', 'a boat for the open day');
  await pressKey(keeper, 'Give');
  await page.getByText('Waivers beyond it: 32.5 m.').waitFor({ timeout: 4000 }); // the other page follows
  await pressKey(keeper, /^Withdraw the waiver with 25/);
  await typeInto(keeper, 'Reason', 'it is off');
  await pressKey(keeper, 'Withdraw');
  await page.getByText('Waivers beyond it: 7.5 m.').waitFor({ timeout: 4000 });
});

await test('suspended until a day, and resumed', async () => {
  const page = await house.open(`/person/${bako}`, { as: 'desk' });
  await page.getByRole('heading', { name: 'Bako' }).waitFor();
  await pressKey(page, 'Suspend');
  await typeInto(page, 'Reason', 'left a machine hot');
  await page.getByLabel('Until the end of').fill('2099-12-18');
  await tabTo(page, 'Suspend');
  await page.keyboard.press('Enter');
  const aside = page.getByRole('complementary', { name: 'Suspended' });
  await aside.waitFor();
  says(await aside.innerText(), 'left a machine hot');
  is(JSON.parse(house.run('member', 'show', bako, '--json')).suspended_until_ms, Date.parse('2099-12-19T00:00:00Z'), 'to the end of that day in London');
  await shot(page, 'suspended');
  await axe(page, 'suspended');
  await pressKey(page, 'End it');
  await aside.waitFor({ state: 'detached' });
});

await test('a one-time code signs in once; the desk gives none to a keeper', async () => {
  const page = await house.open(`/person/${ada}`, { as: 'desk' });
  await page.getByRole('heading', { name: 'Ada' }).waitFor();
  await page.keyboard.press('c');
  const code = (await page.locator('.code').innerText()).trim();
  await axe(page, 'a code');
  await page.keyboard.press('Escape');
  const sign = () => fetch(`${house.url}/api/1/session/code`, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ code }) });
  is((await (await sign()).json()).member, ada, 'who signed in');
  is((await sign()).status, 401, 'the second time');
  await page.goto('/person/k1');
  await page.getByRole('heading', { level: 1 }).waitFor();
  await page.getByText('Name, role, sign-in').waitFor();
  is(await page.getByRole('button', { name: 'One-time code' }).count(), 0, 'a code for a keeper');
});

await test('members from a file: shown first, faults keep all from being booked, then all of it', async () => {
  const page = await house.open('/people', { as: 'desk' });
  await page.getByRole('button', { name: 'Members from a file' }).click();
  const file = (text) => page.getByLabel('File', { exact: true }).setInputFiles({ name: 'members.csv', mimeType: 'text/csv', buffer: Buffer.from(text) });
  await file('member,name,permissions\n20001,Noor Keel,starter\n20002,Ola Mast,juggling\n');
  await page.getByText('line 3, column 16:').waitFor();
  is(await page.getByRole('button', { name: /^Book/ }).count(), 0, 'a button to book');
  await axe(page, 'faults');
  await file('member,name,permissions\n20001,Noor Keel,starter\n20002,Ola Mast,\n10041,Ada Quay,\n');
  await page.getByText('new members 2').waitFor();
  is(JSON.parse(house.run('member', 'list', '--json')).members.some((m) => m.member === '20001'), false, 'nothing is booked yet');
  await axe(page, 'a preview');
  await shot(page, 'import');
  await pressKey(page, 'Book 2 lines');
  await page.getByText('Noor Keel').waitFor();
});

await test('forgetting takes a keeper and the number typed; the runs stay', async () => {
  const page = await house.open('/person/10055', { as: 'desk' });
  await page.getByText('Name, role, sign-in').waitFor();
  is(await page.getByRole('button', { name: 'Forget the name' }).count(), 0, 'for the desk');
  const keeper = await house.open('/person/10055', { as: 'keeper' });
  await keeper.getByText('Name, role, sign-in').waitFor();
  await pressKey(keeper, 'Forget the name');
  await keeper.waitForFunction(() => document.activeElement?.matches('dialog input')); // the field has the focus, as who types sees
  await keeper.keyboard.type('10056');
  await keeper.keyboard.press('Enter');
  await keeper.getByText('This is another number.').waitFor();
  await axe(keeper, 'forget');
  await typeInto(keeper, /^Type 10055/, '10055');
  await keeper.keyboard.press('Enter');
  await keeper.waitForURL('**/people*');
  is(JSON.parse(house.run('member', 'list', '--json')).members.some((m) => m.member === '10055' && m.name), false, 'the name');
  await page.reload(); // the desk's page says so, and offers what there is
  await page.getByText('was forgotten').waitFor();
});

await test('a member gets neither page nor answer', async () => {
  const page = await house.open(`/person/${ada}`, { as: 'member' });
  await page.getByText('This page is for another role').waitFor();
  const m1 = await house.signIn('m1');
  for (const path of [`/api/1/ask/member?member=${ada}`, '/api/1/ask/members', `/api/1/ask/waivers?member=${ada}`, `/api/1/ask/tickets?all=true&member=${ada}`]) {
    is((await fetch(house.url + path, { headers: { Cookie: m1.cookie } })).status, 403, path);
  }
  is((await fetch(`${house.url}/api/1/import/members`, { method: 'POST', headers: { Cookie: m1.cookie, 'Content-Type': 'application/json', 'X-Proveout-Token': m1.token }, body: '{"csv":"member\\n1\\n"}' })).status, 403, 'import');
});

await test('in German', async () => {
  const page = await house.open(`/person/${ada}`, { as: 'desk', language: 'de' });
  await page.getByText('138,0 m übrig.').waitFor();
  await noBareKeys(page);
});
await end();
