// Signing in, and the first keeper by the word that was printed at the start. SPDX-License-Identifier: Apache-2.0
import { Button, errorAt, errorElsewhere, Field, go, html, Page, place, session, signIn, t, Trouble, useState } from '../kit/index.js';
import { SignInForm } from '../kit/sign_in.js';

/** @param {{query: URLSearchParams}} p */
export default function SignIn({ query }) {
  const word = place.value.hash.startsWith('#first=') ? place.value.hash.slice(7) : '';
  const then = query.get('then') ?? '/';
  const on = () => go(/^\/(?!\/)/.test(then) ? then : '/', { replace: true }); // never to another site
  if (word) return html`<${First} word=${word} />`;
  const who = session.value;
  return html`<${Page} name="sign-in" title=${t('pages.sign-in')} lead=${t('sign-in.lead')}>
    ${who && who.role !== 'kiosk' && html`<p class="quiet">${t('sign-in.already', { member: who.member })}</p>`}
    <${SignInForm} onDone=${on} /><p class="quiet">${t('sign-in.forgot')}</p><//>`;
}
/** @param {{word: string}} p */
function First({ word }) {
  const [v, setV] = useState({ member: '', password: '', again: '' });
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const [differ, setDiffer] = useState(false);
  const [busy, setBusy] = useState(false);
  const send = async (/** @type {Event} */ e) => {
    e.preventDefault();
    setDiffer(v.password !== v.again);
    if (v.password !== v.again || busy) return;
    setBusy(true);
    try {
      await signIn('first', { word, member: v.member.trim(), password: v.password });
      go('/settings', { replace: true });
    } catch (x) {
      setError(/** @type {Error} */ (x));
    }
    setBusy(false);
  };
  const set = (/** @type {string} */ key) => (/** @type {string} */ value) => setV({ ...v, [key]: value });
  return html`<${Page} name="sign-in" title=${t('sign-in.first')} lead=${t('sign-in.first_lead')}><form class="sign-in" novalidate onSubmit=${send}>
    <${Trouble} error=${errorElsewhere(error, ['member', 'password'])} />
    <${Field} label=${t('sign-in.member')} hint=${t('sign-in.first_member')} autocomplete="username" value=${v.member} onInput=${set('member')} error=${errorAt(error, 'member')} required autofocus />
    <${Field} label=${t('sign-in.new_password')} hint=${t('sign-in.password_rule')} type="password" autocomplete="new-password" value=${v.password} onInput=${set('password')} error=${errorAt(error, 'password')} required />
    <${Field} label=${t('sign-in.password_again')} type="password" autocomplete="new-password" value=${v.again} onInput=${set('again')} error=${differ ? t('sign-in.differ') : undefined} required />
    <${Button} kind="main" type="submit" busy=${busy}>${t('sign-in.first_do')}<//></form><//>`;
}
