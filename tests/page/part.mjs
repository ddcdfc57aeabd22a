// A part looked at: drawing, spots, ways to lay it, faces, degrees, files; without WebGL too. SPDX-License-Identifier: Apache-2.0
//   node tests/page/part.mjs PROVEOUT SHOP [SHOTS]; more shapes from a folder: PO_PART_MESHES=FOLDER
import { existsSync, readFileSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { axe, begin, end, is, noSideways, says, shot, test } from './kit.mjs';

const house = await begin({ people: false, browserArgs: ['--use-gl=angle', '--use-angle=swiftshader', '--enable-unsafe-swiftshader', '--ignore-gpu-blocklist'] });

/** Binary STL of boxes and prisms. */
class Shape {
  constructor() { this.t = []; }
  tri(a, b, c) { this.t.push([a, b, c]); return this; }
  box(x, y, z, a, b, c, leave = []) {
    const p = [...Array(8).keys()].map((i) => [x + (i & 1 ? a : 0), y + (i & 2 ? b : 0), z + (i & 4 ? c : 0)]);
    [[0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4], [2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5]].forEach((f, i) => { if (!leave.includes(i)) this.tri(...f.map((k) => p[k])); });
    return this;
  }
  /** Outline in x, z counter-clockwise as seen from -y, star-shaped about eye, drawn out along y. */
  prism(xz, eye, y0, y1) {
    xz.forEach((a, i) => {
      const b = xz[(i + 1) % xz.length], at = (p, y) => [p[0], y, p[1]];
      this.tri(at(eye, y0), at(a, y0), at(b, y0)).tri(at(eye, y1), at(b, y1), at(a, y1)).tri(at(a, y0), at(a, y1), at(b, y1)).tri(at(a, y0), at(b, y1), at(b, y0));
    });
    return this;
  }
  bytes() {
    const d = Buffer.alloc(84 + 50 * this.t.length);
    d.writeUInt32LE(this.t.length, 80);
    this.t.forEach((t, i) => t.flat().forEach((v, k) => d.writeFloatLE(v, 84 + 50 * i + 12 + 4 * k)));
    return d;
  }
}
const TEE = [[15, 0], [25, 0], [25, 20], [40, 20], [40, 25], [0, 25], [0, 20], [15, 20]];
const tee = new Shape().prism(TEE, [20, 22], 0, 30), comb = new Shape().prism(TEE, [20, 22], 0, 30).box(60, 0, 0, 20, .3, 20);
const open = new Shape().box(0, 0, 0, 30, 20, 15, [2, 3]);

/** Sent, proved; its id. */
async function prove(bytes, name) {
  const json = async (path, init) => (await fetch(house.url + path, init)).json();
  const { file } = await json('/api/1/files', { method: 'POST', headers: { 'Content-Type': 'application/octet-stream', 'X-Proveout-Name': name }, body: bytes });
  const { proof } = await json('/api/1/proofs', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ file, machine: 'Alder' }) });
  for (;;) {
    const st = await json(`/api/1/proofs/${proof}?wait=20`);
    if (st.state === 'done') return proof;
    if (st.state !== 'waits' && st.state !== 'works') throw new Error(JSON.stringify(st));
  }
}
const ready = async (page) => {
  await page.locator('.part-table').waitFor({ timeout: 20000 });
  await page.locator('.part-stage .loading').waitFor({ state: 'detached', timeout: 20000 });
};
/** How many different colours the middle of the drawing has, as the browser shows it. */
const coloursOf = async (page) => {
  const png = (await page.locator('.part-stage canvas').screenshot()).toString('base64');
  return page.evaluate(async (data) => {
    const bytes = Uint8Array.from(atob(data), (c) => c.charCodeAt(0)), bitmap = await createImageBitmap(new Blob([bytes], { type: 'image/png' }));
    const g = new OffscreenCanvas(200, 150).getContext('2d');
    g.drawImage(bitmap, 0, 0, 200, 150);
    const d = g.getImageData(60, 40, 80, 70).data, seen = new Set();
    for (let i = 0; i < d.length; i += 4) seen.add((d[i] >> 4) << 8 | (d[i + 1] >> 4) << 4 | d[i + 2] >> 4);
    return seen.size;
  }, png);
};

