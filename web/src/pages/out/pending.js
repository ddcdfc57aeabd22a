// A hand-out that was sent and not answered yet: kept in this tab, so that it is known again after a cut line or a reload. SPDX-License-Identifier: Apache-2.0

/** @typedef {{key: string, member: string, machine: string, file: string}} Pending */
const at = 'proveout.hand-out';

/** A key of its own for this request; the same until it is known what became of it. @param {{member: string, machine: string, file: string}} what @returns {Pending} */
export function remember(what) {
  const was = pending();
  const key = was && was.member === what.member && was.machine === what.machine && was.file === what.file ? was.key : [...crypto.getRandomValues(new Uint8Array(12))].map((b) => b.toString(16).padStart(2, '0')).join('');
  const one = { key, ...what };
  try { sessionStorage.setItem(at, JSON.stringify(one)); } catch { /* then a reload does not know it */ }
  return one;
}
/** @returns {Pending|null} */
export function pending() {
  try { return JSON.parse(sessionStorage.getItem(at) ?? 'null'); } catch { return null; }
}
export function forget() {
  try { sessionStorage.removeItem(at); } catch { /* nothing was kept */ }
}
