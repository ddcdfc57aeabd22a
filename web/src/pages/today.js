// Today: what is due now and next at the desk, in order of time, each with the act that does it. SPDX-License-Identifier: Apache-2.0
import { act, Button, clock, Empty, html, Loading, longDay, notice, Page, t, Trouble, useEffect, useKeys, useLayoutEffect, useNow, useRef, useState, when } from '../kit/index.js';
import { askDay, day, dayError, dueKey, serverNow } from '../kit/day.js';
import { NoteDialog, PoorLayer, StartCheck } from './today/ask.js';
import { asks, failedOf, formOf, keyOf, Line, lineText } from './today/line.js';
import { Strips } from './today/strips.js';
import { go } from '../kit/router.js';

/** @typedef {import('../kit/day.js').Due} Due */

export default function Today() {
  const have = day.value;
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const [note, setNote] = useState(false);
  useEffect(() => { void askDay(); }, []);
  useKeys([{ key: 'h', says: t('today.key_note'), run: () => setNote(true) }]);
  const done = (/** @type {string} */ text, /** @type {number} */ event) => notice(text, { undo: async () => { await act('undo', { event }); await askDay(); } });
  const now = serverNow(), today = have?.days[0], open = today?.hours ?? [];
  const starts = open.flatMap((h) => (h.last_safe_start_ms ? [clock(h.last_safe_start_ms)] : []));
  const free = have?.strips.filter((s) => s.state === 'free').map((s) => s.machine) ?? [];
  return html`<${Page} name="today" title=${t('pages.today')} lead=${have && html`<span class="lead-day">${longDay(now)}</span> \u00b7 ${open.length ? t('today.hours', { hours: open.map((h) => `${clock(h.from_ms)}\u2013${clock(h.until_ms)}`).join(', ') }) : t('today.closed')}${starts.length ? ` \u00b7 ${t('today.last_start', { at: starts.join(', ') })}` : ''}`}
      acts=${html`<${Button} hotkey="h" onPress=${() => setNote(true)}>${t('today.note_leave')}<//>`}>
    <${Trouble} error=${error ?? (have ? null : dayError.value)} onAgain=${() => { setError(null); void askDay(); }} />
    ${!have && !dayError.value && html`<${Loading} />`}
    ${have && html`
      ${have.note && html`<aside class="hand-over" aria-label=${t('today.note')}><p class="by">${t('today.note_by', { by: have.note.by, at: when(have.note.at_ms) })}</p><p class="text">${have.note.text}</p></aside>`}
      <p class="free-now">${free.length ? html`<strong>${t('today.free', { machines: free.join(', ') })}</strong>` : html`<strong>${t('today.none_free')}</strong>`}
        ${have.waiting > 0 ? html` \u00b7 <a href="/tickets">${t('today.wait', { n: have.waiting })}</a>` : ''}${!free.length && have.next_free ? ` \u00b7 ${t('today.next_free', { machine: have.next_free.machine, at: when(have.next_free.at_ms) })}` : ''}</p>
      <${Lines} due=${have.due} onDone=${done} onError=${setError} />
      ${have.more && html`<p class="quiet">${t('today.more_than_fits')}</p>`}
      <${Strips} day=${have} />`}
    ${note && html`<${NoteDialog} onClose=${() => setNote(false)} booked=${(/** @type {number} */ event) => { done(t('today.noted'), event); void askDay(); }} />`}<//>`;
}

