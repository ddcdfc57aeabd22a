// The round: walking all machines at opening and closing, made for a phone at the machine. SPDX-License-Identifier: Apache-2.0
import { act, acts, Button, clock, errorAt, errorElsewhere, Field, get, html, line, Loading, Mark, notice, Page, t, Trouble, useAsk, useDirty, useEffect, useNow, useRef, useState, when } from '../kit/index.js';
import { Failure } from './round/failure.js';
import { Machine } from './round/machine.js';
import { again, book, drop, keepSending, kept, stuck } from './round/queue.js';

const undoAll = (/** @type {number[]} */ events) => async () => { await acts([...events].reverse().map((event) => ({ act: 'undo', body: { event } }))); };

/** @param {{query: URLSearchParams}} p */
export default function Round({ query }) {
  const { data, error, again: askAgain } = useAsk('/api/1/round', {}, { concerns: ['round-', 'run-', 'machine-', 'spool-', 'stick-', 'note-', 'undo'] });
  const now = useNow(20000);
  const [at, setAt] = useState(query.get('machine') ?? ''); // which machine is open; '': the next
  const [failing, setFailing] = useState(query.get('failed') ?? '');
  const [trouble, setTrouble] = useState(/** @type {Error|null} */ (null));
  useEffect(keepSending, []);
  const begin = async (/** @type {string} */ kind) => {
    try {
      await act('round-begin', { kind });
      setTrouble(null);
      await askAgain();
    } catch (e) { setTrouble(/** @type {Error} */ (e)); }
  };
  if (!data) return html`<${Page} name="round" title=${t('pages.round')}><${Trouble} error=${error} onAgain=${askAgain} />${!error && html`<${Loading} />`}<//>`;
  const round = data.round, waits = new Map(kept.value.filter((k) => k.round === round?.round).map((k) => [k.machine, k]));
  const left = data.left.filter((/** @type {string} */ name) => !waits.has(name));
  const rows = data.machines, open = rows.find((/** @type {any} */ m) => m.machine === at) ?? rows.find((/** @type {any} */ m) => m.machine === left[0]);
  const broke = rows.find((/** @type {any} */ m) => m.machine === failing && m.run && (m.run.state === 'out' || m.run.state === 'ended'));
  const found = async (/** @type {any} */ m, /** @type {any} */ f, /** @type {{ends?: boolean, weighs?: {spool: string, gross_mg: number}[]}} */ more) => {
    const list = [...(more.ends && m.ended ? [m.ended] : []), { act: 'round-machine', body: { round: round.round, machine: m.machine, ...f } }, ...(more.weighs ?? []).map((w) => ({ act: 'spool-weigh', body: w }))];
    try {
      const done = await book({ round: round.round, machine: m.machine, found: f, before: m.found?.at_ms ?? null, acts: list });
      setTrouble(null);
      setAt('');
      if (done.done) {
        notice(t('round.booked', { machine: m.machine, found: t(`round.found_${f.found}`) }), { undo: undoAll(done.done.map((d) => d.event)) });
        await askAgain();
      }
    } catch (e) { setTrouble(/** @type {Error} */ (e)); }
  };
  const failed = async (/** @type {any} */ m, /** @type {number[]} */ events, /** @type {number|null} */ label) => {
    setFailing('');
    notice(t('round.failed_booked', { run: m.run.run, machine: m.machine }), { undo: undoAll(events) });
    if (label !== null) notice(t('round.label_at_shelf', { run: label }));
    if (round && left.includes(m.machine)) { // the round goes on with the machine as it stands now: free, or with the part on it
      try {
        const how = (await get('/api/1/round')).machines.find((/** @type {any} */ x) => x.machine === m.machine)?.expected ?? 'failed';
        await act('round-machine', { round: round.round, machine: m.machine, found: how, ...data.good[how] });
      } catch (e) { setTrouble(/** @type {Error} */ (e)); }
    }
    await askAgain();
  };
  if (broke) {
    return html`<${Page} name="round" title=${t('round.failed_title', { machine: broke.machine })}><section class="machine-card" aria-label=${broke.machine}>
      <${Failure} key=${broke.run.run} m=${broke} symptoms=${data.symptoms} onDone=${(/** @type {number[]} */ e, /** @type {number|null} */ l) => failed(broke, e, l)} onBack=${() => setFailing('')} /></section><//>`;
  }
  return html`<${Page} name="round" title=${round ? t(`round.title_${round.kind}`) : t('pages.round')} lead=${round ? t('round.lead_open', { by: round.by, at: clock(round.begun_ms), n: left.length }) : t('round.lead')}>
    <${Trouble} error=${open && round ? error ?? null : error ?? trouble} onAgain=${error ? askAgain : undefined} />
    <${Waiting} />
    ${!round ? html`<${Begin} data=${data} now=${now} onBegin=${begin} onFailed=${setFailing} />`
      : html`<${Steps} rows=${rows} left=${left} waits=${waits} at=${open?.machine} onPick=${(/** @type {string} */ name) => { setTrouble(null); setAt(name); }} onFailed=${setFailing} />
        ${open ? html`<${Card} key=${open.machine} m=${open} data=${data} now=${now} trouble=${trouble} onFound=${found} onFailed=${() => setFailing(open.machine)} />` : ''}
        ${(left.length === 0 || at === '') && html`<${Done} data=${data} left=${left} waits=${waits.size} onDone=${askAgain} />`}`}<//>`;
}

