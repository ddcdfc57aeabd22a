// The page "back": what is scanned names the run; two keys and the machine is free. SPDX-License-Identifier: Apache-2.0
import { act, Button, Caution, Check, Choice, clock, errorAt, errorElsewhere, Field, html, Mark, metres, notice, Page, post, ScanField, t, Trouble, useAsk, useDirty, useEffect, useKeys, useRef, useState, when } from '../kit/index.js';
import { day } from '../kit/day.js';
import { Failure } from './round/failure.js';
import { Label } from './back/label.js';

const causes = ['file', 'machine', 'material', 'power', 'handling', 'unknown'];
const micro = (/** @type {string} */ text) => Math.round(Number(text.replace(',', '.')) * 1e6);

/** A machine that is out, to be chosen where nothing can be scanned. byKey: by its figure. @param {{onRun: (run: number, byKey?: boolean) => void}} p */
function Out({ onRun }) {
  const { data } = useAsk('machines', {}, { concerns: ['run-', 'machine-', 'undo'] });
  const out = /** @type {any[]} */ (data?.machines ?? []).filter((m) => m.run);
  useKeys(out.slice(0, 9).map((m, i) => ({ key: String(i + 1), says: t('back.key_machine', { machine: m.machine }), run: () => onRun(m.run, true) })));
  if (!data) return html``;
  return html`<section aria-labelledby="out-head"><h2 id="out-head">${t('back.out')}</h2>${out.length === 0 ? html`<p class="quiet">${t('back.none_out')}</p>`
    : html`<ul class="outs">${out.map((m, i) => html`<li key=${m.machine}><${Button} hotkey=${String(i + 1)} onPress=${() => onRun(m.run)}>${m.machine}<//> <span>${t('back.row', { run: m.run, member: m.member ?? '' })}</span></li>`)}</ul>`}</section>`;
}

/** Not good though it ran to its end, or a better figure: all that may be said. @param {{b: any, v: any, set: (k: string) => (x: any, also?: any) => void, error: Error|null}} p */
function More({ b, v, set, error }) {
  return html`<div class="stack more"><${Choice} label=${t('back.outcome')} value=${v.outcome} onChange=${set('outcome')} options=${['good', 'failed', 'stopped'].map((k) => ({ value: k, label: t(`back.outcome_${k}`) }))} />
    ${v.outcome !== 'good' && html`<div class="field"><label for="symptom">${t('back.symptom')} <small>${t('kit.optional')}</small></label>
      <select id="symptom" value=${v.symptom} onChange=${(/** @type {any} */ e) => { const s = b.symptoms.find((/** @type {any} */ x) => x.key === e.currentTarget.value); set('symptom')(e.currentTarget.value, s ? { cause: s.cause } : {}); }}>
        <option value="">${t('back.no_symptom')}</option>${b.symptoms.map((/** @type {any} */ s) => html`<option key=${s.key} value=${s.key}>${t(`round.symptom_${s.key}`)}</option>`)}</select></div>
    <${Choice} label=${t('back.cause')} value=${v.cause} onChange=${set('cause')} options=${causes.map((c) => ({ value: c, label: t(`back.cause_${c}`) }))} />
    <${Check} label=${t('back.rerun_first')} value=${v.rerun} onChange=${set('rerun')} />`}
    <${Choice} label=${t('back.figure')} value=${v.figure} onChange=${set('figure')} options=${[{ value: 'proof', label: t('back.figure_proof', { length: metres(b.failed_um ?? b.reserved_um, 2) }) }, { value: 'counter', label: t('back.figure_counter') }, { value: 'scale', label: t('back.figure_scale') }]} />
    ${v.figure === 'counter' && html`<${Field} label=${t('back.used_m')} unit="m" inputmode="decimal" required value=${v.used} onInput=${set('used')} error=${errorAt(error, 'used_um')} />`}
    ${v.figure === 'scale' && html`<${Field} label=${t('back.used_g')} unit="g" inputmode="decimal" required value=${v.used} onInput=${set('used')} error=${errorAt(error, 'used_mg')} />`}
    ${b.stick && html`<${Check} label=${t('back.stick_there', { stick: b.stick })} value=${v.stick} onChange=${set('stick')} />`}
    <${Field} label=${t('back.condition')} hint=${t('back.condition_hint')} value=${v.condition} onInput=${set('condition')} maxlength=${300} error=${errorAt(error, 'condition')} />
    ${v.to === 'shelf' && html`<${Field} label=${t('back.place')} inputmode="numeric" value=${v.place} onInput=${set('place')} error=${errorAt(error, 'place')} />
    <${Field} label=${t('back.message')} hint=${t('back.message_hint')} rows=${3} value=${v.message} onInput=${set('message')} maxlength=${900} error=${errorAt(error, 'message')} />`}</div>`;
}

