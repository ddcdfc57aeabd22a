// The desk's day, one for the whole page: what is due, what waits, what the browser tells of it. SPDX-License-Identifier: Apache-2.0
import { computed, effect, signal } from '@preact/signals';
import { get, session } from './api.js';
import { onNews } from './live.js';
import { go } from './router.js';
import { clock } from './when.js';
import { has, store, t } from './words.js';

/** @typedef {{word: string, act: string, body: Record<string, any>}} DueAct */
/** @typedef {{kind: string, about: Record<string, any>, at_ms: number|null, now: boolean, says: string, do: string|null, acts?: DueAct[]}} Due */
/** @typedef {{kind: string, from_ms: number, until_ms: number|null, run?: number, member?: string, outcome?: string, reason?: string, low_ms?: number, high_ms?: number, alone?: boolean, expected?: boolean}} Stretch */
/** @typedef {{at_ms: number, until_ms: number, event: number, note: {text: string, by: string, at_ms: number, round: number|null}|null, messages_waiting: number, waiting: number, next_free: {machine: string, at_ms: number}|null,
 *   due: Due[], days: {from_ms: number, until_ms: number, hours: {from_ms: number, until_ms: number, last_safe_start_ms: number|null}[]}[], more: boolean,
 *   strips: {machine: string, state: string, free_ms: number|null, spans: Stretch[], hands: {at_ms: number, run: number, staffed: boolean}[]}[]}} Day */

/** What the server says of the day; undefined until it is here, or for whoever may not see it. @type {import('@preact/signals').Signal<Day|undefined>} */
export const day = signal(undefined);
/** @type {import('@preact/signals').Signal<Error|undefined>} */
export const dayError = signal(undefined);
/** How far the server's clock is before this computer's, ms. */
let ahead = 0;
/** The time as the server has it. */
export const serverNow = () => Date.now() + ahead;
const isDesk = () => session.value?.role === 'desk' || session.value?.role === 'keeper';
/** How many lines wait for somebody. */
export const waiting = computed(() => (isDesk() ? day.value?.due.filter((d) => d.now).length ?? 0 : 0));

/** A line of what is due, the same as long as it is about the same. @param {Due} d */
export const dueKey = (d) => `${d.kind.startsWith('end') ? 'end' : d.kind}/${d.about.run ?? d.about.ticket ?? d.about.spool ?? d.about.member ?? ''}/${d.about.machine ?? ''}/${d.about.permission ?? ''}/${d.kind === 'hands' || d.kind === 'permits' ? d.at_ms : ''}`;

let turn = 0;
/** @type {ReturnType<typeof setTimeout>|undefined} */
let again;
/** Asks anew; after an act of one's own there is no need to wait for the news of it. */
export async function askDay() {
  clearTimeout(again);
  if (!isDesk()) return;
  const mine = ++turn;
  let pause = 20000;
  try {
    /** @type {Day} */
    const have = await get('/api/1/today', { background: true });
    if (mine !== turn) return;
    ahead = Math.abs(have.at_ms - Date.now()) > 90000 ? have.at_ms - Date.now() : 0; // within what a held answer explains: none
    day.value = have;
    dayError.value = undefined;
    pause = Math.max(500, have.until_ms - serverNow() + 150);
  } catch (e) {
    if (mine !== turn) return;
    dayError.value = /** @type {Error} */ (e);
  }
  clearTimeout(again);
  again = setTimeout(() => void askDay(), Math.min(pause, 65000)); // the next minute, or what falls due before it
}

/** Which lines are told of, when their time comes. */
const told = ['watch', 'end', 'end-alone', 'end-late', 'hands', 'off'];
let looked = 0;
function tellWhatCame() {
  const now = serverNow(), since = looked;
  looked = now;
  if (!day.value || since === 0 || now - since > 600000) return;
  if (store.get('notify') !== 'on' || !('Notification' in globalThis) || Notification.permission !== 'granted') return;
  for (const d of day.value.due) {
    if (d.at_ms === null || d.at_ms <= since || d.at_ms > now || !told.includes(d.kind) || !has(`today.tell_${d.kind}`)) continue;
    try {
      const n = new Notification(t(`today.tell_${d.kind}`, d.about), { body: t('today.tell_body', { at: clock(d.at_ms), run: String(d.about.run ?? '') }), tag: dueKey(d) });
      n.onclick = () => { focus(); go('/today'); n.close(); };
    } catch { return; } // some browsers allow them only from elsewhere
  }
}

/** Called once by the shell. */
export function startDay() {
  let who = '';
  effect(() => {
    const now = `${session.value?.role}/${session.value?.member}/${session.value?.token}`;
    if (now === who) return;
    const same = who.split('/', 2).join('/') === now.split('/', 2).join('/');
    who = now;
    if (!same) day.value = undefined; // who signs in again sees at once what is there
    void Promise.resolve().then(askDay);
  });
  /** @type {ReturnType<typeof setTimeout>|undefined} */
  let soon;
  onNews(() => {
    clearTimeout(soon);
    soon = setTimeout(() => void askDay(), 100); // several acts at once: one question
  });
  document.addEventListener('visibilitychange', () => { if (!document.hidden) void askDay(); });
  setInterval(tellWhatCame, 1000);
}
