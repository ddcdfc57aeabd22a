// The shelf: what stands where, for whom by number, since when, past its days. SPDX-License-Identifier: Apache-2.0
import { act, acts, Button, Check, day, Dialog, Empty, errorAt, errorElsewhere, Field, html, Loading, Mark, notice, Page, post, ScanField, t, Trouble, useAsk, useEffect, useKeys, useNow, useState, when } from '../kit/index.js';
import { wallMs } from './round/wall.js';
import { Labels } from './shelf/labels.js';

const undo = (/** @type {number[]} */ events) => async () => { await acts([...events].reverse().map((event) => ({ act: 'undo', body: { event } }))); };
const grams = (/** @type {string} */ text) => (text.trim() === '' ? 0 : Math.round(Number(text.replace(',', '.')) * 1000));

/** @param {{query: URLSearchParams}} p */
export default function Shelf({ query }) {
  const { data, error, again } = useAsk('shelf', { limit: 1000 }, { concerns: ['shelf-', 'run-', 'undo'] });
  const now = useNow(60000);
  const [chosen, setChosen] = useState(/** @type {number[]} */ ([]));
  const [labels, setLabels] = useState(/** @type {number[]} */ (query.get('labels')?.split(',').map(Number).filter((n) => n > 0) ?? []));
  const [only, setOnly] = useState(false);
  const [scanned, setScanned] = useState(/** @type {any} */ (null));
  const [dialog, setDialog] = useState(/** @type {{what: 'move'|'recycle', rows: any[]}|null} */ (null));
  const [trouble, setTrouble] = useState(/** @type {Error|null} */ (null));
  const parts = /** @type {any[]} */ (data?.parts ?? []), overdue = parts.filter((p) => p.overdue), rows = only ? overdue : parts;
  const picked = parts.filter((p) => chosen.includes(p.run));
  const collect = async (/** @type {any[]} */ list) => {
    try {
      const done = await acts(list.map((p) => ({ act: 'shelf-collect', body: { run: p.run } })));
      setTrouble(null);
      setChosen([]);
      setScanned(null);
      notice(t('shelf.collected', { n: list.length, run: list[0].run, member: list[0].member }), { undo: undo(done.map((d) => d.event)) });
    } catch (e) { setTrouble(/** @type {Error} */ (e)); }
  };
  const scan = (/** @type {string} */ code) => {
    const row = parts.find((p) => String(p.code) === code || String(p.run) === code);
    setScanned(row ?? { none: code });
  };
  const asked = query.get('run');
  useEffect(() => { if (asked && data) scan(asked); }, [asked, !!data]); // a line of today leads here
  const toggle = (/** @type {number} */ run) => setChosen(chosen.includes(run) ? chosen.filter((r) => r !== run) : [...chosen, run]);
  useKeys([{ key: 'l', says: t('shelf.key_labels'), run: () => { if (chosen.length) setLabels(chosen); } }, { key: 'c', says: t('shelf.key_collect'), run: () => { if (scanned?.run) void collect([scanned]); else if (picked.length) void collect(picked); } }]);
  if (labels.length) return html`<${Page} name="shelf" title=${t('pages.shelf')}><${Labels} runs=${labels} onBack=${() => setLabels([])} /><//>`;
  return html`<${Page} name="shelf" title=${t('pages.shelf')} lead=${data ? t('shelf.lead', { n: parts.length, next: data.next_place }) : undefined}>
    <${Trouble} error=${error ?? trouble} onAgain=${error ? again : undefined} />
    <${ScanField} label=${t('shelf.scan')} hint=${t('shelf.scan_hint')} onScan=${scan} />
    <div role="status" class="scanned-place">${scanned && (scanned.none ? html`<p class="row"><${Mark} grade="ask" /> ${t('shelf.not_here', { code: scanned.none })}</p>` : html`<div class="scanned card"><p><strong class="big-time">${scanned.place ?? '\u2013'}</strong> ${t('shelf.scanned', { run: scanned.run, member: scanned.member })}</p></div>`)}</div>
    ${scanned?.run && html`<div class="row"><${Button} kind="main" hotkey="c" onPress=${() => collect([scanned])}>${t('shelf.collect')}<//><${Button} onPress=${() => setDialog({ what: 'move', rows: [scanned] })}>${t('shelf.move')}<//><${Button} kind="quiet" onPress=${() => setScanned(null)}>${t('kit.close')}<//></div>`}
    ${overdue.length > 0 && html`<div class="row past"><${Mark} grade="ask" /><p>${t('shelf.past', { n: overdue.length })}</p><${Check} label=${t('shelf.only_past')} value=${only} onChange=${setOnly} /></div>`}
    ${!data && !error ? html`<${Loading} />` : rows.length === 0 ? html`<${Empty} title=${t('shelf.empty')} />` : html`<div class="row many" role="group" aria-label=${t('shelf.many')}><${Check} label=${t('shelf.all', { n: rows.length })} value=${rows.length > 0 && rows.every((p) => chosen.includes(p.run))} onChange=${(/** @type {boolean} */ on) => setChosen(on ? rows.map((p) => p.run) : [])} />
      <${Button} disabled=${picked.length === 0} hotkey="l" onPress=${() => setLabels(chosen)}>${t('shelf.labels', { n: picked.length })}<//><${Button} disabled=${picked.length === 0} onPress=${() => collect(picked)}>${t('shelf.collect')}<//><${Button} kind="danger" disabled=${picked.length === 0} onPress=${() => setDialog({ what: 'recycle', rows: picked })}>${t('shelf.recycle')}<//></div>
    <ul class="places">${rows.map((p) => html`<li key=${p.run} class="${p.overdue ? 'overdue' : ''} ${chosen.includes(p.run) ? 'chosen' : ''}"><p class="place"><span class="only-read">${t('shelf.place')} </span>${p.place ?? '\u2013'}</p>
      <div class="what"><p><strong>${t('shelf.for', { member: p.member })}</strong> <span class="quiet">${t('shelf.run', { run: p.run, machine: p.machine })}</span></p><p class="quiet file">${p.file ?? ''}</p>
        <p>${t('shelf.since', { at: day(p.shelved_ms) })}${p.kept_until_ms ? html` <span class=${p.overdue ? 'late' : 'quiet'}>${p.overdue ? html`<${Mark} grade="ask" /> ` : ''}${t(p.overdue ? 'shelf.was_until' : 'shelf.until', { at: day(p.kept_until_ms - 1) })}</span>` : ''}</p></div>
      <div class="acts"><${Check} label=${t('shelf.choose', { run: p.run })} value=${chosen.includes(p.run)} onChange=${() => toggle(p.run)} /><${Button} label=${t('shelf.collect_run', { run: p.run })} onPress=${() => collect([p])}>${t('shelf.collect')}<//><${Button} kind="quiet" label=${t('shelf.move_of', { run: p.run })} onPress=${() => setDialog({ what: 'move', rows: [p] })}>${t('shelf.move')}<//></div></li>`)}</ul>`}
    ${dialog?.what === 'move' && html`<${Move} part=${dialog.rows[0]} next=${data.next_place} now=${now} onClose=${() => setDialog(null)} />`}
    ${dialog?.what === 'recycle' && html`<${Recycle} parts=${dialog.rows} onClose=${() => { setDialog(null); setChosen([]); }} />`}<//>`;
}

/** To another place, or kept longer. @param {{part: any, next: number, now: number, onClose: () => void}} p */
function Move({ part, next, now, onClose }) {
  const [place, setPlace] = useState(String(next));
  const [until, setUntil] = useState('');
  const [tell, setTell] = useState(true);
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const put = async () => {
    const kept = until ? wallMs(`${new Date(Date.parse(until) + 86400000).toISOString().slice(0, 10)}T00:00`) : null; // the day's end on the shop's wall
    try {
      const done = await post('/api/1/shelf/put', { run: part.run, place: Number(place), ...(kept ? { kept_until: kept } : {}), ...(tell ? {} : { quiet: true }) });
      notice(t('shelf.moved', { run: part.run, place: done.done[0].answer.place }), { undo: undo([done.done[0].event]) });
      onClose();
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  return html`<${Dialog} title=${t('shelf.move_run', { run: part.run })} onClose=${onClose} onSubmit=${put} acts=${html`<${Button} onPress=${onClose}>${t('shelf.leave_it')}<//><${Button} type="submit" kind="main">${t('shelf.move_do')}<//>`}>
    <${Trouble} error=${errorElsewhere(error, ['place', 'kept_until'])} />
    <${Field} label=${t('shelf.place')} required autofocus inputmode="numeric" value=${place} onInput=${setPlace} hint=${t('shelf.move_hint', { place: part.place ?? '\u2013', next })} error=${errorAt(error, 'place')} />
    <${Field} label=${t('shelf.kept_until')} type="date" value=${until} onInput=${setUntil} hint=${part.kept_until_ms ? t('shelf.as_before', { at: when(part.kept_until_ms - 1, now) }) : undefined} error=${errorAt(error, 'kept_until')} />
    <${Check} label=${t('shelf.tell')} value=${tell} onChange=${setTell} /><//>`;
}

/** Nobody came for them: to the waste, weighed one by one or not at all. @param {{parts: any[], onClose: () => void}} p */
function Recycle({ parts, onClose }) {
  const [weights, setWeights] = useState(/** @type {Record<number, string>} */ ({}));
  const [reason, setReason] = useState('');
  const [error, setError] = useState(/** @type {any} */ (null));
  const bad = (/** @type {any} */ p) => weights[p.run] !== undefined && !(grams(weights[p.run]) >= 0);
  const recycle = async () => {
    if (parts.some(bad)) return;
    try {
      const done = await acts(parts.map((p) => ({ act: 'shelf-recycle', body: { run: p.run, ...(grams(weights[p.run] ?? '') > 0 ? { mg: grams(weights[p.run]) } : {}), ...(reason.trim() ? { reason: reason.trim() } : {}) } })));
      notice(t('shelf.recycled', { n: parts.length }), { undo: undo(done.map((d) => d.event)) });
      onClose();
    } catch (e) { setError(e); }
  };
  return html`<${Dialog} title=${t('shelf.recycle_title', { n: parts.length })} onClose=${onClose} onSubmit=${recycle} acts=${html`<${Button} onPress=${onClose}>${t('shelf.leave_it')}<//><${Button} type="submit" kind="danger">${t('shelf.recycle_do')}<//>`}>
    <p>${t('shelf.recycle_lead')}</p><${Trouble} error=${error?.act !== undefined ? null : error} />
    ${parts.map((p, i) => html`<${Field} key=${p.run} label=${t('shelf.weight_of', { run: p.run, place: p.place ?? '\u2013' })} inputmode="decimal" unit="g" autofocus=${i === 0} value=${weights[p.run] ?? ''} onInput=${(/** @type {string} */ v) => setWeights({ ...weights, [p.run]: v })} error=${bad(p) ? t('shelf.weight_wrong') : error?.act === i ? error.detail : undefined} />`)}
    <${Field} label=${t('shelf.reason')} value=${reason} onInput=${setReason} maxlength=${300} /><//>`;
}
