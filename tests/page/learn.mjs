// Training by keys alone: a newcomer reads, sits a paper, closes the lid in the middle, goes on in another tab, is taught, passes; the desk signs; and a search for a cause. SPDX-License-Identifier: Apache-2.0
import { readFileSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { axe, begin, end, is, noSideways, shot, test } from './kit.mjs';

const text = readFileSync(join(dirname(resolve(process.argv[3])), 'training/first-steps/study.yaml'), 'utf8').split('\nquestions:\n')[1].split('\npractice:')[0];
/** What the study's file calls right, question by question. */
const study = Object.fromEntries(text.split('\n').flatMap((line) => {
  const m = /^ {2}([\w-]+): \{(.*)\}$/.exec(line);
  if (!m) return [];
  const b = m[2], options = /options: \[(.*?)\](?:, right|, why)/.exec(b), right = /right: (\[[\d, ]+\]|\d+)/.exec(b), is_ = /is: ([\d.]+)/.exec(b), area = /areas: \[\[(\d+), (\d+), (\d+), (\d+)\]/.exec(b);
  return [[m[1], { kind: /kind: (\w+)/.exec(b)[1], ask: /ask: "(.*?)"/.exec(b)[1], hazard: b.includes('hazard: true'), options: options ? [...options[1].matchAll(/"([^"]*)"|([^,"]+)/g)].map((x) => (x[1] ?? x[2]).trim()).filter(Boolean) : [],
    right: right ? [].concat(JSON.parse(right[1])) : [], is: is_?.[1], place: area && [(+area[1] + +area[3]) / 2, (+area[2] + +area[4]) / 2] }]];
}));
const house = await begin();

/** One question answered by keys; miss: wrongly. */
async function answer(page, box, q, miss = false) {
  if (q.kind === 'one' || q.kind === 'several') {
    const want = q.right.map((i) => q.options[i - 1]), pick = miss ? q.options.filter((o) => !want.includes(o)).slice(0, 1) : want;
    for (const words of pick) {
      await box.getByLabel(words, { exact: true }).focus();
      await page.keyboard.press('Space');
    }
  } else if (q.kind === 'number') {
    await box.locator('input').focus();
    await page.keyboard.type(miss ? '1' : q.is);
    await page.keyboard.press('Tab');
  } else if (q.kind === 'place') {
    await box.locator('.place-picture').focus();
    const [x, y] = miss ? [500, 20] : q.place;
    for (let i = 0; i < Math.round(Math.abs(x - 500) / 20); i++) await page.keyboard.press(x < 500 ? 'ArrowLeft' : 'ArrowRight');
    for (let i = 0; i < Math.round(Math.abs(y - 500) / 20); i++) await page.keyboard.press(y < 500 ? 'ArrowUp' : 'ArrowDown');
    if (x === 500 && y === 500) await page.keyboard.press('Enter');
  } else {
    const wanted = miss ? [...q.options].reverse() : q.options, now = async () => (await box.locator('.order li > span:first-child').allInnerTexts()).map((s) => s.trim());
    for (let i = 0; i < wanted.length; i++) {
      for (let k = (await now()).indexOf(wanted[i]); k > i; k--) {
        await box.locator('.order li').nth(k).getByRole('button').first().focus();
        await page.keyboard.press('Enter');
        await page.waitForFunction(([b, at, w]) => b.querySelectorAll('.order li > span:first-child')[at].textContent.trim() === w, [await box.elementHandle(), k - 1, wanted[i]]);
      }
    }
    if (await box.getByRole('button', { name: 'This is the order' }).count()) {
      await box.getByRole('button', { name: 'This is the order' }).focus();
      await page.keyboard.press('Enter');
    }
  }
  if (!(await box.getByRole('button', { name: 'Answer', exact: true }).count())) await box.getByText('Kept.').waitFor({ timeout: 5000 });
}
const byAsk = (ask) => Object.values(study).find((q) => q.ask === ask);

