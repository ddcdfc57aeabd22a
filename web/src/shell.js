// Header, ways and foot of the page. SPDX-License-Identifier: Apache-2.0
import { html, useState } from './kit/html.js';
import { session, shop, signOut } from './kit/api.js';
import { keyHelp } from './kit/keys.js';
import { lastHeard, line, newer, useNow } from './kit/live.js';
import { Button, notice } from './kit/parts.js';
import { Dialog } from './kit/dialog.js';
import { PersonDialog } from './kit/sign_in.js';
import { go } from './kit/router.js';
import { clock, day } from './kit/when.js';
import { t } from './kit/words.js';

export function Header() {
  const now = useNow(5000);
  const who = session.value;
  const [change, setChange] = useState(false);
  const end = async () => {
    await signOut();
    notice(t('shell.signed_out'));
    go('/prove');
  };
  return html`<header class="shell-head">
    <p class="house"><a href="/"><svg viewBox="0 0 24 24" width="24" height="24" aria-hidden="true"><path class="bed" d="M3 19h18" /><path class="tick" d="M5 11l5 4.500L20 5" /></svg> ${shop.value?.name ?? 'Proveout'}</a></p>
    <p class="day"><span>${day(now)}</span> <time dateTime=${new Date(now).toISOString()}>${clock(now)}</time></p>
    <div class="who">${who && who.role !== 'kiosk' ? html`<span class="name"><span>${who.member}</span> <small>${t(`shell.role_${who.role}`)}</small></span>
        ${who.role === 'desk' && html`<${Button} kind="quiet" onPress=${() => setChange(true)}>${t('shell.change_person')}<//>`}
        <${Button} kind="quiet" onPress=${end}>${t('shell.sign_out')}<//>`
      : html`<span class="name kiosk"><span>${t('shell.kiosk')}</span></span> <${Button} kind="quiet" href="/sign-in">${t('pages.sign-in')}<//>`}
      <button type="button" class="icon" aria-label=${t('shell.keys')} title=${t('shell.keys')} onClick=${() => { keyHelp.value = true; }}>?</button></div>
    <div class="line" role="status">${line.value === 'cut' ? html`<p class="cut"><svg viewBox="0 0 20 20" width="16" height="16" aria-hidden="true"><path d="M2 10h5M13 10h5M8 5l4 10" /></svg> ${t('shell.line_cut', { at: clock(lastHeard.peek()) })}</p>` : ''}
      ${newer.value ? html`<p class="newer">${t('shell.newer')} <${Button} kind="quiet" onPress=${() => location.reload()}>${t('shell.load_newer')}<//></p>` : ''}</div>
    ${change && html`<${PersonDialog} onClose=${() => setChange(false)} />`}</header>`;
}
/** @param {string} name @param {string} path */
const here = (name, path) => (path === `/${name}` || path.startsWith(`/${name}/`) || (name === 'people' && path.startsWith('/person/')) || (name === 'machines' && path.startsWith('/machine/')) ? 'page' : undefined);

/** @param {{list: string[], path: string}} p */
export function Ways({ list, path }) {
  return html`<nav class="ways" aria-label=${t('shell.ways')}><ul>${list.map((name) => html`<li key=${name}><a href="/${name}" aria-current=${here(name, path)}>${t(`pages.${name}`)}</a></li>`)}</ul>
    <ul class="low"><li><a href="/settings" aria-current=${here('settings', path)}>${t('pages.settings')}</a></li><li><a href="/about" aria-current=${here('about', path)}>${t('pages.about')}</a></li></ul></nav>`;
}
/** The bar at the foot of a phone: four ways and the rest. @param {{list: string[], path: string}} p */
export function Foot({ list, path }) {
  const [open, setOpen] = useState(false);
  const rest = [...list.slice(4), 'settings', 'about'];
  return html`<nav class="foot" aria-label=${t('shell.ways_phone')}><ul>${list.slice(0, 4).map((name) => html`<li key=${name}><a href="/${name}" aria-current=${here(name, path)}>${t(`pages.${name}`)}</a></li>`)}
    <li><button type="button" aria-haspopup="dialog" onClick=${() => setOpen(true)}>${t('shell.more')}</button></li></ul>
    ${open && html`<${Dialog} title=${t('shell.more')} onClose=${() => setOpen(false)}><ul class="more-ways">${rest.map((name) => html`<li key=${name}><a href="/${name}" aria-current=${here(name, path)} onClick=${() => setOpen(false)}>${t(`pages.${name}`)}</a></li>`)}</ul><//>`}</nav>`;
}
