// The page "prove": drop or choose a file, see what the shop says of it, take the slip along. SPDX-License-Identifier: Apache-2.0
import { Button, Dialog, html, number, Page, Progress, session, signal, t, Trouble, useEffect, useKeys, useMemo, useRef, useState, Verdict } from '../kit/index.js';
import { Answer } from './prove/answer.js';
import { useIdle } from './prove/idle.js';
import { sendAndProve, sent } from './prove/send.js';

/** @typedef {import('./prove/send.js').Sent} Sent */

/** @param {{onFiles: (files: File[]) => void, small: boolean}} p */
function Drop({ onFiles, small }) {
  const [over, setOver] = useState(false), input = useRef(/** @type {HTMLInputElement|null} */ (null));
  useEffect(() => { // a file dropped anywhere on the page is meant for it
    const drag = (/** @type {DragEvent} */ e) => { if (e.dataTransfer?.types.includes('Files')) { e.preventDefault(); setOver(true); } };
    const leave = (/** @type {DragEvent} */ e) => { if (!e.relatedTarget) setOver(false); };
    const drop = (/** @type {DragEvent} */ e) => { e.preventDefault(); setOver(false); onFiles([...(e.dataTransfer?.files ?? [])]); };
    addEventListener('dragover', drag);
    addEventListener('dragleave', leave);
    addEventListener('drop', drop);
    return () => { removeEventListener('dragover', drag); removeEventListener('dragleave', leave); removeEventListener('drop', drop); };
  }, [onFiles]);
  useKeys([{ key: 'o', says: t('prove.key_choose'), run: () => input.current?.click() }]);
  return html`<section class="drop ${over ? 'over' : ''} ${small ? 'small' : ''}" aria-label=${t('prove.choose')}>
    ${!small && html`<p class="big">${t('prove.drop')}</p><p class="quiet">${t('prove.kinds')}</p>`}
    <div><${Button} kind=${small ? 'plain' : 'main'} hotkey="o" onPress=${() => input.current?.click()}>${t(small ? 'prove.another' : 'prove.choose')}<//></div>
    <input ref=${input} type="file" multiple class="only-read" tabindex="-1" aria-label=${t('prove.choose')} onChange=${(/** @type {any} */ e) => { onFiles([...e.currentTarget.files]); e.currentTarget.value = ''; }} />
    ${!small && html`<p class="quiet">${t('prove.nothing_kept')}</p>`}</section>`;
}

/** On its way. @param {{one: Sent, onAgain: () => void}} p */
function Way({ one, onAgain }) {
  const s = one.state.value;
  if (s.step === 'failed') return html`<section class="way"><h2>${one.name}</h2><${Trouble} error=${new Error(s.says)} onAgain=${one.hash || one.blob ? onAgain : undefined} /></section>`;
  if (s.step === 'cancelled') return html`<section class="way"><h2>${one.name}</h2><p>${t('prove.cancelled')}</p><div><${Button} onPress=${onAgain}>${t('kit.again')}<//></div></section>`;
  const mb = number(one.bytes / 1e6, 1);
  const says = s.step === 'sends' ? t('prove.sends', { mb, percent: Math.floor((s.share ?? 0) * 100) })
    : s.step === 'waits' ? t('prove.waits', { n: (s.position ?? 1) - 1 }) : t(`prove.doing_${s.doing ?? 'reads'}`);
  return html`<section class="way"><h2>${one.name}</h2>
    <${Progress} label=${t(`prove.step_${s.step}`)} value=${s.step === 'waits' || (s.step === 'works' && s.share === 1) ? undefined : s.share ?? 0} says=${says} />
    <div><${Button} hotkey="x" onPress=${() => one.stop.abort()}>${t('prove.cancel')}<//></div></section>`;
}

