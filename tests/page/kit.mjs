// Harness of the page's tests: a shop of its own, the server on it, one browser. SPDX-License-Identifier: Apache-2.0
//   node tests/page/NAME.mjs PROVEOUT SHOP [SHOTS]
//
//   import { begin, test, end, is, says } from './kit.mjs';
//   const house = await begin({ roles: ['desk', 'member'] });            // makes k1 (keeper), d1, d2 (desk), m1, m2 (members)
//   await test('the shelf', async () => { const page = await house.open('/shelf', { as: 'desk', size: 'phone' }); ... });
//   await end();                                                          // says "N passed, N failed"
import { spawn, spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { basename, dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = resolve(dirname(fileURLToPath(import.meta.url)), '../..');
const need = createRequire(join(root, 'web/package.json'));
const { chromium } = need('playwright-core');
const [proveout, shopFile] = process.argv.slice(2, 4).map((p) => resolve(p));
const shots = resolve(process.argv[4] ?? join(root, 'build/page-shots'));
const own = basename(process.argv[1], '.mjs');
export const sizes = { phone: { width: 390, height: 844 }, desk: { width: 1280, height: 800 }, wall: { width: 1920, height: 1080 } };
export const passwords = { k1: 'keeper of Quayside', d1: 'desk of Quayside', d2: 'another at the desk', m1: 'member of Quayside', m2: 'another of Quayside' };
const first = { keeper: 'k1', desk: 'd1', member: 'm1' };

/** A program run to its end in the house's folder. */
function run(house, words, given, status = 0) {
  const done = spawnSync(proveout, words, { cwd: house.where, env: house.env, input: given, encoding: 'utf8', timeout: 30000 });
  if (done.status !== status) throw new Error(`${words.join(' ')}: exit ${done.status}\n${done.stdout}${done.stderr}`);
  return done.stdout;
}

export class House {
  constructor() {
    this.where = mkdtempSync(join(tmpdir(), 'page-'));
    this.env = { PATH: process.env.PATH, TMPDIR: tmpdir(), HOME: this.where, PROVEOUT_SHOP: shopFile, PROVEOUT_LEDGER: join(this.where, 'book.db') };
    this.contexts = [];
    this.known = {}; // sessions; they end with the server
    this.port = 0;
    this.said = '';
  }
  /** The command line on the same book: house.run('member', 'show', 'm1'); by: who does it. */
  run(...words) { return run(this, words); }
  by(who, ...words) { return run({ ...this, env: { ...this.env, PROVEOUT_BY: who } }, words); }
  async start() {
    this.known = {};
    this.process = spawn(proveout, ['desk', '--listen', `127.0.0.1:${this.port}`], { cwd: this.where, env: this.env, stdio: ['ignore', 'pipe', 'pipe'] });
    this.ended = new Promise((done) => this.process.on('exit', done));
    let out = '';
    this.process.stderr.on('data', (d) => { this.said = (this.said + d).slice(-20000); });
    await new Promise((done, failed) => {
      this.process.stdout.on('data', (d) => { out += d; if (/answers at \S+\n/.test(out)) setTimeout(done, 30); });
      this.process.on('exit', (code) => failed(new Error(`the server ended with ${code}: ${this.said}`)));
    });
    this.port = Number(/:(\d+)\//.exec(out)[1]);
    this.url = `http://127.0.0.1:${this.port}`;
    this.word = /#first=([0-9a-f]{64})/.exec(out)?.[1];
  }
  async stop(how = 'SIGTERM') {
    this.process?.kill(how);
    await this.ended;
  }
  /** Signed in by the API: {cookie, token}; then call(path, body). */
  async signIn(member) {
    const reply = await fetch(`${this.url}/api/1/session`, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ member, password: passwords[member] }) });
    if (!reply.ok) throw new Error(`sign-in of ${member}: ${reply.status} ${await reply.text()}`);
    const cookie = reply.headers.get('set-cookie').split(';')[0], { token } = await reply.json();
    const call = async (path, body) => {
      const answer = await fetch(this.url + path, body === undefined ? { headers: { Cookie: cookie } } : { method: 'POST', headers: { Cookie: cookie, 'Content-Type': 'application/json', 'X-Proveout-Token': token }, body: JSON.stringify(body) });
      if (!answer.ok) throw new Error(`${path}: ${answer.status} ${await answer.text()}`);
      return answer.json();
    };
    return { house: this, cookie, token, call, act: (name, body) => call(`/api/1/acts/${name}`, body), ask: (question) => call(`/api/1/ask/${question}`) };
  }
  /** A page in a browser of its own. as: a role or a member ('desk', 'd2'; none: kiosk); size, theme, language. It fails its test on errors of the page. */
  async open(path, { as, size = 'desk', theme = 'light', language = 'en', more = {} } = {}) {
    const context = await browser.newContext({ baseURL: this.url, viewport: sizes[size], colorScheme: theme, locale: language, hasTouch: size === 'phone', reducedMotion: 'reduce', ...more });
    this.contexts.push(context);
    if (as) {
      const who = first[as] ?? as, { cookie } = (this.known[who] ??= await this.signIn(who)); // one sign-in costs a hash
      const [name, value] = cookie.split('=');
      await context.addCookies([{ name, value, url: this.url, httpOnly: true, sameSite: 'Strict' }]);
    }
    const page = await context.newPage();
    page.faults = [];
    page.on('pageerror', (e) => page.faults.push(String(e)));
    page.on('console', (m) => { if (m.type() === 'error' && !/Failed to load resource/.test(m.text())) page.faults.push(m.text()); });
    page.on('request', (r) => { if (!r.url().startsWith(this.url) && !/^(data|blob):/.test(r.url())) page.faults.push(`asks elsewhere: ${r.url()}`); });
    page.note = { size, theme };
    open.add(page);
    await page.goto(path);
    await page.waitForSelector('main h1', { timeout: 10000 });
    return page;
  }
}

