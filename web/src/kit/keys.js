// Keys of a page, and the list of them on `?`. SPDX-License-Identifier: Apache-2.0
import { signal } from '@preact/signals';
import { useLayoutEffect, useRef } from 'preact/hooks';
import { store } from './words.js';

/** @typedef {{key: string, says: string, run: () => void}} Key  key: as KeyboardEvent.key, with "Alt+" or "Ctrl+" before it; says: what it does, in the language */
/** Single keys can be switched off (WCAG 2.1.4); those with Alt, Ctrl, Escape and Enter stay. */
export const keysOn = signal(true);
/** @type {(() => Key[])[]} */
let lists = [];
export const keyHelp = signal(false);

/** @param {boolean} on */
export function setKeys(on) {
  keysOn.value = on;
  store.set('keys', on ? null : 'off');
}
export function startKeys() {
  keysOn.value = store.get('keys') !== 'off';
  addEventListener('keydown', (e) => {
    const at = /** @type {HTMLElement} */ (e.target);
    const modal = document.querySelector('dialog[open]');
    if (e.defaultPrevented || e.isComposing || e.metaKey) return;
    const typing = at.closest?.('input:not([type=checkbox],[type=radio],[type=button]), textarea, select, [contenteditable], [role=combobox]');
    const name = `${e.ctrlKey ? 'Ctrl+' : ''}${e.altKey ? 'Alt+' : ''}${e.key}`;
    const single = !e.ctrlKey && !e.altKey && e.key.length === 1;
    if (single && (typing || !keysOn.value)) return;
    if (single && e.key === '?' && !modal) {
      e.preventDefault();
      keyHelp.value = true;
      return;
    }
    const found = keysNow().findLast((k) => k.key === name || (single && k.key.length === 1 && k.key.toLowerCase() === e.key.toLowerCase()));
    if (!found || (modal && !modal.contains(at)) || (modal && single)) return;
    e.preventDefault();
    found.run();
  });
}
/** Keys while this component is shown. @param {Key[]} list */
export function useKeys(list) {
  const now = useRef(list);
  now.current = list;
  useLayoutEffect(() => { // with what is shown, not some time after: who sees the page may press
    const own = () => now.current;
    lists = [...lists, own];
    return () => { lists = lists.filter((l) => l !== own); };
  }, []);
}
/** Those that count now, the innermost last. */
export const keysNow = () => lists.flatMap((l) => l());
