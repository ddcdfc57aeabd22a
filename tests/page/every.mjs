// Every page of the list, on the demo's book, in all sizes and both themes: axe, nothing sideways, a picture; and in German no English text. SPDX-License-Identifier: Apache-2.0
// One house, one browser and one load of each page and language: sizes and themes change under it, as they do at a desk.
import { readFileSync, readdirSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { axe, end, is, noSideways, shot, sizes, test } from './kit.mjs';
import { demoHouse, proof } from './demo_kit.mjs';

const web = resolve(dirname(fileURLToPath(import.meta.url)), '../../web/src');
const list = [...readFileSync(join(web, 'pages/index.js'), 'utf8').matchAll(/\{ path: '([^']+)', name: '([^']+)', least: '([^']+)'/g)].map(([, path, name, least]) => ({ path, name, least }));
const house = await demoHouse();
const desk = await house.signIn('k1');
const part = await proof(house, desk, readdirSync(house.where).filter((f) => f.endsWith('.stl')).sort()[0]);
const places = { proof: part.proof, member: (await desk.ask('members')).members[0].member, machine: 'Alder', finding: (await desk.call('/api/1/findings')).findings?.[0]?.name };
const at = (path) => path.replace(/:(\w+)/, (_, name) => { if (!places[name]) throw new Error(`nothing stands for :${name}; name it in this test`); return encodeURIComponent(places[name]); });

/** Drawn, and nothing on its way. */
async function quiet(page) {
  await page.waitForSelector('main h1');
  await page.waitForFunction(() => !document.querySelector('main .loading, main [aria-busy="true"]'), undefined, { timeout: 15000 });
  await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));
}
const open = ({ path, least }, language) => house.open(at(path), { as: { kiosk: undefined, member: 'm1', desk: 'keeper', keeper: 'keeper' }[least], language });

await test('the list is whole', async () => {
  is(list.length >= 20, true, `${list.length} pages`);
  const files = readdirSync(join(web, 'pages')).filter((f) => f.endsWith('.js') && f !== 'index.js').map((f) => f.replace('.js', ''));
  is(files.filter((f) => !list.some((p) => p.name === f)).join(), '', 'files of pages that are not in the list');
});

// A theme changes colours alone, and the wall has the desk's layout with more room: PAGE_LOOKS=all looks with every rule at each all the same.
const looks = process.env.PAGE_LOOKS === 'all' ? Object.keys(sizes).flatMap((size) => ['light', 'dark'].map((theme) => [size, theme, 'all']))
  : [['phone', 'light', 'all'], ['desk', 'dark', 'all'], ['wall', 'dark', null]];

for (const { path, least } of list) {
  await test(`${path} in every look`, async () => {
    const page = await open({ path, least }, 'en');
    await quiet(page);
    is(await page.getByText('Sign in to see this page').count(), 0, 'shut');
    for (const [size, theme, rules] of looks) {
      await page.setViewportSize(sizes[size]);
      await page.emulateMedia({ colorScheme: theme, reducedMotion: 'reduce' });
      page.note = { size, theme };
      await quiet(page);
      await noSideways(page, size);
      if (rules) await axe(page, `${size} ${theme}`, { colours: rules === 'colours' });
      await shot(page, path.replace(/\W+/g, '-').replace(/^-/, ''));
    }
  });
}

/** All texts of a catalogue, each with its key. */
function texts(language) {
  const all = new Map();
  for (const file of readdirSync(join(web, 'words', language))) {
    for (const [key, value] of Object.entries(JSON.parse(readFileSync(join(web, 'words', language, file), 'utf8')))) {
      for (const text of typeof value === 'string' ? [value] : Object.values(value)) all.set(`${file.replace('.json', '')}.${key}`, [...(all.get(`${file.replace('.json', '')}.${key}`) ?? []), text]);
    }
  }
  return all;
}
const german = new Set([...texts('de').values()].flat().map((text) => text.toLowerCase()));
const ids = new Set(['keeper']); // who booked by the command line stands in the book as this
// A text with places is told by what stands between them, where that is long enough to tell anything.
const english = [...texts('en')].flatMap(([key, all]) => all.filter((text) => !german.has(text.toLowerCase()) && /[a-z]{3}/.test(text.replace(/\{\w+\}/g, '')) && text.replace(/\{\w+\}|\W/g, '').length >= (text.includes('{') ? 10 : 4))
  .map((text) => ({ key, text: new RegExp(`^${text.split(/\{\w+\}/).map((s) => s.trim().replace(/[.*+?^${}()|[\]\\]/g, '\\$&').replace(/\s+/g, '\\s+')).join('[\\s\\S]+')}$`) })));

for (const { path, least } of list) {
  await test(`${path} in German`, async () => {
    const page = await open({ path, least }, 'de-DE');
    await quiet(page);
    is(await page.evaluate(() => document.documentElement.lang), 'de', 'language');
    const shown = await page.evaluate(() => {
      const found = new Set([document.title]);
      const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_ELEMENT | NodeFilter.SHOW_TEXT);
      for (let n = walk.nextNode(); n; n = walk.nextNode()) {
        if (n.nodeType === Node.TEXT_NODE) found.add(n.textContent.trim());
        else for (const a of ['aria-label', 'title', 'placeholder', 'alt', 'aria-description']) if (n.getAttribute(a)) found.add(n.getAttribute(a).trim());
      }
      return [...found].filter((x) => /[a-z]{3}/i.test(x));
    });
    is(shown.filter((x) => !ids.has(x)).flatMap((x) => english.filter((e) => e.text.test(x)).slice(0, 1).map((e) => `${e.key}: ${x}`)).join(' | '), '', 'English');
    await shot(page, `${path.replace(/\W+/g, '-').replace(/^-/, '')}-german`);
  });
}
await end();
