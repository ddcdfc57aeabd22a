// Light or dark: as the computer wants it, or as chosen here. SPDX-License-Identifier: Apache-2.0
import { signal } from '@preact/signals';
import { store } from './words.js';

/** @typedef {'auto'|'light'|'dark'} Theme */
/** @type {import('@preact/signals').Signal<Theme>} */
export const theme = signal('auto');
/** @param {Theme} which */
export function setTheme(which) {
  theme.value = which;
  store.set('theme', which === 'auto' ? null : which);
  if (which === 'auto') delete document.documentElement.dataset.theme;
  else document.documentElement.dataset.theme = which;
  dispatchEvent(new Event('proveout-theme'));
}
export function startTheme() {
  const kept = store.get('theme');
  setTheme(kept === 'light' || kept === 'dark' ? kept : 'auto');
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => dispatchEvent(new Event('proveout-theme')));
}