const t = await prove(tee.bytes(), 'tee.stl');

await test('the spots of a part as drawn, and the list is the way in', async () => {
  const page = await house.open(`/part/${t}`);
  await ready(page);
  const list = page.locator('.part-spots > li');
  is(await list.count(), 2, 'spots');
  says(await list.nth(0).innerText(), 'Overhang', '450\u202fmm\u00b2');
  is(await page.locator('.part-numbers .spot').count(), 2, 'numbers in the drawing');
  const before = await page.locator('.part-numbers .spot').nth(0).getAttribute('style');
  await list.nth(0).getByRole('button').focus();
  await page.keyboard.press('Enter');
  await page.waitForFunction((was) => document.querySelector('.part-numbers .spot').getAttribute('style') !== was, before);
  is(await list.nth(0).getByRole('button').getAttribute('aria-pressed'), 'true', 'the row is chosen');
  await shot(page, 'spot', true);
  is(await page.locator('.part-numbers .spot').nth(0).evaluate((e) => e.classList.contains('behind')), false, 'the spot faces us');
  says(await page.getByRole('application').getAttribute('aria-label'), 'as drawn', '2 numbered places');
});

await test('it is drawn', async () => {
  const page = await house.open(`/part/${t}`, { more: { deviceScaleFactor: 1 } });
  await ready(page);
  const n = await coloursOf(page);
  if (n < 8) throw new Error(`the drawing has ${n} colours: nothing is drawn`);
  is(await page.evaluate(() => Boolean(document.querySelector('.part-stage canvas').getContext('webgl2'))), true, 'WebGL');
});

await test('tipped by keys, by degrees, stood on a face; back as drawn', async () => {
  const page = await house.open(`/part/${t}`);
  await ready(page);
  await page.getByRole('application').focus();
  await page.keyboard.press('Shift+ArrowUp');
  await page.getByRole('heading', { name: 'What it takes, on its back' }).waitFor();
  says(await page.locator('.part > [role=status]').innerText(), 'on its back');
  await page.getByLabel('about x').fill('-90');
  await page.getByRole('button', { name: 'Turn it' }).click();
  await page.getByRole('heading', { name: 'What it takes, upside down' }).waitFor();
  await page.getByText('Nothing on it gives trouble in this way up.').waitFor();
  await shot(page, 'upside-down', true);
  await page.getByRole('button', { name: 'Lay as drawn' }).click();
  await page.getByRole('heading', { name: 'What it takes, as drawn' }).waitFor();
  await page.getByRole('button', { name: /^top, 12/ }).click();
  await page.getByRole('heading', { name: 'What it takes, upside down' }).waitFor();
  await page.getByLabel('about y').fill('much');
  await page.getByRole('button', { name: 'Turn it' }).click();
  await page.getByText('A number from').waitFor();
});

await test('a face is picked in the drawing', async () => {
  const page = await house.open(`/part/${t}`);
  await ready(page);
  await page.getByRole('button', { name: 'Pick a face in the drawing' }).click();
  const box = await page.locator('.part-stage canvas').boundingBox();
  for (const [x, y] of [[.5, .5], [.45, .42], [.55, .4], [.5, .35]]) { // one of them meets the part
    await page.mouse.click(box.x + x * box.width, box.y + y * box.height);
    await page.waitForTimeout(300);
    if (!(await page.getByRole('heading', { name: 'What it takes, as drawn' }).count())) break;
  }
  is(await page.getByRole('heading', { name: 'What it takes, as drawn' }).count(), 0, 'still as drawn');
});

