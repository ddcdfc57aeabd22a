// The outbox: what members should hear, why it was written, copied and marked as sent; nothing goes out by itself. SPDX-License-Identifier: Apache-2.0
import { act, acts, ask, Button, Choice, Dialog, Empty, errorAt, errorElsewhere, Field, html, Loading, Mark, notice, Page, Picker, t, Trouble, useAsk, useDirty, useKeys, useNow, useState, when } from '../kit/index.js';

const undo = (/** @type {number[]} */ events) => ({ undo: async () => { await acts([...events].reverse().map((event) => ({ act: 'undo', body: { event } }))); } });

export default function Messages() {
  const [state, setState] = useState('waiting');
  const { data, error, again } = useAsk('outbox', { state, limit: 200 }, { concerns: ['message-', 'run-', 'ticket-', 'shelf-', 'undo'] });
  const now = useNow(60000);
  const [trouble, setTrouble] = useState(/** @type {Error|null} */ (null));
  const [edit, setEdit] = useState(/** @type {any} */ (null));
  const rows = /** @type {any[]} */ (data?.messages ?? []), first = state === 'waiting' ? rows[0] : undefined;
  const does = (/** @type {() => Promise<any>} */ f, /** @type {string} */ says) => async () => {
    try {
      const done = await f();
      setTrouble(null);
      notice(says, undo([done.event]));
    } catch (e) { setTrouble(/** @type {Error} */ (e)); }
  };
  const copy = async (/** @type {any} */ m) => {
    try {
      await navigator.clipboard.writeText(m.text);
      notice(t('messages.copied'));
    } catch { setTrouble(new Error(t('messages.no_copy'))); }
  };
  const sent = (/** @type {any} */ m) => does(() => act('message-sent', { message: m.message }), t('messages.sent_booked', { member: m.member }));
  useKeys(first ? [{ key: 'c', says: t('messages.key_copy'), run: () => void copy(first) }, { key: 's', says: t('messages.key_sent'), run: () => void sent(first)() }] : []);
  return html`<${Page} name="messages" title=${t('pages.messages')} lead=${t('messages.lead')} acts=${html`<${Button} onPress=${() => setEdit({})}>${t('messages.write')}<//>`}>
    <${Choice} label=${t('messages.which')} hideLabel value=${state} onChange=${setState} options=${['waiting', 'sent', 'dropped'].map((k) => ({ value: k, label: t(`messages.state_${k}`) }))} />
    <${Trouble} error=${error ?? trouble} onAgain=${error ? again : undefined} />
    ${!data ? !error && html`<${Loading} />` : rows.length === 0 ? html`<${Empty} title=${t(`messages.none_${state}`)} />` : html`<ol class="letters">${rows.map((m) => html`<li key=${m.message} class="card"><div class="head"><h2>${t('messages.to', { member: m.member })}</h2><p class="quiet">${when(m.at_ms, now)}</p></div>
      <p class="why quiet">${t(`messages.why_${m.kind}`, { run: m.run ?? '' })}${m.run ? html` ${t('messages.run', { run: m.run })}` : ''}${m.state === 'sent' && m.sent_ms ? ` ${t('messages.sent_at', { at: when(m.sent_ms, now) })}` : ''}</p>
      <blockquote>${m.text}</blockquote>
      ${m.tries > 0 && m.state === 'waiting' && html`<p class="row"><${Mark} grade="ask" /> <span>${t('messages.failed', { n: m.tries, why: m.why ?? '' })}</span></p>`}
      ${m.state === 'waiting' && html`<${Contact} member=${m.member} /><div class="row"><${Button} kind=${m === first ? 'main' : 'plain'} hotkey=${m === first ? 'c' : undefined} label=${m === first ? undefined : t('messages.copy_of', { member: m.member })} onPress=${() => copy(m)}>${t('messages.copy')}<//><${Button} hotkey=${m === first ? 's' : undefined} label=${m === first ? undefined : t('messages.sent_of', { member: m.member })} onPress=${sent(m)}>${t('messages.sent')}<//>
        <${Button} kind="quiet" label=${t('messages.edit_of', { member: m.member })} onPress=${() => setEdit(m)}>${t('messages.edit')}<//><${Button} kind="quiet" label=${t('messages.drop_of', { member: m.member })} onPress=${does(() => act('message-drop', { message: m.message }), t('messages.dropped', { member: m.member }))}>${t('messages.drop')}<//></div>`}</li>`)}</ol>`}
    ${edit && html`<${Edit} message=${edit} onClose=${() => setEdit(null)} />`}<//>`;
}

/** Where the member is written to: asked for when somebody wants to see it. @param {{member: string}} p */
function Contact({ member }) {
  const [shown, setShown] = useState(false);
  const { data, error } = useAsk(shown ? 'member' : null, { member }, { concerns: ['member-'] });
  if (!shown) return html`<p><${Button} kind="quiet" label=${t('messages.contact_of', { member })} onPress=${() => setShown(true)}>${t('messages.contact')}<//></p>`;
  return html`<div role="status">${error ? html`<${Trouble} error=${error} />` : data ? html`<p class="contact">${data.contact ? html`<strong>${data.contact}</strong>` : t('messages.no_contact')}</p>` : html`<${Loading} />`}</div>`;
}

/** A new message, or one in the place of another: the book keeps both, the first as dropped. @param {{message: any, onClose: () => void}} p */
function Edit({ message, onClose }) {
  const [member, setMember] = useState(/** @type {any} */ (message.member ? { value: message.member, label: message.member } : null));
  const [text, setText] = useState(message.text ?? '');
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  useDirty(text !== (message.text ?? ''));
  const find = async (/** @type {string} */ typed) => (typed ? (await ask('members', { search: typed, limit: 20 }, { background: true })).members : []).map((/** @type {any} */ m) => ({ value: m.member, label: m.member, more: m.name ?? '' }));
  const write = async () => {
    if (!member || !text.trim()) { setError(new Error(t('messages.whom_and_what'))); return; }
    const put = { act: 'message-put', body: { member: member.value, kind: message.kind ?? 'other', text: text.trim(), ...(message.run ? { run: message.run } : {}) } };
    try {
      const done = await acts(message.message ? [{ act: 'message-drop', body: { message: message.message, reason: 'written anew' } }, put] : [put]);
      notice(t(message.message ? 'messages.edited' : 'messages.written', { member: member.value }), undo(done.map((d) => d.event)));
      onClose();
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  return html`<${Dialog} title=${t(message.message ? 'messages.edit_of' : 'messages.write', { member: message.member ?? '' })} onClose=${onClose} onSubmit=${write} acts=${html`<${Button} onPress=${onClose}>${t('messages.leave_it')}<//><${Button} type="submit" kind="main">${t('messages.put')}<//>`}>
    <${Trouble} error=${errorElsewhere(error, ['member', 'text'])} />
    ${!message.message && html`<${Picker} label=${t('messages.whom')} hint=${t('tickets.who_hint')} value=${member} find=${find} onPick=${setMember} autofocus error=${errorAt(error, 'member')} />`}
    <${Field} label=${t('messages.text')} hint=${t('messages.text_hint')} rows=${5} required maxlength=${900} autofocus=${!!message.message} value=${text} onInput=${setText} error=${errorAt(error, 'text')} /><//>`;
}
