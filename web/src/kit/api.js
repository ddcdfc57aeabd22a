// Talks to the server: get, ask, act, acts; who is signed in; errors as problems. SPDX-License-Identifier: Apache-2.0
import { signal } from '@preact/signals';

/** @typedef {'kiosk'|'member'|'desk'|'keeper'} Role */
/** @typedef {{role: Role, member?: string, token?: string, idle_seconds?: number}} Session */
/** @typedef {{background?: boolean, signal?: AbortSignal, plain?: boolean}} Options  background: nobody did something; plain: a 401 is the answer, ask nobody to sign in */

/** What the server said no to (RFC 9457). `where` is the field it concerns, `act` which of several. */
export class Problem extends Error {
  /** @param {number} status @param {any} body */
  constructor(status, body) {
    super(body?.detail ?? body?.title ?? String(status));
    this.name = 'Problem';
    this.status = status;
    this.title = body?.title ?? '';
    this.detail = this.message;
    /** @type {string|undefined} */ this.where = body?.where;
    /** @type {number|undefined} */ this.act = body?.act;
    this.body = body;
  }
}

/** No answer came: nobody knows whether an act was booked. */
export class Away extends Error {
  constructor() {
    super('away');
    this.name = 'Away';
  }
}

/** Who is signed in here; undefined until it is known. @type {import('@preact/signals').Signal<Session|undefined>} */
export const session = signal(undefined);
/** Somebody has to sign in before it can go on: the shell shows the dialog. @type {import('@preact/signals').Signal<{why: 'over'|'needed', done: (ok: boolean) => void}|null>} */
export const signInWanted = signal(null);
/** @type {import('@preact/signals').Signal<boolean>} */
export const serverAway = signal(false);
/** When the server was last heard, ms. */
export const lastHeard = signal(Date.now());

/** @type {Promise<boolean>|null} */
let asking = null;
/** Asks to sign in, once for all who wait. True: somebody did. @param {'over'|'needed'} why @returns {Promise<boolean>} */
export function askToSignIn(why) {
  asking ??= new Promise((/** @type {(ok: boolean) => void} */ resolve) => {
    signInWanted.value = { why, done: (ok) => {
      signInWanted.value = null;
      asking = null;
      if (!ok && why === 'over') session.value = { role: 'kiosk' }; // now the page says so
      resolve(ok);
    } };
  });
  return asking;
}

export function heard() {
  lastHeard.value = Date.now();
  serverAway.value = false;
}

const wait = (/** @type {number} */ ms) => new Promise((done) => setTimeout(done, ms));

/** @param {string} method @param {string} path @param {any} body @param {Options} o */
async function once(method, path, body, o) {
  /** @type {Record<string, string>} */
  const headers = { Accept: 'application/json' };
  if (body !== undefined) headers['Content-Type'] = 'application/json';
  if (method === 'POST' && session.value?.token) headers['X-Proveout-Token'] = session.value.token;
  if (o.background) headers['X-Proveout-Background'] = '1';
  let reply;
  try {
    reply = await fetch(path, { method, headers, body: body === undefined ? undefined : JSON.stringify(body), signal: o.signal, cache: 'no-store' });
  } catch (e) {
    if (o.signal?.aborted) throw e;
    serverAway.value = true;
    throw new Away();
  }
  heard();
  const text = await reply.text().catch(() => { throw new Away(); });
  let json;
  try {
    json = text === '' ? undefined : JSON.parse(text);
  } catch {
    json = text;
  }
  if (!reply.ok) throw new Problem(reply.status, typeof json === 'object' ? json : { title: reply.statusText });
  return json;
}

