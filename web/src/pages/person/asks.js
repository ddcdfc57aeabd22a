// What asks twice or shows once: a one-time code, and forgetting a name. SPDX-License-Identifier: Apache-2.0
import { act, Button, clock, Dialog, Field, html, Loading, notice, post, t, Trouble, useDirty, useEffect, useState } from '../../kit/index.js';

/** A code is made when the dialog opens: an older one is void then. @param {{member: string, onClose: () => void}} p */
export function CodeDialog({ member, onClose }) {
  const [code, setCode] = useState(/** @type {string|null} */ (null));
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const make = async () => {
    try { setCode((await post('/api/1/code', { member })).code); setError(null); } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  useEffect(() => { void make(); }, []);
  useDirty(code !== null);
  return html`<${Dialog} title=${t('person.code')} onClose=${onClose} acts=${html`<${Button} kind="main" onPress=${onClose}>${t('kit.close')}<//>`}>
    <${Trouble} error=${error} onAgain=${make} />
    <div role="status">${code ? html`<p>${t('person.code_for', { member })}</p><p class="code">${code}</p>` : !error && html`<${Loading} />`}</div>
    <p class="quiet">${t('person.code_how', { at: clock(Date.now()) })}</p><//>`;
}

/** @param {{member: string, onClose: () => void, onDone: () => void}} p */
export function Forget({ member, onClose, onDone }) {
  const [typed, setTyped] = useState('');
  const [wrong, setWrong] = useState(false);
  const [busy, setBusy] = useState(false);
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const send = async () => {
    setWrong(typed.trim() !== member);
    if (typed.trim() !== member || busy) return;
    setBusy(true);
    try {
      await act('member-forget', { member });
      notice(t('person.forget_done', { member }));
      onClose();
      onDone();
    } catch (e) { setError(/** @type {Error} */ (e)); setBusy(false); }
  };
  return html`<${Dialog} title=${t('person.forget')} onClose=${onClose} onSubmit=${send} acts=${html`<${Button} onPress=${onClose}>${t('people.leave')}<//><${Button} type="submit" kind="danger" busy=${busy}>${t('person.forget_do')}<//>`}>
    <${Trouble} error=${error} /><p>${t('person.forget_lead')}</p>
    <${Field} label=${t('person.forget_type', { member })} value=${typed} onInput=${setTyped} required autofocus error=${wrong ? t('person.forget_differs') : undefined} /><//>`;
}