/** @param {{m: any, data: any, now: number, trouble: Error|null, onFound: (m: any, f: any, more: any) => Promise<void>, onFailed: () => void}} p */
function Card({ m, data, now, trouble, onFound, onFailed }) {
  /** @type {{current: HTMLHeadingElement|null}} */
  const head = useRef(null);
  const first = useRef(true);
  useEffect(() => { // the next machine is read aloud, and stands under the thumb
    if (first.current && document.activeElement === document.body) { head.current?.focus({ preventScroll: true }); head.current?.scrollIntoView({ block: 'nearest' }); }
    first.current = false;
  }, []);
  return html`<section class="machine-card" aria-labelledby="machine-name"><h2 id="machine-name" ref=${head} tabindex="-1">${m.machine}</h2>
    <${Machine} m=${m} good=${data.good} now=${now} error=${trouble} first onFound=${(/** @type {any} */ f, /** @type {any} */ more) => onFound(m, f, more)} onFailed=${onFailed} /></section>`;
}

/** What waits for the line, told plainly. */
function Waiting() {
  const list = kept.value;
  if (list.length === 0) return '';
  return html`<section class="waiting" role="status" aria-labelledby="round-waits"><h2 id="round-waits">${t('round.waits', { n: list.length })}</h2>
    <p>${t(stuck.value || line.value === 'cut' ? 'round.waits_cut' : 'round.waits_going')}</p><ul class="stack">${list.map((k) => html`<li key=${k.id} class="row"><strong>${k.machine}</strong> <span>${t(`round.found_${k.found.found}`)}</span>
      ${k.error && html`<span class="refused"><${Mark} grade="stop" /> ${k.error}</span> <${Button} onPress=${() => again(k.id)}>${t('kit.again')}<//> <${Button} kind="danger" onPress=${() => drop(k.id)}>${t('round.drop')}<//>`}</li>`)}</ul></section>`;
}

/** No round is open: begin one, or book a run that failed. @param {{data: any, now: number, onBegin: (kind: string) => Promise<void>, onFailed: (machine: string) => void}} p */
function Begin({ data, now, onBegin, onFailed }) {
  const other = data.due === 'opening' ? 'closing' : 'opening', out = data.machines.filter((/** @type {any} */ m) => m.run?.state === 'out' || m.run?.state === 'ended');
  const last = data[`last_${data.due}`];
  return html`<section aria-labelledby="round-begin"><h2 id="round-begin">${t(`round.due_${data.due}`)}</h2>
      <p class="quiet">${last ? t('round.last', { by: last.by, at: when(last.done_ms, now) }) : t('round.never')}</p>
      ${data.note && html`<blockquote class="note"><p>${data.note.text}</p><footer class="quiet">${data.note.by}, ${when(data.note.at_ms, now)}</footer></blockquote>`}
      <div class="large"><${Button} kind="main" onPress=${() => onBegin(data.due)}>${t(`round.begin_${data.due}`)}<//><${Button} onPress=${() => onBegin(other)}>${t(`round.begin_${other}`)}<//></div></section>
    ${out.length > 0 && html`<section aria-labelledby="round-broke"><h2 id="round-broke">${t('round.broke')}</h2><p class="quiet">${t('round.broke_lead')}</p>
      <div class="large">${out.map((/** @type {any} */ m) => html`<${Button} key=${m.machine} onPress=${() => onFailed(m.machine)}>${t('round.broke_do', { machine: m.machine, run: m.run.run })}<//>`)}</div></section>`}`;
}