/** The run that is back. @param {{b: any, onDone: (done: any) => void, onOther: () => void, onStopped: () => void}} p */
function Run({ b, onDone, onOther, onStopped }) {
  const first = { outcome: 'good', symptom: '', cause: 'unknown', rerun: false, figure: 'proof', used: '', stick: true, condition: '', to: !b.part_on_bed ? 'off' : b.place ? 'shelf' : 'member', place: String(b.place ?? ''), message: b.message ?? '' };
  const [v, setV] = useState(/** @type {Record<string, any>} */ (first));
  const [more, setMore] = useState(false);
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const button = useRef(/** @type {HTMLDivElement|null} */ (null)), shown = useRef(Date.now());
  const set = (/** @type {string} */ k) => (/** @type {any} */ x, also = {}) => setV((was) => ({ ...was, [k]: x, ...also }));
  useDirty(JSON.stringify(v) !== JSON.stringify(first));
  useEffect(() => { /** @type {HTMLElement|null|undefined} */ (button.current?.querySelector('button'))?.focus(); }, [b.run]);
  const failed = b.state === 'failed';
  const symptom = b.symptoms.find((/** @type {any} */ s) => s.key === v.symptom)?.text;
  const book = async () => {
    if (b.byKey && Date.now() - shown.current < 250) return; // a scanner that types beside its field: a digit chose, its Enter must not book
    try {
      onDone(await post('/api/1/take-back/confirm', { run: b.run,
        ...(failed || b.outcome ? {} : { outcome: v.outcome, ...(v.outcome !== 'good' ? { cause: v.cause, ...(symptom ? { symptom } : {}), rerun_first: v.rerun } : {}) }),
        figure: v.figure, ...(v.figure === 'counter' && v.used ? { used_um: micro(v.used) } : {}), ...(v.figure === 'scale' && v.used ? { used_mg: Math.round(micro(v.used) / 1000) } : {}),
        ...(b.stick ? { stick_there: v.stick } : {}), ...(v.condition.trim() ? { condition: v.condition.trim() } : {}),
        ...(['shelf', 'member', 'waste'].includes(v.to) ? { to: v.to } : {}), ...(v.to === 'shelf' && v.place ? { place: Number(v.place) } : {}),
        ...(v.to === 'shelf' ? (v.message.trim() ? { message: v.message.trim() } : { tell: false }) : {}) }));
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  useKeys([{ key: 'm', says: t('back.key_more'), run: () => setMore(!more) }, ...(failed ? [] : [{ key: 'x', says: t('back.key_stopped'), run: onStopped }])]);
  const fields = ['used_um', 'used_mg', 'place', 'condition', 'message'];
  const now = b.now_ms, ends = b.state === 'out' ? day.value?.strips.find((s) => s.machine === b.machine)?.spans.find((s) => s.run === b.run && s.kind === 'run') : undefined;
  const early = ends?.until_ms && (ends.low_ms ?? ends.until_ms) > now + 60000 ? ends.until_ms : null; // the wrong stick, perhaps
  return html`<section aria-labelledby="run-head"><h2 id="run-head">${t('back.is', { machine: b.machine, member: b.member })}</h2>
    <dl class="pairs"><dt>${t('back.run')}</dt><dd>${b.run} ${b.file ?? ''}</dd><dt>${t('back.went')}</dt><dd>${when(b.out_ms, now)}${b.stick ? ` ${t('back.with_stick', { stick: b.stick })}` : ''}</dd><dt>${t('back.used')}</dt><dd>${metres(b.failed_um ?? b.reserved_um, 2)}</dd></dl>
    ${early && html`<p class="early"><${Mark} grade="ask" /> <strong>${t('back.early', { machine: b.machine, at: when(early, now) })}</strong></p>`}
    ${b.part_on_bed && html`<p class="cool"><strong>${t(b.cool_ms && b.cool_ms > now ? 'back.still_warm' : 'back.cool', { at: b.cool_ms ? clock(b.cool_ms) : '', c: b.cool_below_c })}</strong></p><${Caution} about=${['hot', 'moving', 'lifting']} />`}
    <form class="stack" novalidate onSubmit=${(/** @type {Event} */ e) => { e.preventDefault(); void book(); }}><${Trouble} error=${errorElsewhere(error, fields)} />
    ${b.part_on_bed && html`<${Choice} label=${t('back.part')} value=${v.to} onChange=${set('to')} options=${[...(b.place ? [{ value: 'shelf', label: t('back.to_shelf', { place: v.place || b.place }) }] : []), { value: 'member', label: t('back.to_member') }, { value: 'waste', label: t('back.to_waste') }, { value: 'bed', label: t('back.to_bed') }]} />
      ${!b.place && html`<p class="quiet">${t('back.shelf_full')}</p>`}
      ${v.to === 'shelf' && b.kept_until_ms && html`<p class="quiet">${t('back.kept', { until: when(b.kept_until_ms - 1, now) })}</p>`}`}
    ${more && html`<${More} b=${b} v=${v} set=${set} error=${error} />`}
    <div class="row" ref=${button}><${Button} kind="main" type="submit">${t(failed || b.outcome ? 'back.take_back' : v.outcome === 'good' ? 'back.good' : 'back.not_good', { machine: b.machine })}<//>
      ${!failed && html`<${Button} hotkey="x" onPress=${onStopped}>${t('back.stopped')}<//>`}<${Button} hotkey="m" onPress=${() => setMore(!more)}>${t(more ? 'back.less' : 'back.more')}<//><${Button} kind="quiet" onPress=${onOther}>${t('back.other')}<//></div></form></section>`;
}

/** @param {{done: any, onNext: () => void}} p */
function Done({ done, onNext }) {
  const next = useRef(/** @type {HTMLDivElement|null} */ (null));
  useEffect(() => { /** @type {HTMLElement|null|undefined} */ (next.current?.querySelector('button'))?.focus(); }, []);
  const print = () => window.print();
  useKeys([{ key: 'l', says: t('back.key_label'), run: () => { if (done.place) print(); } }]);
  return html`<section aria-labelledby="done-head"><h2 id="done-head">${t('back.free', { machine: done.machine })}</h2>
    ${done.place ? html`<p>${t('back.on_place', { place: done.place })}</p>` : ''}
    ${done.next_ticket && html`<p><strong>${t('back.next_ticket', { ticket: done.next_ticket.ticket, member: done.next_ticket.member })}</strong> <a href="/tickets">${t('pages.tickets')}</a></p>`}
    <div class="row" ref=${next}><${Button} kind="main" onPress=${onNext}>${t('back.next')}<//>${done.place && html`<${Button} hotkey="l" onPress=${print}>${t('back.label')}<//>`}</div></section>
    ${done.place && html`<${Label} done=${done} />`}`;
}

/** @param {{params: Record<string, string>, query: URLSearchParams}} p */
export default function Back({ query }) {
  const [b, setB] = useState(/** @type {any} */ (null));
  const [stopped, setStopped] = useState(false);
  const [done, setDone] = useState(/** @type {any} */ (null));
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const find = async (/** @type {Record<string, any>} */ what, byKey = false) => {
    setError(null);
    try { setB({ ...(await post('/api/1/take-back', what)), byKey }); } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  useEffect(() => { if (Number(query.get('run')) > 0) void find({ run: Number(query.get('run')) }); else if (query.get('machine')) void find({ machine: query.get('machine') }); }, [query.toString()]);
  const begin = () => { setB(null); setDone(null); setStopped(false); setError(null); };
  const booked = (/** @type {any} */ d) => {
    setDone(d);
    const events = d.done.map((/** @type {any} */ x) => x.event).reverse();
    notice(t('back.booked', { machine: d.machine, run: d.run }), { undo: async () => { for (const event of events) await act('undo', { event }); setDone(null); setB(null); } }); // the machine is out again: nothing here may say that it is free
  };
  const page = (/** @type {any} */ body) => html`<${Page} name="back" title=${t('pages.back')} lead=${t('back.lead')}>${body}<//>`;
  if (done) return page(html`<${Done} done=${done} onNext=${begin} />`);
  if (b && stopped) {
    return page(html`<section class="stopped" aria-label=${b.machine}><h2>${t('back.is', { machine: b.machine, member: b.member })}</h2><${Failure} m=${{ machine: b.machine, run: { run: b.run, member: b.member, file: b.file } }} symptoms=${b.symptoms.map((/** @type {any} */ s) => s.key)}
      onDone=${(/** @type {number[]} */ events, /** @type {number|null} */ label) => { notice(t('back.failed_booked', { run: b.run }), { undo: async () => { for (const event of [...events].reverse()) await act('undo', { event }); } }); if (label !== null) notice(t('round.label_at_shelf', { run: label })); begin(); }} onBack=${() => setStopped(false)} /></section>`);
  }
  if (b) return page(html`<${Run} key=${b.run} b=${b} onDone=${booked} onOther=${begin} onStopped=${() => setStopped(true)} />`);
  return page(html`<section aria-labelledby="scan-head"><h2 id="scan-head">${t('back.scan')}</h2><${ScanField} label=${t('back.scan_field')} hint=${t('back.scan_hint')} autofocus error=${errorAt(error, 'stick') ?? errorAt(error, 'machine') ?? errorAt(error, 'run')}
      onScan=${(/** @type {string} */ code) => find(/^\d+$/.test(code) ? { run: Number(code) } : { stick: code })} /><${Trouble} error=${errorElsewhere(error, ['stick', 'machine', 'run'])} /></section>
    <${Out} onRun=${(/** @type {number} */ run, byKey = false) => find({ run }, byKey)} />`);
}
