// What one sets for this browser, and one's own password and PIN. SPDX-License-Identifier: Apache-2.0
import { Button, Check, Choice, errorAt, errorElsewhere, Field, html, language, notice, Page, post, session, store, t, Trouble, useDirty, useState } from '../kit/index.js';
import { keysOn, setKeys } from '../kit/keys.js';
import { setTheme, theme } from '../kit/theme.js';
import { languages, speak } from '../kit/words.js';

export default function Settings() {
  const role = session.value?.role ?? 'kiosk';
  return html`<${Page} name="settings" title=${t('pages.settings')} lead=${t('settings.lead')}>
    <section aria-labelledby="s-look"><h2 id="s-look">${t('settings.look')}</h2>
      <${Choice} label=${t('settings.language')} value=${language.value} onChange=${speak} options=${languages.map((l) => ({ value: l.key, label: l.name }))} />
      <${Choice} label=${t('settings.theme')} value=${theme.value} onChange=${setTheme} options=${['auto', 'light', 'dark'].map((k) => ({ value: k, label: t(`settings.theme_${k}`) }))} /></section>
    <section aria-labelledby="s-keys"><h2 id="s-keys">${t('settings.keys')}</h2>
      <${Check} label=${t('settings.keys_on')} hint=${t('settings.keys_hint')} value=${keysOn.value} onChange=${setKeys} /></section>
    <${Notifications} />
    ${role !== 'kiosk' && html`<${Password} />`}${role === 'desk' && html`<${Pin} />`}<//>`;
}

function Notifications() {
  const there = 'Notification' in globalThis;
  const [state, setState] = useState(there ? Notification.permission : 'denied');
  const [on, setOn] = useState(store.get('notify') === 'on');
  const set = async (/** @type {boolean} */ want) => {
    let now = state;
    if (want && state === 'default') setState(now = await Notification.requestPermission());
    const good = want && now === 'granted';
    store.set('notify', good ? 'on' : null);
    setOn(good);
  };
  return html`<section aria-labelledby="s-notify"><h2 id="s-notify">${t('settings.notify')}</h2>
    <${Check} label=${t('settings.notify_on')} hint=${t(!there ? 'settings.notify_none' : state === 'denied' ? 'settings.notify_denied' : 'settings.notify_hint')}
      value=${on && state === 'granted'} disabled=${!there || state === 'denied'} onChange=${set} /></section>`;
}

/** A form for one secret. @param {{id: string, title: string, lead: string, fields: {name: string, label: string, hint?: string, auto: string, digits?: boolean, optional?: boolean}[], send: (v: Record<string, string>) => Promise<any>, done: string, press: string}} p */
function Secret(p) {
  const empty = Object.fromEntries(p.fields.map((f) => [f.name, '']));
  const [v, setV] = useState(empty);
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const [busy, setBusy] = useState(false);
  useDirty(Object.values(v).some((x) => x !== ''));
  const send = async (/** @type {Event} */ e) => {
    e.preventDefault();
    if (busy) return;
    setBusy(true);
    try {
      session.value = await p.send(v);
      setV(empty);
      setError(null);
      notice(p.done);
    } catch (x) {
      setError(/** @type {Error} */ (x));
    }
    setBusy(false);
  };
  return html`<section aria-labelledby=${p.id}><h2 id=${p.id}>${p.title}</h2><p class="quiet">${p.lead}</p><form class="narrow" novalidate onSubmit=${send}>
    <${Trouble} error=${errorElsewhere(error, p.fields.map((f) => f.name))} />
    ${p.fields.map((f) => html`<${Field} key=${f.name} label=${f.label} hint=${f.hint} type="password" inputmode=${f.digits ? 'numeric' : undefined} autocomplete=${f.auto} required=${!f.optional}
      value=${v[f.name]} onInput=${(/** @type {string} */ x) => setV({ ...v, [f.name]: x })} error=${errorAt(error, f.name)} />`)}
    <${Button} type="submit" busy=${busy}>${p.press}<//></form></section>`;
}
function Password() {
  return html`<${Secret} id="s-password" title=${t('settings.password')} lead=${t('settings.password_lead')} press=${t('settings.password_do')} done=${t('settings.password_done')}
    fields=${[{ name: 'old', label: t('settings.password_old'), hint: t('settings.password_old_hint'), auto: 'current-password', optional: true },
      { name: 'new', label: t('sign-in.new_password'), hint: t('sign-in.password_rule'), auto: 'new-password' }]}
    send=${(/** @type {Record<string, string>} */ v) => post('/api/1/password', v.old ? { old: v.old, new: v.new } : { new: v.new }, { plain: true })} />`;
}
function Pin() {
  return html`<${Secret} id="s-pin" title=${t('settings.pin')} lead=${t('settings.pin_lead')} press=${t('settings.pin_do')} done=${t('settings.pin_done')}
    fields=${[{ name: 'password', label: t('sign-in.password'), auto: 'current-password' }, { name: 'pin', label: t('settings.pin_new'), hint: t('settings.pin_rule'), auto: 'off', digits: true }]}
    send=${(/** @type {Record<string, string>} */ v) => post('/api/1/pin', { password: v.password, pin: v.pin }, { plain: true })} />`;
}
