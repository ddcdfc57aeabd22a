// The page "prove" as a member at the kiosk uses it: drop, choose, cancel, keys alone, bad files, a big one, the same again. SPDX-License-Identifier: Apache-2.0
import { spawnSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { axe, begin, end, everyLook, is, noSideways, says, shot, test } from './kit.mjs';

const jobs = resolve(dirname(process.argv[2]), '../../demo');
const house = await begin();
for (const [made, ...names] of [['demo_jobs', '01', '11'], ['demo_parts']]) {
  const done = spawnSync(join(jobs, made), [house.where, ...names]);
  if (done.status !== 0) throw new Error(`${made}: ${done.stderr}`);
}
const BRACKET = join(house.where, '01-bracket.gcode'), HOOK = join(house.where, '11-hook-on-air.gcode');
const part = readFileSync(join(house.where, '01-bracket.gcode')) && spawnSync('sh', ['-c', `ls ${house.where}/*.stl | head -1`], { encoding: 'utf8' }).stdout.trim();

/** A job that takes long to prove. */
function long(n) {
  const lines = ['G21', 'G90', 'M83', 'G28', 'M190 S60', 'M109 S215'];
  for (let i = 0; i < n; i++) lines.push(`G1 X${60 + (i * 37 % 101)} Y${60 + (i * 53 % 97)} Z${(0.2 + 0.2 * Math.floor(i / 4000)).toFixed(1)} E0.5 F3000`);
  const path = join(house.where, `long-${n}.gcode`);
  writeFileSync(path, `${lines.join('\n')}\nM104 S0\nM140 S0\n`);
  return path;
}
const give = (page, ...files) => page.locator('main input[type=file]').setInputFiles(files);
const proved = (page) => page.getByRole('heading', { name: 'Slip', exact: true }).waitFor({ timeout: 30000 });
async function drop(page, path, name) {
  const bytes = readFileSync(path).toString('base64');
  const data = await page.evaluateHandle(([b, n]) => {
    const d = new DataTransfer();
    d.items.add(new File([Uint8Array.from(atob(b), (c) => c.charCodeAt(0))], n));
    return d;
  }, [bytes, name]);
  await page.dispatchEvent('main', 'dragover', { dataTransfer: data });
  await page.locator('.drop.over').waitFor();
  await page.dispatchEvent('main', 'drop', { dataTransfer: data });
}

await test('dropped: machines first, then findings, pictures, facts, slip; looked at', async () => {
  const page = await house.open('/prove');
  await axe(page, 'nothing yet');
  await shot(page, 'empty');
  await drop(page, HOOK, 'hook on air.gcode');
  await proved(page);
  const lines = page.locator('.lines .line');
  is(await lines.count(), 5, 'lines');
  says(await lines.first().innerText(), 'Alder', 'm');
  is(await lines.first().getAttribute('aria-pressed'), 'true', 'the best is looked at');
  says(await page.locator('.aloud').innerText(), 'Read aloud');
  await page.locator('.film img').first().scrollIntoViewIfNeeded(); // what is far below is not fetched yet
  await page.waitForFunction(() => [...document.querySelectorAll('.film img, .time-picture img')].slice(0, 2).every((i) => i.complete && i.naturalWidth > 0));
  says(await page.locator('.film img').first().getAttribute('alt'), 'The layer at');
  says(await page.locator('.facts').innerText(), 'Filament', 'Layers');
  const code = (await page.locator('.slip .code').innerText()).trim().split(/\s+/).pop();
  is(/^[2-9A-HJ-KM-NP-TV-Y]{4}-[2-9A-HJ-KM-NP-TV-Y]{4}$/.test(code), true, `code ${code}`);
  await axe(page, 'proved');
  await noSideways(page);
  await lines.nth(1).click();
  await page.getByRole('heading', { name: 'Findings on Birch' }).waitFor();
  await page.locator('.film button').first().click();
  await page.getByRole('dialog').locator('img').waitFor();
  await axe(page, 'close');
  await page.getByRole('button', { name: 'Larger' }).click();
  is(await page.locator('.close-up img').evaluate((i) => i.style.width), '150%', 'zoom');
  await page.keyboard.press('Escape');
  is(await page.getByRole('dialog').count(), 0, 'dialogs');
  // the desk finds it by the code
  const desk = await house.signIn('d1');
  is((await desk.call(`/api/1/slips/${code.toLowerCase()}`)).state, 'done', 'by the code');
});

await test('what if: words in any order, without sending again', async () => {
  const page = await house.open('/prove');
  await give(page, BRACKET);
  await proved(page);
  const sent = [];
  page.on('request', (r) => { if (r.url().endsWith('/api/1/files')) sent.push(r.url()); });
  const field = page.getByLabel('What if it were printed');
  await field.fill('by draft on elm');
  await page.keyboard.press('Enter');
  if (await page.getByText('The shop knows no').count()) await field.fill('elm');
  await page.keyboard.press('Enter');
  await page.locator('.what-if tbody tr .verdict').first().waitFor({ timeout: 20000 });
  says(await page.locator('.what-if tbody tr').first().innerText(), 'on Elm');
  await field.fill('birch bronze');
  await page.keyboard.press('Enter');
  await page.getByText('The shop knows no "bronze"').waitFor();
  await axe(page, 'what if');
  await shot(page, 'what-if', true);
  await page.getByRole('button', { name: /^Show: on Elm/ }).click();
  await page.getByText('What is shown is a what-if.').waitFor();
  is(await page.locator('.lines .line').count(), 1, 'lines of the what-if');
  await page.getByRole('button', { name: 'Back to all machines' }).click();
  is(await page.locator('.lines .line').count(), 5, 'lines');
  is(sent.length, 0, 'files sent again');
});

await test('the same again is at once, several files one after another, next member', async () => {
  const page = await house.open('/prove');
  await give(page, BRACKET);
  await proved(page);
  const began = Date.now();
  await give(page, BRACKET, HOOK);
  await page.locator('.sent li').nth(2).getByText(/Yes|Ask|No/).waitFor();
  is(Date.now() - began < 3000, true, `again took ${Date.now() - began} ms`);
  is(await page.locator('.sent li').count(), 3, 'files');
  await page.locator('.sent button').nth(2).click();
  await page.getByRole('heading', { name: '11-hook-on-air.gcode' }).waitFor();
  await axe(page, 'several');
  await page.getByRole('button', { name: 'Next member' }).click();
  await page.getByText('Drop a file here').waitFor();
  is(await page.locator('.sent, .answer').count(), 0, 'what is left');
  is(await page.evaluate(() => document.activeElement?.tagName), 'H1', 'focus');
});

await test('cancel frees it; try again', async () => {
  const page = await house.open('/prove');
  await give(page, long(90000));
  await page.getByText('Being proved').first().waitFor({ timeout: 15000 });
  await shot(page, 'works');
  await axe(page, 'under way');
  await page.getByRole('button', { name: 'Cancel' }).click();
  await page.getByText('Cancelled; nothing of it is shown.').waitFor();
  await give(page, BRACKET);
  await proved(page);
});

await test('bad files say what they are', async () => {
  const page = await house.open('/prove');
  const letter = join(house.where, 'letter.txt'), nothing = join(house.where, 'nothing.gcode'), zip = join(house.where, 'a.zip');
  writeFileSync(letter, 'A letter to somebody.\n'.repeat(40));
  writeFileSync(nothing, '');
  writeFileSync(zip, Buffer.concat([Buffer.from('PK\x03\x04'), Buffer.alloc(500, 'a')]));
  for (const [file, word] of [[letter, 'neither a job'], [nothing, 'is empty'], [zip, 'neither a job']]) {
    await give(page, file);
    await page.getByRole('alert').getByText(word).waitFor();
  }
  await axe(page, 'refused');
  await shot(page, 'refused');
});

await test('a big file shows how far it is', async () => {
  const page = await house.open('/prove');
  const big = join(house.where, 'big.gcode');
  writeFileSync(big, `G21\nG90\nM83\nG28\nG1 X10 Y10 Z0.2 F3000\n${'; a long remark that says nothing at all about the job\n'.repeat(700000)}`);
  await give(page, big);
  await page.getByText(/\d+ % of 3\d\.\d MB/).waitFor({ timeout: 20000 }).catch(() => {});
  await page.locator('.answer, .way .trouble').waitFor({ timeout: 60000 });
});

await test('by keys alone', async () => {
  const page = await house.open('/prove');
  const chooser = page.waitForEvent('filechooser', { timeout: 10000 });
  await page.waitForTimeout(300); // the browser is told that choosers are listened to, which the key must not overtake
  await page.keyboard.press('o');
  await (await chooser).setFiles([BRACKET]);
  await proved(page);
  await page.locator('.lines .line').nth(0).focus();
  await page.keyboard.press('Tab');
  await page.keyboard.press('Enter');
  await page.getByRole('heading', { name: 'Findings on Birch' }).waitFor();
  for (let i = 0; i < 60 && !(await page.evaluate(() => document.activeElement?.textContent?.includes('Save as PDF'))); i++) await page.keyboard.press('Tab');
  const file = page.waitForEvent('download');
  await page.keyboard.press('Enter');
  says((await file).suggestedFilename(), 'slip-', '.pdf');
});

await test('the slip is a page of its own with its style', async () => {
  const page = await house.open('/prove');
  await give(page, BRACKET);
  await proved(page);
  const slip = page.waitForEvent('popup');
  await page.getByRole('link', { name: 'Open the slip' }).click();
  const own = await slip;
  await own.waitForSelector('main');
  is(await own.evaluate(() => document.styleSheets.length > 0 && getComputedStyle(document.querySelector('.code')).display), 'flex', 'its style holds');
  await own.close();
});

await test('nobody there: the kiosk is cleared after a word of warning', async () => {
  const page = await house.open('/prove?idle=32');
  await give(page, BRACKET);
  await proved(page);
  await page.getByRole('dialog').getByText('Is somebody there?').waitFor({ timeout: 6000 });
  await axe(page, 'warning');
  await page.getByRole('button', { name: 'Stay' }).click();
  is(await page.getByRole('dialog').count(), 0, 'dialogs');
  says(await page.locator('.answer').innerText(), '01-bracket');
});

await test('a part', async () => {
  const page = await house.open('/prove');
  await give(page, part);
  await proved(page);
  says(await page.locator('.facts').last().innerText(), 'Triangles', 'Volume');
  await shot(page, 'part', true);
});

await test('in German, and how a proof looks', async () => {
  const page = await house.open('/prove', { language: 'de-DE' });
  await give(page, HOOK);
  await page.getByRole('heading', { name: 'Zettel' }).waitFor({ timeout: 30000 });
  is((/\bprove\.[a-z_]+\b/.exec(await page.locator('body').innerText()) ?? [''])[0], '', 'a key of the catalogue');
  await shot(page, 'german', true);
  await everyLook(house, '/prove', { name: 'proved', ready: async (p) => {
    await give(p, HOOK);
    await proved(p);
    await p.locator('.film img').first().waitFor();
    await p.waitForTimeout(300);
    await shot(p, 'proved-whole', true);
  } });
});
await end();
