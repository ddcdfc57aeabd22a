// What the keeper does with the book: export, verify, copies, events with undo. SPDX-License-Identifier: Apache-2.0
import { Button, Check, Choice, Field, get, html, Mark, notice, number, post, t, Trouble, useAsk, useEffect, useState, when } from '../../kit/index.js';
import { bookWord, dayBegins, dayOver, Select } from '../people/acting.js';
import { EventLine } from '../machine/history.js';

export function Export() {
  const [as, setAs] = useState('zip');
  const [names, setNames] = useState(false);
  const [from, setFrom] = useState('');
  const [until, setUntil] = useState('');
  const q = new URLSearchParams();
  if (names) q.set('names', 'true');
  if (from) q.set('from', String(dayBegins(from)));
  if (until) q.set('until', String(dayOver(until)));
  return html`<section aria-labelledby="b-export"><h2 id="b-export">${t('book.export')}</h2><p>${t('book.export_lead')}</p>
    <div class="export"><${Choice} label=${t('book.export_as')} value=${as} onChange=${setAs} options=${[{ value: 'zip', label: t('book.export_csv') }, { value: 'json', label: 'JSON' }]} />
      <${Field} label=${t('book.export_from')} type="date" value=${from} onInput=${setFrom} /><${Field} label=${t('book.export_until')} type="date" value=${until} onInput=${setUntil} />
      <${Check} label=${t('book.export_names')} hint=${t('book.export_names_hint')} value=${names} onChange=${setNames} /></div>
    <div class="acts"><a class="button plain" href="/api/1/export.${as}${q.size ? `?${q}` : ''}" download><span>${t('book.export_do')}</span></a></div></section>`;
}

/** Verify and copies: work of some seconds; what was found is said. */
export function Keeping() {
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const [found, setFound] = useState(/** @type {any} */ (null));
  const [copies, setCopies] = useState(/** @type {any[]|null} */ (null));
  const { data } = useAsk('book', {});
  const list = async () => { try { setCopies((await get('/api/1/backups', { background: true })).backups); } catch (e) { setError(/** @type {Error} */ (e)); } };
  useEffect(() => { void list(); }, []);
  const verify = async () => {
    try { setFound(null); setFound(await post('/api/1/verify')); setError(null); } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  const copy = async () => {
    try {
      const done = await post('/api/1/backups');
      setError(done.faults.length ? new Error(done.faults.join(' ')) : null);
      notice(t('book.copied', { name: done.name }));
      await list();
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  return html`<section aria-labelledby="b-keep"><h2 id="b-keep">${t('book.keep')}</h2><${Trouble} error=${error} />
    ${data && html`<p>${t('book.size', { n: data.events, mb: number(data.bytes / 1e6, 1), at: when(data.last_ms) })} <span class="hash">${t('book.hash', { hash: data.last_hash })}</span></p>`}
    <div class="acts"><${Button} onPress=${verify}>${t('book.verify')}<//><${Button} onPress=${copy}>${t('book.copy')}<//></div>
    <div role="status">${found && (found.n_faults === 0 ? html`<p><${Mark} grade="clear" /> ${t('book.verified', { n: found.events })}</p>` : html`<p><${Mark} grade="stop" /> <strong>${t('book.faults', { n: found.n_faults })}</strong></p>`)}</div>
    ${found?.n_faults > 0 && html`<ul class="faults">${found.faults.map((/** @type {string} */ f) => html`<li key=${f}>${f}</li>`)}</ul><p>${t('book.faults_do')}</p>`}
    ${copies && (copies.length === 0 ? html`<p class="quiet">${t('book.no_copies')}</p>` : html`<p>${t('book.copies', { n: copies.length, at: when(copies[0].at_ms), name: copies[0].name, mb: number(copies[0].bytes / 1e6, 1) })}</p>`)}<p class="quiet">${t('book.copy_how')}</p></section>`;
}

const kinds = ['', 'run-hand-out', 'run-take-back', 'run-failed', 'run-outcome', 'waiver-give', 'permit-grant', 'permit-withdraw', 'member-enrol', 'member-suspend', 'machine-tag', 'machine-clear', 'machine-fit', 'spool-add', 'spool-weigh', 'spool-empty', 'money-book', 'shelf-recycle', 'undo'];
const AT_ONCE = 25;
/** The latest events: the question goes forward, so it begins near the end. */
export function Events() {
  const [kind, setKind] = useState('');
  const [by, setBy] = useState('');
  const [n, setN] = useState(AT_ONCE);
  const book = useAsk('book', {});
  const last = book.data?.events;
  const narrow = kind !== '' || by.trim() !== '';
  // Of one kind or person they may lie far back: a window that grows until enough are in it.
  const [back, setBack] = useState(500);
  useEffect(() => { setBack(500); setN(AT_ONCE); }, [kind, by]);
  const span = narrow ? back : n;
  const { data, error, again } = useAsk(last === undefined ? null : 'events', { after: Math.max(0, (last ?? 0) - span), act: kind || undefined, by: by.trim() || undefined, limit: 1000 });
  const rows = [...(data?.events ?? [])].reverse().slice(0, n), more = (last ?? 0) > span || (data?.events.length ?? 0) > n;
  useEffect(() => { if (narrow && data && data.events.length < AT_ONCE && (last ?? 0) > back && back < 20000) setBack(back * 4); }, [data]);
  return html`<section aria-labelledby="b-events"><h2 id="b-events">${t('book.events')}</h2><p class="quiet">${t('book.events_lead')}</p>
    <div class="export"><${Select} label=${t('book.event_kind')} value=${kind} onChange=${setKind} options=${kinds.map((k) => ({ value: k, label: k ? bookWord('act', k) : t('book.every_kind') }))} /><${Field} label=${t('book.event_by')} hint=${t('book.event_by_hint')} value=${by} onInput=${setBy} /></div>
    <${Trouble} error=${error} onAgain=${again} />
    ${data && (rows.length === 0 ? html`<p class="quiet">${t('book.no_events')}</p>` : html`<ol class="acts-list">${rows.map((e) => html`<${EventLine} key=${e.event} e=${e} />`)}</ol>`)}
    ${more && html`<div class="row"><${Button} onPress=${() => { setN(n * 4); if (narrow) setBack(Math.min(20000, back * 4)); }}>${t('people.show_more')}<//></div>`}</section>`;
}