/** The machines as steps: seen, to see, and where the book says otherwise. @param {{rows: any[], left: string[], waits: Map<string, any>, at: string|undefined, onPick: (name: string) => void, onFailed: (name: string) => void}} p */
function Steps({ rows, left, waits, at, onPick, onFailed }) {
  const against = rows.filter((m) => m.against);
  return html`<nav class="steps" aria-label=${t('round.steps')}><ol>${rows.map((m) => {
    const state = waits.has(m.machine) ? 'waits' : m.found ? 'seen' : left.includes(m.machine) ? 'left' : 'none';
    return html`<li key=${m.machine}><button type="button" class=${state} aria-current=${m.machine === at ? 'step' : undefined} onClick=${() => onPick(m.machine)}><span>${m.machine}</span>
      <small>${m.found ? html`<${Mark} grade=${m.against ? 'ask' : 'clear'} /> ` : ''}<span class="state">${waits.has(m.machine) ? t('round.step_waits') : m.found ? t(`round.found_${m.found.found}`) : t(state === 'left' ? 'round.step_left' : 'round.step_none')}</span></small></button></li>`; })}</ol></nav>
    ${against.length > 0 && html`<section class="against" aria-labelledby="round-against"><h2 id="round-against">${t('round.against')}</h2><ul class="stack">${against.map((m) => html`<li key=${m.machine} class="row"><${Mark} grade="ask" /><p><strong>${m.machine}</strong> ${t(`round.against_${m.against.replace('-', '_')}`, { run: m.run?.run ?? '' })}</p>
      ${m.against === 'book-failed' ? html`<${Button} onPress=${() => onFailed(m.machine)}>${t('round.failed_do')}<//>` : m.run ? html`<${Button} href="/back?run=${m.run.run}">${t('pages.back')}<//>` : html`<${Button} href="/machine/${encodeURIComponent(m.machine)}">${t('pages.machine')}<//>`}</li>`)}</ul></section>`}`;
}

/** All seen: a note for whoever comes next; or why not all. @param {{data: any, left: string[], waits: number, onDone: () => Promise<void>}} p */
function Done({ data, left, waits, onDone }) {
  const [note, setNote] = useState('');
  const [unseen, setUnseen] = useState('');
  const [some, setSome] = useState(false);
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const night = data.overnight, closing = data.round.kind === 'closing', now = data.now_ms;
  useDirty(note !== '' || unseen !== '');
  const done = async () => {
    try {
      const got = await act('round-done', { round: data.round.round, ...(note.trim() ? { note: note.trim() } : {}), ...(left.length && unseen.trim() ? { unseen: unseen.trim() } : {}) });
      notice(t(`round.done_${data.round.kind}`), { undo: undoAll([got.event]) });
      await onDone();
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  if (left.length > 0 && !some) return html`<div class="row"><${Button} kind="quiet" onPress=${() => setSome(true)}>${t('round.leave_some')}<//></div>`;
  return html`<section aria-labelledby="round-done"><h2 id="round-done">${left.length ? t('round.some_left', { names: left.join(', ') }) : t('round.all_seen')}</h2>
    ${closing && html`<div class="stack"><h3>${t('round.overnight')}</h3>${night.running.length === 0 ? html`<p>${t('round.nothing_runs')}</p>` : html`<ul class="stack">${night.running.map((/** @type {any} */ r) => html`<li key=${r.run}>${t(r.end_ms ? 'round.runs_on_until' : 'round.runs_on', { machine: r.machine, run: r.run, at: r.end_ms ? when(r.end_ms, now) : '' })}${!r.watched && html`<p class="row"><${Mark} grade="ask" /> <span>${t('round.not_watched', { run: r.run })}</span></p>`}</li>`)}</ul>`}
      ${night.last_safe_start_ms && html`<p>${t(night.last_safe_start_ms > now ? 'round.last_start' : 'round.last_start_was', { at: when(night.last_safe_start_ms, now) })}</p>`}${night.opens_ms && html`<p class="quiet">${t('round.opens', { at: when(night.opens_ms, now) })}</p>`}</div>`}
    <form class="stack" novalidate onSubmit=${(/** @type {Event} */ e) => { e.preventDefault(); void done(); }}><${Trouble} error=${errorElsewhere(error, ['note', 'unseen'])} />
      ${left.length > 0 && html`<${Field} label=${t('round.unseen')} required value=${unseen} onInput=${setUnseen} maxlength=${300} error=${errorAt(error, 'unseen')} />`}
      <${Field} label=${t('round.hand_over')} hint=${t('round.note_hint')} rows=${2} value=${note} onInput=${setNote} maxlength=${900} error=${errorAt(error, 'note')} />
      ${waits > 0 && html`<p role="status">${t('round.done_waits')}</p>`}
      <div class="large"><${Button} type="submit" kind=${left.length ? 'plain' : 'main'} disabled=${waits > 0}>${t('round.done')}<//></div></form></section>`;
}
