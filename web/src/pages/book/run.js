// One run of the book: what it was, how it came out, and what was booked of it. SPDX-License-Identifier: Apache-2.0
import { Button, grams, html, metres, t, Trouble, useAsk, useEffect, useRef, when } from '../../kit/index.js';
import { bookWord } from '../people/acting.js';
import { stands } from '../person/runs.js';

/** @param {{run: number}} p */
export function Run({ run }) {
  const { data: r, error, again } = useAsk('run', { run }, { concerns: ['run-', 'shelf-', 'message-', 'undo'] });
  /** @type {{current: HTMLElement|null}} */
  const head = useRef(null);
  useEffect(() => { head.current?.focus(); }, [run]);
  const rows = r ? [
    ['person.stands', stands(r)], ['pages.person', html`<a href="/person/${encodeURIComponent(r.member)}">${r.member}</a>`], ['pages.machine', r.machine && html`<a href="/machine/${encodeURIComponent(r.machine)}">${r.machine}</a>`],
    ['person.file', r.file], ['person.length', metres(r.used_um ?? r.reserved_um)], ['book.run_used', r.used_mg !== null && grams(r.used_mg)], ['book.run_spool', r.spool && html`<a href="/spools?spool=${encodeURIComponent(r.spool)}">${r.spool}</a>`],
    ['book.run_promised', r.promised_ms !== null && when(r.promised_ms)], ['person.out', r.out_ms !== null && when(r.out_ms)], ['book.run_ended', r.ended_ms !== null && when(r.ended_ms)], ['book.run_symptom', r.symptom],
    ['book.run_place', r.part?.place && r.part.state === 'shelf' && html`<a href="/shelf?run=${run}">${r.part.place}</a>`],
  ].filter(([, v]) => v) : [];
  const next = r?.state === 'reserved' ? ['book.run_hand_out', `/out?run=${run}&member=${encodeURIComponent(r.member)}`] : r && ['out', 'ended', 'failed'].includes(r.state) ? ['book.run_take_back', `/back?run=${run}`] : null;
  return html`<section aria-labelledby="b-run"><div class="section-head"><h2 id="b-run" tabindex="-1" ref=${head}>${t('book.run', { run: String(run) })}</h2><div class="acts">${next && html`<${Button} kind="main" href=${next[1]}>${t(next[0])}<//>`}<${Button} kind="quiet" href="/book">${t('kit.close')}<//></div></div>
    <${Trouble} error=${error} onAgain=${again} />
    ${r && html`<dl class="pairs">${rows.map(([k, v]) => html`<div key=${k}><dt>${t(String(k))}</dt><dd>${v}</dd></div>`)}</dl>
      <h3>${t('book.run_events')}</h3><ul class="acts-list">${r.events.map((/** @type {any} */ e) => html`<li key=${e.event}><div><p><strong>${bookWord('act', e.act)}</strong>${e.undone_by ? ` (${bookWord('act', 'undo')})` : ''}</p><p class="quiet">${t('book.run_by', { by: e.by, at: when(e.at_ms) })}</p></div></li>`)}</ul>
      ${r.messages.length > 0 && html`<h3>${t('pages.messages')}</h3><ul class="acts-list">${r.messages.map((/** @type {any} */ m) => html`<li key=${m.message}><div><p>${m.text}</p><p class="quiet">${when(m.at_ms)}</p></div></li>`)}</ul>`}`}</section>`;
}
