// Follows the book: server-sent events with resume, else by asking; useAsk refetches what an event concerns. SPDX-License-Identifier: Apache-2.0
import { signal, effect } from '@preact/signals';
import { useEffect, useRef, useState } from 'preact/hooks';
import { ask, get, heard, lastHeard, loadShop, lookAtSession, Problem, serverAway, session } from './api.js';

/** @typedef {{event: number, act?: string}} News  act: only for desk and keeper; undefined: anything may have changed */
/** How it follows: by events, by asking now and then, or not at all. @type {import('@preact/signals').Signal<'live'|'asking'|'cut'>} */
export const line = signal('asking');
/** The server has a newer page. */
export const newer = signal(false);

/** @type {Set<(news: News|null) => void>} */
const listeners = new Set();
/** Told of each event; null: anything may have changed. Returns the end of it. @param {(news: News|null) => void} f */
export function onNews(f) {
  listeners.add(f);
  return () => void listeners.delete(f);
}
const tell = (/** @type {News|null} */ news) => listeners.forEach((f) => f(news));

const QUIET_MS = 40000; // the server says something each 15 s
const POLL_MS = 8000;
let last = ''; // the last event that was seen
let tries = 0;
/** @type {AbortController|null} */
let stream = null;
/** @type {ReturnType<typeof setTimeout>|undefined} */
let again;

async function follow() {
  clearTimeout(again);
  stream?.abort();
  const role = session.value?.role ?? 'kiosk';
  if (role === 'kiosk') {
    line.value = serverAway.value ? 'cut' : 'asking';
    again = setTimeout(lookWhetherThere, POLL_MS);
    return;
  }
  const control = new AbortController();
  stream = control;
  /** @type {ReturnType<typeof setTimeout>|undefined} */
  let quiet;
  const alive = () => {
    clearTimeout(quiet);
    quiet = setTimeout(() => control.abort(), QUIET_MS);
    heard();
  };
  try {
    quiet = setTimeout(() => control.abort(), QUIET_MS);
    const reply = await fetch('/api/1/events', { headers: { 'X-Proveout-Background': '1', ...(last ? { 'Last-Event-ID': last } : {}) }, signal: control.signal, cache: 'no-store' });
    if (!reply.ok || !reply.body) throw new Problem(reply.status, null);
    alive();
    const back = tries > 0 || line.value === 'cut';
    tries = 0;
    line.value = 'live';
    if (back) {
      if (!last) tell(null);
      void lookAtVersion();
    }
    const reader = reply.body.pipeThrough(new TextDecoderStream()).getReader();
    for (let text = ''; ;) {
      const { value, done } = await reader.read();
      if (done) break;
      alive();
      text += value;
      for (let end; (end = text.indexOf('\n\n')) >= 0; text = text.slice(end + 2)) takeIn(text.slice(0, end));
    }
    throw new Error('the stream ended');
  } catch (e) {
    clearTimeout(quiet);
    if (stream !== control) return; // another one took over
    if (e instanceof Problem && (e.status === 401 || e.status === 403)) {
      const known = await lookAtSession().catch(() => true);
      if (!known || stream !== control) return;
    }
    tries++;
    again = setTimeout(lookWhetherThere, Math.min(30000, 250 * 2 ** Math.min(tries, 7)) * (0.75 + Math.random() / 2));
  }
}

/** @param {string} block */
function takeIn(block) {
  let id = '', kind = '', data = '';
  for (const row of block.split('\n')) {
    if (row.startsWith('id: ')) id = row.slice(4);
    else if (row.startsWith('event: ')) kind = row.slice(7);
    else if (row.startsWith('data: ')) data += row.slice(6);
  }
  if (id) last = id;
  if (kind === 'reload') {
    last = id;
    tell(null);
  } else if (data) {
    tell(JSON.parse(data));
  }
}

/** Between streams, and for the kiosk: is the server there? Then what is shown is asked for again. */
async function lookWhetherThere() {
  try {
    const was = line.value;
    const known = await lookAtSession();
    if (was === 'cut') {
      void lookAtVersion();
      void loadShop().catch(() => {});
    }
    line.value = 'asking';
    if (!known) return; // whoever signs in, or does not, begins it anew
    if (was !== 'live') tell(null);
  } catch {
    line.value = 'cut';
  }
  void follow();
}

