// Which page, by the address. SPDX-License-Identifier: Apache-2.0
import { signal } from '@preact/signals';

/** @type {import('@preact/signals').Signal<{path: string, query: URLSearchParams, hash: string}>} */
export const place = signal(read());
function read() {
  return { path: location.pathname.replace(/\/+$/, '') || '/', query: new URLSearchParams(location.search), hash: location.hash };
}
/** @param {string} to  /machine/Alder?x=1 @param {{replace?: boolean}} [o] */
export function go(to, o = {}) {
  history[o.replace ? 'replaceState' : 'pushState'](null, '', to);
  place.value = read();
}
export function startRouter() {
  addEventListener('popstate', () => { place.value = read(); });
  addEventListener('hashchange', () => { place.value = read(); });
  document.addEventListener('click', (e) => {
    const a = /** @type {Element} */ (e.target).closest?.('a[href]');
    if (!(a instanceof HTMLAnchorElement) || e.defaultPrevented || e.button !== 0 || e.metaKey || e.ctrlKey || e.shiftKey || e.altKey) return;
    if (a.target || a.hasAttribute('download') || a.origin !== location.origin || /^\/(api|a)\//.test(a.pathname)) return;
    if (a.hash && a.pathname === location.pathname) return;
    e.preventDefault();
    go(a.pathname + a.search + a.hash);
  });
}
/** Values of /machine/:name in a path; null: another page. @param {string} pattern @param {string} path @returns {Record<string, string>|null} */
export function match(pattern, path) {
  const want = pattern.split('/'), have = path.split('/');
  if (want.length !== have.length) return null;
  /** @type {Record<string, string>} */
  const got = {};
  for (let i = 0; i < want.length; i++) {
    if (want[i].startsWith(':')) {
      try { got[want[i].slice(1)] = decodeURIComponent(have[i]); } catch { return null; }
    } else if (want[i] !== have[i]) return null;
  }
  return got;
}