/** A word on where it stands. @param {Sent} one */
function wordOf(one) {
  const s = one.state.value;
  if (s.step !== 'done') return t(`prove.step_${s.step}`);
  const order = ['clear', 'ask', 'stop'];
  return order.find((v) => s.answer.machines.some((/** @type {any} */ r) => r.verdict === v)) ?? 'stop';
}
/** @param {{list: Sent[], chosen: Sent, onChoose: (one: Sent) => void}} p */
function Files({ list, chosen, onChoose }) {
  return html`<ol class="sent" aria-label=${t('prove.files')}>${list.map((one) => {
    const word = wordOf(one);
    return html`<li key=${one.key}><button type="button" aria-current=${one === chosen ? 'true' : undefined} onClick=${() => onChoose(one)}>
      <span>${one.name}</span> ${one.state.value.step === 'done' ? html`<${Verdict} verdict=${word}>${t(`prove.answer_${word}`)}<//>` : html`<small>${word}</small>`}</button></li>`;
  })}</ol>`;
}

export default function Prove() {
  const list = useMemo(() => signal(/** @type {Sent[]} */ ([])), []), chosen = useMemo(() => signal(/** @type {Sent|null} */ (null)), []);
  const one = chosen.value, kiosk = (session.value?.role ?? 'kiosk') === 'kiosk';
  const start = useMemo(() => (/** @type {Sent} */ s) => sendAndProve(s, {}), []);
  const take = useMemo(() => (/** @type {File[]} */ files) => {
    const fresh = files.slice(0, 12).map(sent);
    if (!fresh.length) return;
    list.value = [...list.value, ...fresh].slice(-24);
    chosen.value = fresh[0];
    void (async () => { for (const s of fresh) await start(s); })(); // one after another: the queue is for all
  }, []);
  const clear = useMemo(() => () => {
    for (const s of list.value) s.stop.abort();
    list.value = [];
    chosen.value = null;
    document.querySelector(/** @type {'h1'} */ ('main h1'))?.focus();
  }, []);
  useEffect(() => () => { for (const s of list.value) s.stop.abort(); }, []);
  const again = (/** @type {Sent} */ s) => {
    s.stop = new AbortController();
    s.state.value = { step: 'sends', share: 0 };
    void start(s);
  };
  const left = useIdle(kiosk && list.value.length > 0, clear, Number(new URLSearchParams(location.search).get('idle')) || undefined);
  useKeys(one && !['done', 'failed', 'cancelled'].includes(one.state.value.step) ? [{ key: 'x', says: t('prove.cancel'), run: () => one.stop.abort() }] : []);
  const s = one?.state.value, done = s?.step === 'done';
  return html`<${Page} name="prove" title=${t('pages.prove')} lead=${list.value.length ? undefined : t('prove.lead')}
      acts=${list.value.length > 0 && html`<${Button} kind="main" onPress=${clear}>${t('prove.next_member')}<//>`}>
    <${Drop} onFiles=${take} small=${list.value.length > 0} />
    ${list.value.length > 1 && one && html`<${Files} list=${list.value} chosen=${one} onChoose=${(/** @type {Sent} */ o) => { chosen.value = o; }} />`}
    <p class="only-read" role="status">${one && s ? `${one.name}: ${done ? t('prove.done_says', { answer: t(`prove.answer_${wordOf(one)}`) }) : t(`prove.step_${s.step}`)}` : ''}</p>
    ${one && !done && html`<${Way} key=${one.key} one=${one} onAgain=${() => again(one)} />`}
    ${one && done && html`<${Answer} key=${one.key} answer=${s?.answer} />`}
    ${left !== null && html`<${Dialog} title=${t('prove.still_there')} onClose=${() => {}} acts=${html`<${Button} kind="quiet" onPress=${clear}>${t('prove.next_member')}<//><${Button} kind="main" onPress=${() => {}}>${t('prove.stay')}<//>`}>
      <p>${t('prove.clears_in', { n: left })}</p><//>`}
  <//>`;
}