const mine = () => document.querySelector('meta[name="proveout-page"]')?.getAttribute('content') ?? '';
async function lookAtVersion() {
  try {
    const reply = await fetch('/', { method: 'HEAD', cache: 'no-store', headers: { 'X-Proveout-Background': '1' } });
    const tag = (reply.headers.get('ETag') ?? '').replace(/^W\//, '').replaceAll('"', '').replace(/-gz$/, '');
    if (reply.ok && tag && mine() && tag !== mine()) newer.value = true;
  } catch { /* the line is cut again: the next look tells */ }
}

let touched = Date.now();
/** Nobody is in the midst of something. */
function idle() {
  const busy = document.querySelector('dialog[open], [data-dirty]');
  return !busy && (document.hidden || Date.now() - touched > 60000);
}

/** Called once by the shell. */
export function startLive() {
  for (const kind of ['pointerdown', 'keydown', 'input']) addEventListener(kind, () => { touched = Date.now(); }, { capture: true, passive: true });
  addEventListener('online', () => void follow());
  document.addEventListener('visibilitychange', () => { if (!document.hidden && line.value !== 'live') void lookWhetherThere(); });
  let who = '';
  effect(() => {
    const now = `${session.value?.role}/${session.value?.member}/${session.value?.token}`;
    if (now !== who) {
      const before = who !== '';
      who = now;
      tries = 0;
      void Promise.resolve().then(() => {
        if (before) tell(null); // what was refused meanwhile is asked for again
        void follow();
      });
    }
  });
  effect(() => { if (serverAway.value && line.value === 'asking') line.value = 'cut'; });
  setInterval(() => { if (newer.value && idle()) location.reload(); }, 5000);
  setInterval(() => void lookAtVersion(), 600000);
}

/**
 * What the book says, kept in step with it. The first answer shows `data`; later ones replace it without a flicker.
 * @template [T=any]
 * @param {string|null} question  a question of the book, or a path that begins with / (such as /api/1/today); null: not yet
 * @param {Record<string, any>} [parameters]
 * @param {{concerns?: string[]}} [options]  beginnings of the acts that change it (["run-", "machine-"]); none: every act
 * @returns {{data: T|undefined, error: Error|undefined, loading: boolean, again: () => Promise<void>, anew: () => Promise<void>}}
 */
export function useAsk(question, parameters = {}, options = {}) {
  const [state, setState] = useState(/** @type {{key: string, data: any, error: Error|undefined}} */ ({ key: '', data: undefined, error: undefined }));
  const key = question === null ? '' : `${question}?${JSON.stringify(parameters)}/${session.value?.role}/${session.value?.member}`;
  const now = useRef({ key, fetch: async (/** @type {boolean} */ _background) => {} });
  now.current.key = key;
  now.current.fetch = async (background) => {
    if (question === null) return;
    try {
      const data = question.startsWith('/') ? await get(question + search(parameters), { background }) : await ask(question, parameters, { background });
      if (now.current.key === key) setState({ key, data, error: undefined });
    } catch (e) {
      if (now.current.key === key) setState((s) => ({ key, data: s.key === key ? s.data : undefined, error: /** @type {Error} */ (e) }));
    }
  };
  useEffect(() => { if (key) void now.current.fetch(true); }, [key]);
  const concerns = options.concerns?.join() ?? '';
  useEffect(() => {
    /** @type {ReturnType<typeof setTimeout>|undefined} */
    let timer;
    const end = onNews((news) => {
      if (news?.act && concerns && !concerns.split(',').some((c) => news.act?.startsWith(c))) return;
      clearTimeout(timer);
      timer = setTimeout(() => void now.current.fetch(true), 120); // several acts at once: one question
    });
    return () => { clearTimeout(timer); end(); };
  }, [concerns]);
  const here = state.key === key;
  return { data: here ? state.data : undefined, error: here ? state.error : undefined, loading: key !== '' && !here, again: () => now.current.fetch(false), anew: () => now.current.fetch(true) };
}
/** @param {Record<string, any>} parameters */
function search(parameters) {
  const q = new URLSearchParams(Object.entries(parameters).filter(([, v]) => v !== undefined && v !== null).map(([k, v]) => [k, String(v)])).toString();
  return q ? `?${q}` : '';
}

/** The time, again each `ms`: for count-downs. @param {number} [ms] */
export function useNow(ms = 1000) {
  const [now, setNow] = useState(Date.now());
  useEffect(() => {
    const timer = setInterval(() => setNow(Date.now()), ms);
    return () => clearInterval(timer);
  }, [ms]);
  return now;
}
export { lastHeard };
