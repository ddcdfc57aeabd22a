// The shell: header, ways, the page that the address names, dialogs that belong to all. SPDX-License-Identifier: Apache-2.0
import { h, html, render, useEffect, useRef, useState } from './kit/html.js';
import { loadShop, may, refreshSession, session, shop, signInWanted } from './kit/api.js';
import { keyHelp, keysNow, keysOn, startKeys, useKeys } from './kit/keys.js';
import { startDay } from './kit/day.js';
import { startLive } from './kit/live.js';
import { go, match, place, startRouter } from './kit/router.js';
import { Button, Empty, Loading, Notices, Trouble, undoLast } from './kit/parts.js';
import { Dialog } from './kit/dialog.js';
import { Page } from './kit/page.js';
import { SignInDialog } from './kit/sign_in.js';
import { startTheme } from './kit/theme.js';
import { startWords, t } from './kit/words.js';
import { Header, Foot, Ways } from './shell.js';
import { pages, ways } from './pages/index.js';

/** @type {Map<string, any>} */
const loaded = new Map();

/** The page that the address names, once its file is here. @param {{page: (typeof pages)[number], params: Record<string, string>}} p */
function Shown({ page, params }) {
  const [, again] = useState(0);
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const Component = loaded.get(page.name);
  const get = async () => {
    try {
      loaded.set(page.name, (await page.load()).default);
      setError(null);
      again((n) => n + 1);
    } catch { // the server has another page by now, or is away
      setError(new Error(t('kit.page_away')));
    }
  };
  useEffect(() => { if (!Component) void get(); }, [page.name]);
  if (!may(page.least)) {
    return html`<${Page} name="closed" title=${t(`pages.${page.name}`)}><${Empty} title=${t(session.value?.role === 'kiosk' ? 'shell.sign_in_for' : 'shell.not_for_you')}>
      <${Button} kind="main" href="/sign-in?then=${encodeURIComponent(place.value.path + (place.value.query.size ? `?${place.value.query}` : ''))}">${t('pages.sign-in')}<//><//><//>`;
  }
  if (error) return html`<${Page} name="closed" title=${t(`pages.${page.name}`)}><${Trouble} error=${error} onAgain=${() => location.reload()} /><//>`;
  if (!Component) return html`<${Loading} />`;
  return h(Component, /** @type {any} */ ({ key: `${page.name}/${Object.values(params).join('/')}`, params, query: place.value.query }));
}

function Shell() {
  const path = place.value.path;
  const role = session.value?.role ?? 'kiosk';
  const home = ways[role][0];
  const first = place.value.hash.startsWith('#first=');
  /** @type {{current: string|null}} */
  const was = useRef(null);
  useEffect(() => { // a new page: the reading begins at its heading, the writing where a scanner is to type at once
    if (first && path !== '/sign-in') go(`/sign-in${location.hash}`, { replace: true });
    else if (path === '/') go(`/${home}${location.search}`, { replace: true });
    if (was.current !== null && was.current !== path && was.current !== '/') {
      scrollTo(0, 0);
      const from = document.activeElement;
      const read = (/** @type {number} */ tries) => { // the page's file may still be on its way
        const at = document.activeElement, head = /** @type {HTMLElement|null} */ (document.querySelector('main form.scan [data-autofocus]') ?? document.querySelector('main h1'));
        if (!head && tries > 0) timer = setTimeout(read, 60, tries - 1);
        if (head && (at === from || at === document.body || !head.closest('main')?.contains(at))) head.focus({ preventScroll: true }); // else the page gave it to what comes first
      };
      let timer = setTimeout(read, 60, 200);
      was.current = path;
      return () => clearTimeout(timer);
    }
    was.current = path;
    return undefined;
  }, [path, first]);
  const list = ways[role];
  useKeys([{ key: 'u', says: t('shell.key_undo'), run: () => void undoLast() },
    ...list.slice(0, 9).map((name, i) => ({ key: `Alt+${i + 1}`, says: t(`pages.${name}`), run: () => go(`/${name}`) }))]);
  if (path === '/') return html`<${Loading} />`;
  let page, params = /** @type {Record<string, string>|null} */ (null);
  for (const p of pages) {
    params = match(p.path, path);
    if (params) { page = p; break; }
  }
  const bare = path === '/screen';
  return html`${!bare && html`<a class="skip" href="#main" onClick=${(/** @type {Event} */ e) => { e.preventDefault(); document.getElementById('main')?.focus(); }}>${t('shell.skip')}</a><${Header} />`}
    <div class="frame ${bare ? 'bare' : ''}">${!bare && html`<${Ways} list=${list} path=${path} />`}
    <main id="main" tabindex="-1">${page && params ? html`<${Shown} page=${page} params=${params} key=${page.name} />`
      : html`<${Page} name="nowhere" title=${t('shell.nowhere')}><${Empty} title=${t('shell.nowhere_why')}><${Button} kind="main" href="/${home}">${t(`pages.${home}`)}<//><//><//>`}</main></div>
    ${!bare && html`<${Foot} list=${list} path=${path} />`}
    <${Notices} />
    ${signInWanted.value && html`<${SignInDialog} why=${signInWanted.value.why} onClose=${() => signInWanted.value?.done(false)} />`}
    ${keyHelp.value && html`<${KeyHelp} />`}`;
}

function KeyHelp() {
  const shownKey = (/** @type {string} */ k) => k.split('+').map((x) => (x.length === 1 ? x.toUpperCase() : x));
  return html`<${Dialog} title=${t('shell.keys')} onClose=${() => { keyHelp.value = false; }}>
    ${!keysOn.value && html`<p>${t('shell.keys_off')}</p>`}
    <dl class="keys"><div><dt><kbd>?</kbd></dt><dd>${t('shell.key_help')}</dd></div>${keysNow().map((k) => html`<div key=${k.key}><dt>${shownKey(k.key).map((x) => html`<kbd>${x}</kbd>`)}</dt><dd>${k.says}</dd></div>`)}</dl>
    <p><a href="/settings" onClick=${() => { keyHelp.value = false; }}>${t('pages.settings')}</a></p><//>`;
}

startTheme();
startRouter();
startKeys();
const at = /** @type {HTMLElement} */ (document.getElementById('page'));
await startWords();
for (let pause = 400; ; pause = Math.min(pause * 2, 8000)) { // the server may only just be starting
  try {
    await Promise.all([refreshSession(), loadShop()]);
    break;
  } catch {
    render(html`<main id="main"><p class="loading" role="status">${t('shell.waiting')}</p></main>`, at);
    await new Promise((done) => setTimeout(done, pause));
  }
}
render(html`<${Shell} />`, at);
startLive();
startDay();
document.documentElement.dataset.ready = '';
void shop;
