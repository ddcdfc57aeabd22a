// A run that stopped: the height is typed, all else is there to be confirmed. SPDX-License-Identifier: Apache-2.0
import { Away, Button, Caution, Check, Choice, clock, errorAt, errorElsewhere, Field, grams, html, line, metres, number, post, span, t, Trouble, useDirty, useEffect, useRef, useState, when } from '../../kit/index.js';
import { wallMs, wallText } from './wall.js';

const causes = ['file', 'machine', 'material', 'power', 'handling', 'unknown'];

/** m: the machine's row, with its run; symptoms: keys. onDone(events, label): it is booked.
 * @param {{m: any, symptoms: string[], onDone: (events: number[], label: number|null) => void, onBack: () => void}} p */
export function Failure({ m, symptoms, onDone, onBack }) {
  const run = m.run.run;
  const [height, setHeight] = useState('');
  const [symptom, setSymptom] = useState('');
  const [offer, setOffer] = useState(/** @type {any} */ (null));
  const [own, setOwn] = useState(/** @type {Record<string, any>} */ ({})); // what somebody changed of it
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const turn = useRef(0);
  const form = useRef(/** @type {HTMLFormElement|null} */ (null));
  useEffect(() => { form.current?.querySelector('input')?.focus(); }, []); // the button that led here is gone; the height is what is asked
  useDirty(height !== '' || Object.keys(own).length > 0);
  const z = Math.round(Number(height.replace(',', '.')) * 1000), good = height.trim() !== '' && z > 0;
  const work = async () => {
    const mine = ++turn.current;
    if (!good) { setOffer(null); return; }
    try {
      const got = await post('/api/1/round/failure', { run, z_um: z, ...(symptom ? { symptom } : {}) });
      if (mine === turn.current) { setOffer(got); setError(null); }
    } catch (e) {
      if (mine === turn.current) { setError(/** @type {Error} */ (e)); if (!(e instanceof Away)) setOffer(null); }
    }
  };
  useEffect(() => { // a moment after the last digit, and again when the line is back
    if (line.value === 'cut') return undefined;
    const timer = setTimeout(work, 350);
    return () => clearTimeout(timer);
  }, [height, symptom, line.value]);
  const cause = own.cause ?? offer?.cause, rule = offer?.rules[cause] ?? {};
  const v = offer && { cause, counts: own.counts ?? rule.counts, rerun_first: own.rerun_first ?? rule.rerun_first, to: own.to ?? (offer.off ? 'gone' : offer.to), back: own.back ?? true,
    at: own.at ?? wallText(offer.at_ms), message: own.message ?? offer.message ?? '', place: own.place ?? String(offer.place ?? ''), grams: own.grams ?? '' };
  const set = (/** @type {string} */ k) => (/** @type {any} */ x) => setOwn({ ...own, [k]: x });
  const at = v && (own.at === undefined ? offer.at_ms : wallMs(v.at));
  const confirm = async () => {
    if (!v || at === null) return;
    const booked = v.to !== 'bed' && v.to !== 'gone';
    try {
      const done = await post('/api/1/round/failure/confirm', { run, z_um: z, at, cause: v.cause, counts: v.counts, rerun_first: v.rerun_first, ...(symptom ? { symptom } : {}), ...(booked ? { to: v.to } : {}),
        ...(v.to === 'shelf' && v.place ? { place: Number(v.place) } : {}), ...(v.to === 'waste' && Number(v.grams.replace(',', '.')) > 0 ? { recycled_mg: Math.round(Number(v.grams.replace(',', '.')) * 1000) } : {}),
        ...(v.back && v.to !== 'bed' ? { back: true } : {}), ...(v.message.trim() ? { message: v.message.trim() } : { quiet: true }) });
      onDone(done.done.map((/** @type {any} */ d) => d.event), v.to === 'shelf' ? run : null);
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  const fields = ['z_um', 'at', 'place', 'recycled_mg', 'message'];
  return html`<form class="stack failure" ref=${form} novalidate onSubmit=${(/** @type {Event} */ e) => { e.preventDefault(); void (offer ? confirm() : work()); }}>
    <p class="says">${t('round.failed_lead', { run, member: m.run.member, file: m.run.file ?? '' })}</p>
    <${Caution} about=${['hot', 'moving']} />
    <${Trouble} error=${errorElsewhere(error, fields)} />
    <${Field} label=${t('round.height')} hint=${t('round.height_hint')} inputmode="decimal" unit="mm" required autofocus value=${height} onInput=${setHeight} error=${errorAt(error, 'z_um')} />
    <div class="field"><label for="symptom">${t('round.symptom')} <small>${t('kit.optional')}</small></label>
      <select id="symptom" value=${symptom} onChange=${(/** @type {any} */ e) => setSymptom(e.currentTarget.value)}><option value="">${t('round.symptom_none')}</option>${symptoms.map((s) => html`<option key=${s} value=${s}>${t(`round.symptom_${s}`)}</option>`)}</select></div>
    ${good && !offer && line.value === 'cut' && html`<p role="status">${t('round.figures_wait')}</p>`}
    <div class="stack" aria-live="polite">${offer && html`<p class="used"><span class="big-time">${metres(offer.used_um, 2)}</span> ${offer.used_mg !== null && html`<span class="big-time">${grams(offer.used_mg)}</span>`}
      <span class="quiet">${t('round.used_of', { whole: metres(offer.whole_um, 2), z: number(offer.z_um / 1000, 1), height: number(offer.height_um / 1000, 1), span: span(offer.used_seconds * 1000) })}</span></p>`}</div>
    ${offer && html`<${Field} label=${t('round.at')} type="datetime-local" required value=${v.at} onInput=${set('at')} hint=${t(offer.at_from !== 'said' && offer.at_from !== 'ended' && offer.at_high_ms - offer.at_low_ms < 60000 ? 'round.at_now' : `round.at_from_${offer.at_from.replace('-', '_')}`, { low: clock(offer.at_low_ms), high: clock(offer.at_high_ms) })} error=${at === null ? t('round.at_wrong') : errorAt(error, 'at')} />
    <${Choice} label=${t('round.cause')} hint=${own.cause ? undefined : why(offer)} value=${v.cause} onChange=${(/** @type {string} */ c) => setOwn({ ...own, cause: c, counts: undefined, rerun_first: undefined })} options=${causes.map((c) => ({ value: c, label: t(`round.cause_${c}`) }))} />
    <${Check} label=${t('round.counts')} value=${v.counts} onChange=${set('counts')} />
    <${Check} label=${t('round.rerun_first')} value=${v.rerun_first} onChange=${set('rerun_first')} />
    ${!offer.off && html`<${Choice} label=${t('round.to')} value=${v.to} onChange=${set('to')} options=${['waste', 'shelf', 'member', 'bed'].map((k) => ({ value: k, label: t(`round.to_${k}`) }))} />
    ${v.to === 'shelf' && html`<${Field} label=${t('round.place')} hint=${t('round.place_hint')} inputmode="numeric" value=${v.place} onInput=${set('place')} error=${errorAt(error, 'place')} />`}
    ${v.to === 'waste' && html`<${Field} label=${t('round.grams')} inputmode="decimal" unit="g" value=${v.grams} onInput=${set('grams')} error=${errorAt(error, 'recycled_mg')} />`}`}
    ${v.to !== 'bed' && html`<${Check} label=${t('round.back', { machine: m.machine })} value=${v.back} onChange=${set('back')} />`}
    <${Field} label=${t('round.message')} hint=${t(offer.sends ? 'round.message_hint' : 'round.message_off')} rows=${3} maxlength=${900} value=${v.message} onInput=${set('message')} error=${errorAt(error, 'message')} />
    <p class="quiet">${t('round.confirm_lead', { symptom: symptom ? t(`round.symptom_${symptom}`) : '', at: at ? when(at) : '' })}</p>`}
    <div class="large">${offer && html`<${Button} type="submit" kind="main">${t('round.confirm')}<//>`}<${Button} onPress=${onBack}>${t('round.not_failed')}<//></div></form>`;
}
/** Why that cause is proposed. @param {any} o */
const why = (o) => t(`round.why_${o.why.replace('-', '_')}`, { run: o.why_run ?? '', machine: o.why_machine ?? '', spool: o.why_spool ?? '', left: o.why_mg !== undefined ? grams(o.why_mg) : '', n: o.why_count ?? 0 });
