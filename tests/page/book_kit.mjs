// A small book with a known content for the pages of people, spools, machines and book. SPDX-License-Identifier: Apache-2.0
// Ten acts by the command line: what the pages then show can be reckoned by hand.
export const ada = '10041', bako = '10048';
/** @param {import('./kit.mjs').House} house */
export function seed(house) {
  const day = 86400000, date = (/** @type {number} */ ms) => new Date(ms).toISOString().slice(0, 10);
  house.by('keeper', 'term', 'open', 'this-term', '--from', date(Date.now() - 20 * day), '--until', date(Date.now() + 40 * day), '--allowance', '150');
  for (const machine of ['Alder', 'Birch', 'Cedar', 'Dogwood', 'Elm']) house.by('keeper', 'stick', 'add', `${machine[0]}1`, machine);
  for (const [member, name] of [[ada, 'Ada Quay'], [bako, 'Bako Tidewell'], ['10055', 'Chidi Bollard']]) {
    house.run('member', 'enrol', member, '--name', name, '--contact', `m${member}@quayside.example`);
    house.run('permit', 'grant', member, 'starter');
  }
  house.run('spool', 'add', 'S11', '--material', 'petg', '--tare', '230', '--gross', '1230');
  house.run('spool', 'add', 'S12', '--material', 'pla', '--tare', '230', '--gross', '320');
  house.run('machine', 'fit', 'Alder', '--spool', 'S11');
}
/** A run by the API, 12.5 m on Alder, figures as stated: a keeper's. @param {any} keeper signed in @param {string} member @param {{um?: number, hash?: string}} [o] */
export async function handOut(keeper, member, o = {}) {
  return (await keeper.act('run-hand-out', { member, machine: 'Alder', um: o.um ?? 12500000, seconds: 3600, sha256: (o.hash ?? 'ab').repeat(32), stick: 'A1', spool: 'S11', file: 'bracket.gcode', recipe: 'everyday', verdict: 'clear' })).answer.run;
}
/** @param {any} desk @param {number} run */
export const start = (desk, run) => desk.act('run-start', { run, heated: true, stream_steady: true, bed_clean: true, gap_good: true, spool_right: true });
/** From the start check to the shelf and back. @param {any} desk @param {number} run @param {{outcome?: string, cause?: string}} [o] */
export async function finish(desk, run, o = {}) {
  await start(desk, run);
  await desk.act('run-watched', { run, first_layer: 'good' });
  await desk.act('run-ended', { run });
  await desk.act('run-off', { run, to: 'shelf' });
  await desk.act('run-take-back', { run, figure: 'counter', used_um: 12000000, stick_there: true });
  await desk.act('run-outcome', { run, outcome: o.outcome ?? 'good', counts: true, ...(o.cause ? { cause: o.cause } : {}) });
}
/** Presses a button by keys alone: Tab until it has the focus, then Enter. @param {any} page @param {RegExp|string} name @param {{most?: number, back?: boolean, key?: string}} [o] */
export async function tabTo(page, name, o = {}) {
  const fits = (/** @type {string} */ text) => (typeof name === 'string' ? text === name : name.test(text));
  for (let i = 0; i < (o.most ?? 120); i++) {
    const have = await page.evaluate(() => {
      const e = /** @type {any} */ (document.activeElement);
      if (!e || e === document.body) return '';
      const label = e.getAttribute('aria-label') ?? (e.id ? document.querySelector(`label[for="${CSS.escape(e.id)}"]`)?.textContent : null) ?? e.textContent ?? '';
      return label.replace(/\(optional\)/, '').trim();
    });
    if (fits(have)) return;
    await page.keyboard.press(o.back ? 'Shift+Tab' : 'Tab');
  }
  throw new Error(`no Tab reaches ${name} on ${page.url()}`);
}
/** @param {any} page @param {RegExp|string} name @param {{most?: number, key?: string}} [o] */
export async function pressKey(page, name, o = {}) {
  await tabTo(page, name, o);
  await page.keyboard.press(o.key ?? 'Enter');
}
/** Types into the field of this name, by keys alone. @param {any} page @param {RegExp|string} name @param {string} text */
export async function typeInto(page, name, text) {
  await tabTo(page, name);
  await page.keyboard.press('Control+a');
  await page.keyboard.type(text);
}
/** No key of the catalogue is shown in place of its text. @param {any} page */
export async function noBareKeys(page) {
  const found = /\b(people|person|spools|machines?|book|book-words|mine|kit|pages)\.[a-z][\w-]*\b/.exec(await page.locator('body').innerText());
  if (found) throw new Error(`a key of the catalogue is shown: ${found[0]} on ${page.url()}`);
}
/** The text of a part with every kind of blank as one. @param {any} part */
export const plain = async (part) => (await part.innerText()).replace(/[\u202f\u00a0\s]+/g, ' ');