await test('learn, sit, close the lid, be taught, pass, be signed off', async () => {
  const page = await house.open('/learn', { as: 'member' });
  await page.getByRole('link', { name: 'First steps: printing with filament' }).focus();
  await page.keyboard.press('Enter');
  await page.getByRole('heading', { level: 2, name: 'Heat, and what it does to hands' }).waitFor();
  await page.waitForFunction(() => [...document.querySelectorAll('.lesson img')].some((i) => i.complete && i.naturalWidth > 0));
  await axe(page, 'lessons');
  await shot(page, 'lessons', true);
  await page.getByRole('link', { name: 'Sit a paper' }).focus();
  await page.keyboard.press('Enter');
  await page.getByRole('button', { name: /^Begin/ }).focus();
  await page.keyboard.press('Enter');
  const boxes = page.locator('.question');
  await boxes.nth(24).waitFor();
  await axe(page, 'sitting');
  await shot(page, 'sitting', true);
  is((await page.content()).includes('is right because'), false, 'nothing of what is right');
  const asks = await page.locator('.question legend').allInnerTexts(), missed = asks.filter((a) => byAsk(a).hazard).slice(0, 2);
  for (let i = 0; i < 10; i++) await answer(page, boxes.nth(i), byAsk(asks[i]), missed.includes(asks[i]));
  const where = page.url();
  await page.close(); // the lid
  const again = await house.open(new URL(where).pathname + new URL(where).search, { as: 'member', size: 'phone' }), rest = again.locator('.question');
  await rest.nth(24).waitFor();
  await noSideways(again, 'phone');
  is(await again.locator('.question .state', { hasText: 'Kept.' }).count(), 10, 'kept answers');
  for (let i = 10; i < 25; i++) await answer(again, rest.nth(i), byAsk(asks[i]), missed.includes(asks[i]));
  await again.getByRole('button', { name: 'Hand in' }).focus();
  await again.keyboard.press('Enter');
  await again.getByText('The mark is reached; what was missed on hazards comes first').waitFor();
  await axe(again, 'marked');
  await shot(again, 'marked', true);
  for (let n = 2; n > 0; n--) {
    const box = again.locator('section[aria-labelledby=teach] .question').first(), q = byAsk(await box.locator('legend').innerText());
    await answer(again, box, q);
    await box.getByRole('button', { name: 'Answer', exact: true }).focus();
    await again.keyboard.press('Enter');
    await again.waitForFunction((left) => document.querySelectorAll('section[aria-labelledby=teach] .question').length === left, n - 1);
  }
  await again.getByText('Passed', { exact: true }).waitFor();
  const desk = await house.open('/training', { as: 'desk' });
  await desk.getByRole('heading', { level: 2, name: /^m1/ }).waitFor();
  await axe(desk, 'sign-offs');
  await shot(desk, 'signoff', true);
  for (let n = 5; n > 0; n--) {
    await desk.getByRole('button', { name: /^Seen/ }).first().focus();
    await desk.keyboard.press('Enter');
    if (n > 1) await desk.waitForFunction((left) => [...document.querySelectorAll('.steps-left button')].length === left, n - 1);
  }
  await desk.getByText('Nobody waits for a step to be seen.').waitFor();
  is(JSON.parse(house.run('permit', 'list', '--member', 'm1', '--json')).permits[0].permission, 'starter', 'the permission');
});

await test('a search for a cause by keys', async () => {
  const page = await house.open('/why', { as: 'desk' });
  await page.getByRole('button', { name: 'thin hairs between parts of the print' }).focus();
  await page.keyboard.press('Enter');
  await page.getByRole('heading', { level: 2, name: 'Look next' }).waitFor();
  for (let i = 0; i < 8 && !(await page.getByRole('heading', { level: 2, name: 'What helps' }).isVisible()); i++) {
    const asks = await page.locator('.check .asks').innerText();
    await page.keyboard.press('1');
    await page.waitForFunction((was) => document.querySelector('.check .asks')?.textContent !== was, asks);
  }
  await axe(page, 'remedy');
  await shot(page, 'why', true);
  await page.getByRole('button', { name: 'It helped: close, and learn from it' }).focus();
  await page.keyboard.press('Enter');
  await page.getByText('and the remedy helped').waitFor();
  is(JSON.parse(house.run('why', 'learned', '--json')).causes.length, 1, 'learned');
});
await end();
