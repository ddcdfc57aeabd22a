// What was found while the line was cut: kept in this browser, sent in order when it is back, never twice. SPDX-License-Identifier: Apache-2.0
//
// An act may have been booked though its answer never came. Before one is sent again the book is asked: the acts of one machine go
// all or none, so that its row in the round tells whether they went.
import { effect, signal } from '@preact/signals';
import { acts, Away, get, Problem, session } from '../../kit/api.js';
import { line } from '../../kit/live.js';
import { store } from '../../kit/words.js';

/** @typedef {{found: string, bed_clear: boolean, stick_there: boolean, nozzle_clean: boolean, spool_on: boolean, heaters_off: boolean, note?: string}} Found */
/** before: when the row of the machine was last written before this (null: never); error: what the server said no to.
 * @typedef {{id: number, member: string, round: number, machine: string, found: Found, before: number|null, acts: {act: string, body: any}[], error?: string}} Kept */

/** @type {import('@preact/signals').Signal<Kept[]>} */
export const kept = signal(read());
function read() {
  try {
    const list = JSON.parse(store.get('round') ?? '[]');
    return Array.isArray(list) ? list : [];
  } catch { return []; }
}
/** The last try got no answer. */
export const stuck = signal(false);
/** @param {Kept[]} list */
function keep(list) {
  kept.value = list;
  store.set('round', list.length ? JSON.stringify(list) : null);
}
/** @param {number} id */
export const drop = (id) => keep(kept.value.filter((k) => k.id !== id));
/** Try one again that was refused. @param {number} id */
export function again(id) {
  keep(kept.value.map((k) => (k.id === id ? { ...k, error: undefined } : k)));
  void flush();
}

/** Whether the book has it already. @param {any} now @param {Kept} k */
function booked(now, k) {
  const row = now.machines.find((/** @type {any} */ m) => m.machine === k.machine)?.found;
  return now.round?.round === k.round && !!row && row.at_ms !== k.before && row.found === k.found.found
    && ['bed_clear', 'stick_there', 'nozzle_clean', 'spool_on', 'heaters_off'].every((p) => row[p] === k.found[/** @type {keyof Found} */ (p)]);
}

/** Book what was found at a machine: {done} with the events, {kept} where the line is cut, or a Problem is thrown.
 * @param {Omit<Kept, 'id'|'member'>} what @returns {Promise<{done?: {event: number}[], kept?: boolean}>} */
export async function book(what) {
  const k = { ...what, id: Date.now() + Math.random(), member: session.value?.member ?? '' };
  if (kept.value.length === 0) {
    try {
      return { done: await acts(what.acts) };
    } catch (e) {
      if (!(e instanceof Away)) throw e;
    }
  }
  stuck.value = true;
  keep([...kept.value.filter((x) => x.machine !== k.machine || x.error === undefined), k]);
  return { kept: true };
}

let busy = false;
/** Send what is kept, in order; stops at the first that gets no answer. */
export async function flush() {
  if (busy) return;
  busy = true;
  try {
    for (;;) {
      const k = kept.value.find((x) => !x.error && x.member === session.value?.member);
      if (!k) break;
      const now = await get('/api/1/round', { background: true });
      stuck.value = false;
      try {
        if (!booked(now, k)) await acts(k.acts);
        drop(k.id);
      } catch (e) {
        if (!(e instanceof Problem) || e.status >= 500) throw e;
        keep(kept.value.map((x) => (x.id === k.id ? { ...x, error: e.detail } : x)));
      }
    }
  } catch { stuck.value = true; } finally { busy = false; }
}
/** While the page is shown: as soon as the line is back, and every few seconds. @returns {() => void} */
export function keepSending() {
  const timer = setInterval(() => { if (kept.value.some((k) => !k.error)) void flush(); }, 4000);
  const end = effect(() => { if (line.value === 'live' && session.value?.member) void flush(); });
  return () => { clearInterval(timer); end(); };
}