/** @param {{due: Due[], onDone: (text: string, event: number) => void, onError: (e: Error|null) => void}} p */
function Lines({ due, onDone, onError }) {
  const parts = [{ name: 'now', list: due.filter((d) => d.now) }, { name: 'next', list: due.filter((d) => !d.now && d.at_ms !== null) }, { name: 'besides', list: due.filter((d) => !d.now && d.at_ms === null) }];
  const all = parts.flatMap((p) => p.list), keys = all.map(dueKey);
  const [chosen, setChosen] = useState('');
  const [busy, setBusy] = useState('');
  const [asked, setAsked] = useState(/** @type {{word: string, d: Due}|null} */ (null));
  const place = useRef(0), inside = useRef(false);
  /** @type {{current: HTMLDivElement|null}} */
  const box = useRef(null);
  let at = keys.indexOf(chosen);
  if (at < 0) at = Math.min(place.current, all.length - 1); // it is done: the next one stands in its place
  place.current = Math.max(0, at);
  const row = all[at], key = keys[at];
  const focusRow = (/** @type {string} */ k, /** @type {boolean} */ quiet = false) => /** @type {HTMLElement|null} */ (box.current?.querySelector(`[data-key="${CSS.escape(k)}"]`))?.focus({ preventScroll: !!quiet });
  useEffect(() => { // who presses elsewhere has left the list; a line that goes away with the focus in it has not
    const away = (/** @type {Event} */ e) => { if (!box.current?.contains(/** @type {Node} */ (e.target))) inside.current = false; };
    document.addEventListener('pointerdown', away, true);
    return () => document.removeEventListener('pointerdown', away, true);
  }, []);
  useLayoutEffect(() => { // a line went away with the focus in it
    if (inside.current && key && document.activeElement === document.body) focusRow(key, true);
  });
  const move = (/** @type {number} */ to) => {
    const k = keys[Math.min(Math.max(0, to), keys.length - 1)];
    if (k === undefined) return;
    setChosen(k);
    focusRow(k);
  };
  const book = async (/** @type {Due} */ d, /** @type {string} */ word, /** @type {string} */ name, /** @type {any} */ body) => {
    const done = await act(name, body);
    onError(null);
    onDone(t(`today.done_${word}`, { what: lineText(d), machine: d.about.machine ?? '', run: String(d.about.run ?? ''), ticket: String(d.about.ticket ?? ''), member: d.about.member ?? '', spool: d.about.spool ?? '', place: String(body.place ?? '') }), done.event);
    await askDay();
  };
  const press = async (/** @type {Due} */ d, /** @type {string} */ word) => {
    const a = d.acts?.find((x) => x.word === word);
    if (!a || busy) return;
    setChosen(dueKey(d));
    if (asks.includes(word)) {
      setAsked({ word, d });
      return;
    }
    setBusy(dueKey(d));
    try { await book(d, word, a.act, a.body); } catch (e) {
      onError(/** @type {Error} */ (e));
      await askDay(); // another desk may have done it
    } finally { setBusy(''); }
  };
  const form = row && formOf(row), failed = row && failedOf(row);
  useKeys([{ key: 'j', says: t('today.key_down'), run: () => move(at + 1) }, { key: 'i', says: t('today.key_up'), run: () => move(at - 1) },
    ...(row?.acts ?? []).map((a) => ({ key: keyOf[a.word], says: `${t(`today.do_${a.word}`, { place: String(a.body.place ?? '') })} \u2013 ${lineText(row)}`, run: () => void press(row, a.word) })),
    ...(failed ? [{ key: keyOf.failed, says: `${t('today.do_failed')} \u2013 ${lineText(row)}`, run: () => go(failed) }] : []),
    ...(form ? [{ key: keyOf.open, says: `${t('today.do_open')} \u2013 ${lineText(row)}`, run: () => go(form) }] : [])]);
  const walk = (/** @type {KeyboardEvent} */ e) => {
    const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: all.length - 1 }[e.key];
    if (to === undefined || e.altKey || e.ctrlKey) return;
    e.preventDefault();
    move(to);
  };
  const closeAsk = () => setAsked(null);
  const bookAsked = async (/** @type {any} */ body) => {
    if (!asked) return;
    await book(asked.d, asked.word, asked.d.acts?.find((x) => x.word === asked.word)?.act ?? '', body);
    setAsked(null);
  };
  return html`<div class="due" ref=${box} onKeyDown=${walk} onFocusIn=${(/** @type {any} */ e) => { inside.current = true; const k = e.target.closest?.('[data-key]')?.dataset.key; if (k && k !== chosen) setChosen(k); }}
      onFocusOut=${(/** @type {any} */ e) => { if (e.relatedTarget && !box.current?.contains(e.relatedTarget)) inside.current = false; }}>
    ${parts.map((p) => html`<section key=${p.name} class="part ${p.name}" aria-labelledby="due-${p.name}">
      <h2 id="due-${p.name}">${t(`today.part_${p.name}`)}${p.name === 'now' ? html` <${NowClock} />` : ''}<span class="count">${p.list.length ? t('today.count', { n: p.list.length }) : ''}</span></h2>
      ${p.list.length === 0 ? (p.name === 'now' ? html`<${Empty} title=${t('today.nothing_now')} />` : html`<p class="quiet">${t('today.nothing_next')}</p>`)
        : html`<ol aria-labelledby="due-${p.name}">${p.list.map((d) => { const k = dueKey(d); return html`<li key=${k} data-key=${k} tabindex=${k === key ? 0 : -1} class=${k === key ? 'chosen' : ''} onClick=${() => setChosen(k)}>
          <${Line} d=${d} chosen=${k === key} busy=${busy === k} onDo=${(/** @type {string} */ word) => press(d, word)} /></li>`; })}</ol>`}</section>`)}
    ${asked?.word === 'start' && html`<${StartCheck} d=${asked.d} onClose=${closeAsk} book=${bookAsked} />`}
    ${asked?.word === 'poor' && html`<${PoorLayer} d=${asked.d} onClose=${closeAsk} book=${bookAsked} />`}</div>`;
}

function NowClock() {
  useNow(5000);
  return html`<time class="now-clock">${clock(serverNow())}</time>`;
}