let browser, profile, passed = 0, failed = 0;
const open = new Set(), houses = [];

/** A fresh shop with people in it, the server started, the browser open. seed(house): before the server starts. */
export async function begin({ people = true, seed, browserArgs = [] } = {}) {
  profile ??= mkdtempSync(join(tmpdir(), 'browser-'));
  browser ??= await chromium.launch({ executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium', env: { ...process.env, HOME: profile },
    args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync', ...browserArgs] });
  const house = new House();
  houses.push(house);
  run(house, ['ledger', 'new']);
  if (people) {
    for (const [member, role] of [['k1', 'keeper'], ['d1', 'desk'], ['d2', 'desk'], ['m1', 'member'], ['m2', 'member']]) {
      house.by('keeper', 'member', 'enrol', member, '--role', role);
      run(house, ['desk', 'password', member], `${passwords[member]}\n`);
    }
  }
  await seed?.(house);
  await house.start();
  return house;
}
export async function test(name, f) {
  try {
    await f();
    for (const page of open) is(page.faults.join('; '), '', 'errors of the page');
    passed++;
  } catch (e) {
    failed++;
    console.log(`${name}: ${String(e.stack ?? e).slice(0, 1800)}`);
    for (const page of open) await shot(page, `failed-${name.replace(/\W+/g, '-')}`).catch(() => {});
  }
  for (const page of open) await page.context().close().catch(() => {});
  open.clear();
}
export async function end() {
  await browser?.close();
  for (const house of houses) {
    await house.stop();
    rmSync(house.where, { recursive: true, force: true });
  }
  if (profile) rmSync(profile, { recursive: true, force: true });
  console.log(`${passed} passed, ${failed} failed`);
  process.exit(failed > 0 ? 1 : 0);
}
export function is(have, want, what = '') {
  if (have !== want) throw new Error(`${what}: ${JSON.stringify(have)}, not ${JSON.stringify(want)}`);
}
export function says(text, ...pieces) {
  for (const piece of pieces) if (!text.includes(piece)) throw new Error(`${JSON.stringify(piece)} is not in ${JSON.stringify(text.slice(0, 1500))}`);
}
/** No violation of WCAG 2.2 AA that axe-core sees. colours: only what a theme can change. */
export async function axe(page, what = '', { colours = false } = {}) {
  if (!(await page.evaluate(() => 'axe' in globalThis))) await page.evaluate(readFileSync(need.resolve('axe-core/axe.min.js'), 'utf8')); // by the debugger: the page's own policy lets no inline script in
  const found = await page.evaluate((few) => globalThis.axe.run(document, few ? { runOnly: { type: 'rule', values: ['color-contrast', 'link-in-text-block'] } } : { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }), colours);
  is(found.violations.map((v) => `${v.id}: ${v.nodes.map((n) => `${n.target} ${n.failureSummary}`).slice(0, 4).join(' | ')}`).join('\n'), '', `axe ${what} ${page.url()}`);
}
/** NAME-SIZE-THEME.png among the pictures. */
export async function shot(page, name, full = false) {
  mkdirSync(shots, { recursive: true });
  await page.screenshot({ path: join(shots, `${own}-${name}-${page.note.size}-${page.note.theme}.png`), fullPage: full });
}
/** Nothing is wider than the window. */
export const noSideways = async (page, what = '') => is(await page.evaluate(() => (document.documentElement.scrollWidth <= innerWidth + 1 ? '' : [...document.querySelectorAll('body *')].filter((e) => e.getBoundingClientRect().right > innerWidth + 1).slice(0, 3).map((e) => `${e.tagName} ${e.className}`).join(', ') || 'something')), '', `wider than the window ${what}`);
/** A state of a page that every.mjs does not see: nothing sideways in any size, then both themes in one: axe, a picture. ready(page) leads there. */
export async function everyLook(house, path, { as, name, ready } = {}) {
  const page = await house.open(path, { as });
  await ready?.(page);
  for (const size of ['phone', 'wall', 'desk']) {
    await page.setViewportSize(sizes[size]);
    await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));
    page.note = { size, theme: 'light' };
    await noSideways(page, size);
    if (size === 'phone') await shot(page, name);
  }
  for (const theme of ['light', 'dark']) {
    await page.emulateMedia({ colorScheme: theme, reducedMotion: 'reduce' });
    page.note = { size: 'desk', theme };
    await shot(page, name);
    await axe(page, `${name} ${theme}`, { colours: theme === 'dark' }); // a theme changes colours alone
  }
  await page.context().close();
  if (page.faults.length) throw new Error(page.faults.join('; '));
  open.delete(page);
}
export const exists = existsSync;
