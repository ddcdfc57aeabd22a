// Signing in where one is, and the change of person at a shared desk. SPDX-License-Identifier: Apache-2.0
import { useState } from 'preact/hooks';
import { session, signIn } from './api.js';
import { Dialog } from './dialog.js';
import { html } from './html.js';
import { Button, Choice, errorAt, errorElsewhere, Field, notice, Trouble } from './parts.js';
import { t } from './words.js';

/** Number and password, or a code from the desk. @param {{onDone: () => void, member?: string}} p */
export function SignInForm({ onDone, member }) {
  const [how, setHow] = useState(/** @type {'password'|'code'} */ ('password'));
  const [v, setV] = useState({ member: member ?? '', password: '', code: '' });
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const [busy, setBusy] = useState(false);
  const send = async (/** @type {Event} */ e) => {
    e.preventDefault();
    if (busy) return;
    setBusy(true);
    try {
      await signIn(how, how === 'password' ? { member: v.member.trim(), password: v.password } : { code: v.code.trim() });
      setError(null);
      onDone();
    } catch (x) {
      setError(/** @type {Error} */ (x));
    } finally {
      setBusy(false);
    }
  };
  return html`<form class="sign-in" novalidate onSubmit=${send}>
    <${Choice} label=${t('sign-in.how')} value=${how} onChange=${setHow} options=${[{ value: 'password', label: t('sign-in.by_password') }, { value: 'code', label: t('sign-in.by_code') }]} />
    <${Trouble} error=${errorElsewhere(error, ['member', 'password', 'code'])} />
    ${how === 'password' ? html`
      <${Field} key="member" label=${t('sign-in.member')} name="member" autocomplete="username" value=${v.member} onInput=${(/** @type {string} */ member) => setV({ ...v, member })} error=${errorAt(error, 'member')} required autofocus=${!member} />
      <${Field} key="password" label=${t('sign-in.password')} name="password" type="password" autocomplete="current-password" value=${v.password} onInput=${(/** @type {string} */ password) => setV({ ...v, password })} error=${errorAt(error, 'password')} required autofocus=${!!member} />`
    : html`<${Field} key="code" label=${t('sign-in.code')} hint=${t('sign-in.code_hint')} name="code" autocomplete="one-time-code" value=${v.code} onInput=${(/** @type {string} */ code) => setV({ ...v, code })} error=${errorAt(error, 'code')} required autofocus />`}
    <${Button} kind="main" type="submit" busy=${busy}>${t('sign-in.do')}<//></form>`;
}
/** @param {{why: 'over'|'needed', onClose: () => void}} p */
export function SignInDialog({ why, onClose }) {
  return html`<${Dialog} title=${t('pages.sign-in')} onClose=${onClose}><p>${t(why === 'over' ? 'sign-in.over' : 'sign-in.needed')}</p><${SignInForm} member=${session.value?.member} onDone=${() => {}} /><//>`;
}
/** Another desk person takes this desk over, by PIN. @param {{onClose: () => void}} p */
export function PersonDialog({ onClose }) {
  const [v, setV] = useState({ member: '', pin: '' });
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const [busy, setBusy] = useState(false);
  const send = async () => {
    setBusy(true);
    try {
      await signIn('pin', { member: v.member.trim(), pin: v.pin });
      notice(t('sign-in.now_is', { member: v.member.trim() }));
      onClose();
    } catch (x) {
      setError(/** @type {Error} */ (x));
      setBusy(false);
    }
  };
  return html`<${Dialog} title=${t('shell.change_person')} onClose=${onClose} onSubmit=${send} acts=${html`<${Button} kind="main" type="submit" busy=${busy}>${t('sign-in.take_over')}<//>`}>
    <p>${t('sign-in.pin_why')}</p><${Trouble} error=${errorElsewhere(error, ['member', 'pin'])} />
    <${Field} label=${t('sign-in.member')} name="member" autocomplete="username" value=${v.member} onInput=${(/** @type {string} */ member) => setV({ ...v, member })} error=${errorAt(error, 'member')} required autofocus />
    <${Field} label=${t('sign-in.pin')} name="pin" type="password" inputmode="numeric" value=${v.pin} onInput=${(/** @type {string} */ pin) => setV({ ...v, pin })} error=${errorAt(error, 'pin')} required /><//>`;
}