/** @param {string} method @param {string} path @param {any} body @param {Options} o @returns {Promise<any>} */
async function call(method, path, body, o) {
  for (let turn = 0; ; turn++) {
    try {
      return await once(method, path, body, o);
    } catch (e) {
      // Reading is tried again; an act is not, for it may have been booked.
      if ((e instanceof Away || (e instanceof Problem && e.status === 503)) && method === 'GET' && turn < 3) {
        await wait([300, 900, 2000][turn]);
        continue;
      }
      if (!(e instanceof Problem) || o.plain || turn > 2) throw e;
      if (e.status === 403 && e.where === 'X-Proveout-Token') { // another tab signed in since
        await refreshSession();
        continue;
      }
      if (e.status !== 401) throw e;
      const was = session.value?.role ?? 'kiosk';
      if (o.background) {
        if (was !== 'kiosk') void askToSignIn('over');
        throw e;
      }
      if (!(await askToSignIn(was === 'kiosk' ? 'needed' : 'over'))) throw e;
    }
  }
}

/** @param {string} path @param {Options} [o] */
export const get = (path, o = {}) => call('GET', path, undefined, o);
/** @param {string} path @param {any} [body] @param {Options} [o] */
export const post = (path, body = {}, o = {}) => call('POST', path, body, o);
/** Words for a question's parameters: lists with commas, maps as JSON. @param {Record<string, any>} parameters */
export function query(parameters) {
  const q = new URLSearchParams();
  for (const [key, value] of Object.entries(parameters)) {
    if (value === undefined || value === null) continue;
    q.set(key, Array.isArray(value) ? value.join(',') : typeof value === 'object' ? JSON.stringify(value) : String(value));
  }
  const text = q.toString().replaceAll('+', '%20');
  return text ? `?${text}` : '';
}
/** Asks the book. @param {string} question @param {Record<string, any>} [parameters] @param {Options} [o] */
export const ask = (question, parameters = {}, o = {}) => get(`/api/1/ask/${question}${query(parameters)}`, o);
/** One act. @param {string} name @param {Record<string, any>} [body] @returns {Promise<{event: number, hash: string, answer: any}>} */
export const act = (name, body = {}) => post(`/api/1/acts/${name}`, body);
/** Several, all or none. @param {{act: string, body: Record<string, any>}[]} list @returns {Promise<{event: number, hash: string, answer: any}[]>} */
export const acts = async (list) => (await post('/api/1/acts', { acts: list })).done;

export async function refreshSession() {
  session.value = await get('/api/1/session', { background: true, plain: true });
  return session.value;
}
/**
 * Whether the server still knows who sits here. Where it does not (it was started anew, or nobody did anything for long), the page stays as it is,
 * with what was typed, and asks to sign in. False: that is under way.
 * @returns {Promise<boolean>}
 */
export async function lookAtSession() {
  const before = session.value;
  const now = await get('/api/1/session', { background: true, plain: true });
  if (now.role === 'kiosk' && before && before.role !== 'kiosk') {
    if (session.value === before) void askToSignIn('over'); // else somebody signed in or out meanwhile
    return false;
  }
  if (now.member !== before?.member || now.role !== before?.role || now.token !== before?.token) session.value = now;
  return true;
}
/** @param {'password'|'code'|'pin'|'first'} how @param {Record<string, string>} body */
export async function signIn(how, body) {
  session.value = await post(how === 'password' ? '/api/1/session' : `/api/1/session/${how}`, body, { plain: true });
  signInWanted.value?.done(true);
  return session.value;
}
export async function signOut() {
  session.value = await post('/api/1/session/end', {}, { plain: true });
}

const order = ['kiosk', 'member', 'desk', 'keeper'];
/** May whoever is signed in do what takes this role? @param {Role} least */
export const may = (least) => order.indexOf(session.value?.role ?? 'kiosk') >= order.indexOf(least);

/** The shop: machines, materials, recipes, hours, rules; fetched once. @type {import('@preact/signals').Signal<any>} */
export const shop = signal(null);
export async function loadShop() {
  shop.value = await get('/api/1/shop', { background: true });
  return shop.value;
}