await test('the ways that were found: chosen by keyboard, with what they take', async () => {
  const page = await house.open(`/part/${t}`);
  await ready(page);
  const way = page.locator('.part-ways button').filter({ hasText: 'upside down' });
  await way.getByText(/\d.*g, .*no support/).waitFor({ timeout: 15000 });
  says(await way.innerText(), 'fits every machine');
  const picture = way.locator('img');
  await picture.scrollIntoViewIfNeeded();
  await page.waitForFunction((e) => e.complete && e.naturalWidth > 0, await picture.elementHandle());
  await way.focus();
  await page.keyboard.press('Enter');
  await page.getByRole('heading', { name: 'What it takes, upside down' }).waitFor();
  is(await way.getAttribute('aria-pressed'), 'true', 'chosen');
  const link = page.getByRole('link', { name: '3MF, laid like this', exact: true });
  const reply = await fetch(house.url + await link.getAttribute('href'));
  is(reply.headers.get('content-type'), 'model/3mf', 'type');
  says(reply.headers.get('content-disposition'), 'attachment');
  is(Buffer.from(await reply.arrayBuffer()).subarray(0, 2).toString(), 'PK', 'an archive');
});

await test('thin walls and several bodies; open edges can be mended', async () => {
  const c = await prove(comb.bytes(), 'comb.stl'), o = await prove(open.bytes(), 'open.stl');
  let page = await house.open(`/part/${c}`);
  await ready(page);
  says(await page.locator('.part-spots').innerText(), 'Thin wall', '0.30\u202fmm');
  await shot(page, 'thin', true);
  page = await house.open(`/part/${o}`);
  await ready(page);
  says(await page.locator('.part-spots').innerText(), 'Open edge', '100\u202fmm');
  await page.getByRole('link', { name: '3MF, mended and laid like this' }).waitFor();
  await shot(page, 'open', true);
});

await test('in German', async () => {
  const page = await house.open(`/part/${t}`, { language: 'de' });
  await ready(page);
  is((/\bpart\.[a-z_]+\b/.exec(await page.locator('body').innerText()) ?? [''])[0], '', 'a key is shown');
  says(await page.locator('.part-spots').innerText(), '\u00dcberhang');
  await page.getByRole('button', { name: 'Drehen' }).waitFor();
});

await test('without WebGL the server draws', async () => {
  const page = await house.open('/about');
  await page.addInitScript(() => { HTMLCanvasElement.prototype.getContext = () => null; });
  await page.goto(`/part/${t}`);
  await page.locator('.part-table').waitFor({ timeout: 20000 });
  const pictures = page.locator('.part-flat img');
  await pictures.nth(1).waitFor(); // what draws in three dimensions is fetched first
  is(await pictures.count(), 2, 'pictures');
  await page.waitForFunction(() => [...document.querySelectorAll('.part-flat img')].every((i) => i.complete && i.naturalWidth > 0));
  says(await pictures.nth(0).getAttribute('alt'), '2 numbered places');
  await page.locator('.part-ways button').filter({ hasText: 'upside down' }).click();
  await page.waitForFunction(() => document.querySelector('.part-flat img').alt.includes('upside down'));
  await axe(page, 'flat');
  await noSideways(page);
  await shot(page, 'flat', true);
});

await test('a proof that is not there says so', async () => {
  const page = await house.open('/part/00000000000000000000000000000000');
  await page.getByText('there is no such proof here').waitFor();
  await axe(page);
});

const folder = process.env.PO_PART_MESHES; // to be looked at by a person
if (folder && existsSync(folder)) {
  for (const name of readdirSync(folder).filter((f) => /\.(stl|3mf)$/i.test(f))) {
    await test(name, async () => {
      const page = await house.open(`/part/${await prove(readFileSync(join(folder, name)), encodeURIComponent(name))}`);
      await ready(page);
      await page.waitForTimeout(400);
      await shot(page, name.replace(/\W+/g, '-'));
    });
  }
}
await end();
