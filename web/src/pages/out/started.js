// After the hand-out: the start check, the watch, the first layer beside drawings of good and poor ones. SPDX-License-Identifier: Apache-2.0
import { act, Button, Caution, Check, clock, countDown, errorElsewhere, Field, html, notice, shop, t, Trouble, useAsk, useKeys, useNow, useState, when } from '../../kit/index.js';
import { serverNow } from '../../kit/day.js';
import { Layer, layers } from '../../pictures/first_layer.js';
import { Written } from './stick.js';

const points = ['heated', 'stream_steady', 'bed_clean', 'gap_good', 'spool_right'];

/** @param {{run: any}} p */
function StartCheck({ run }) {
  const [seen, setSeen] = useState(/** @type {Record<string, boolean>} */ ({}));
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const all = points.every((k) => seen[k]);
  const start = async () => {
    try {
      const done = await act('run-start', { run: run.run, ...Object.fromEntries(points.map((k) => [k, seen[k] === true])) });
      notice(t('out.started', { run: run.run }), { undo: () => act('undo', { event: done.event }) });
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  useKeys([{ key: 'a', says: t('out.key_all'), run: () => setSeen(Object.fromEntries(points.map((k) => [k, true]))) }]);
  return html`<section aria-labelledby="check-head"><h2 id="check-head">${t('out.check')}</h2><p class="quiet">${t('out.check_lead')}</p><${Caution} about=${['hot', 'moving']} />
    <${Trouble} error=${errorElsewhere(error, [])} />
    <div class="stack">${points.map((k) => html`<${Check} key=${k} label=${t(`out.point_${k}`)} hint=${t(`out.hint_${k}`)} value=${seen[k] === true} onChange=${(/** @type {boolean} */ on) => setSeen({ ...seen, [k]: on })} />`)}</div>
    <div class="row"><${Button} hotkey="a" onPress=${() => setSeen(Object.fromEntries(points.map((k) => [k, true])))}>${t('out.all_seen')}<//><${Button} kind="main" disabled=${!all} onPress=${start}>${t('out.start')}<//></div></section>`;
}

/** Good and poor, each from above and from the side, with what to do. @param {{chosen: string, onChoose: (kind: string) => void}} p */
function Pictures({ chosen, onChoose }) {
  return html`<ul class="layers">${layers.map((k) => html`<li key=${k} class=${k === 'good' ? 'good' : ''}><button type="button" aria-pressed=${k === chosen ? 'true' : 'false'} onClick=${() => onChoose(k)}>
    <span class="pair"><${Layer} kind=${k} from="above" /><${Layer} kind=${k} from="side" /></span><strong>${t(`out.layer_${k}`)}</strong></button><p>${t(`out.do_${k}`)}</p></li>`)}</ul>`;
}

/** @param {{run: any, minutes: number, until: number|null}} p */
function Watch({ run, minutes, until }) {
  const [kind, setKind] = useState('good');
  const [note, setNote] = useState('');
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  useNow(1000);
  const now = serverNow(), poor = kind !== 'good';
  const judge = async () => {
    try {
      const said = [poor ? t(`out.layer_${kind}`) : '', note.trim()].filter(Boolean).join('; ');
      const done = await act('run-watched', { run: run.run, first_layer: poor ? 'poor' : 'good', ...(said ? { note: said } : {}) });
      notice(t(poor ? 'out.was_poor' : 'out.was_good', { run: run.run }), { undo: () => act('undo', { event: done.event }) });
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  return html`<section aria-labelledby="watch-head"><h2 id="watch-head">${t('out.watch')}</h2>
    <p>${t('out.watch_lead', { n: minutes })}</p>${until && html`<p class="big-time" aria-hidden="true">${until > now ? countDown(until - now) : clock(until)}</p><p class="only-read">${t('out.watch_until', { at: clock(until) })}</p>`}
    <${Caution} about=${['hot', 'moving', 'fumes']} /><${Trouble} error=${error} />
    <p class="quiet">${t('out.pictures_lead')}</p><${Pictures} chosen=${kind} onChoose=${setKind} />
    <${Field} label=${t('out.note')} value=${note} onInput=${setNote} maxlength=${300} />
    ${poor && html`<p>${t('out.poor_lead')}</p>`}
    <div class="row"><${Button} kind="main" onPress=${judge}>${t(poor ? 'out.book_poor' : 'out.book_good')}<//>${poor && html`<${Button} kind="danger" href="/round?failed=${encodeURIComponent(run.machine)}">${t('out.stopped_it')}<//>`}</div></section>`;
}

/** What the member is told: when it ends and where the part will be. @param {{run: any, end: number|null}} p */
function Tell({ run, end }) {
  const [text, setText] = useState('');
  const [sent, setSent] = useState(false);
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const proposed = t(end ? 'out.message' : 'out.message_no_end', { run: run.run, machine: run.machine, at: end ? when(end) : '' });
  const send = async () => {
    try {
      const done = await act('message-put', { member: run.member, kind: 'other', text: (text || proposed).trim(), run: run.run });
      setSent(true);
      notice(t('out.message_waits'), { undo: () => act('undo', { event: done.event }).then(() => setSent(false)) });
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  return html`<section aria-labelledby="tell-head"><h2 id="tell-head">${t('out.tell')}</h2><p class="aloud">${proposed}</p><${Trouble} error=${error} />
    ${sent ? html`<p role="status">${t('out.message_waits')}</p>` : html`<details><summary>${t('out.send_message')}</summary><div class="stack"><${Field} label=${t('out.message_text')} rows=${3} required maxlength=${900} value=${text || proposed} onInput=${setText} />
      <div><${Button} onPress=${send}>${t('out.put_message')}<//></div></div></details>`}</section>`;
}

/** answer: {run, stick?, watch_minutes?} of the booking. @param {{answer: any, onNew: () => void}} p */
export function Started({ answer, onNew }) {
  const { data } = useAsk('run', { run: answer.run.run }, { concerns: ['run-', 'undo'] });
  const { data: today } = useAsk('/api/1/today', {}, { concerns: ['run-', 'undo'] });
  const run = data ?? answer.run;
  const strip = today?.strips?.find((/** @type {any} */ s) => s.machine === run.machine)?.spans.find((/** @type {any} */ s) => s.run === run.run);
  const watch = today?.due?.find((/** @type {any} */ d) => d.kind.startsWith('watch') && d.about.run === run.run);
  const end = strip?.until_ms ?? null;
  return html`<section class="booked" aria-labelledby="booked-head"><h2 id="booked-head">${t('out.run_out', { run: run.run, machine: run.machine, member: run.member })}</h2>
    <p>${run.file}</p><${Written} stick=${answer.stick} run=${run} />
    <div class="row"><${Button} onPress=${onNew}>${t('out.new')}<//>${run.state === 'out' && html`<${Button} kind="quiet" href="/back?run=${run.run}">${t('pages.back')}<//>`}</div></section>
    ${run.state !== 'out' ? html`<section><p>${t('out.is_back')}</p></section>` : html`<${Tell} run=${run} end=${end} />
      ${run.watched_ms ? html`<section class="stack"><h2>${t('out.watched')}</h2><p>${t(run.first_layer === 'poor' ? 'out.watched_poor' : 'out.watched_good', { at: clock(run.watched_ms) })}</p></section>`
      : run.started_ms ? html`<${Watch} run=${run} minutes=${answer.watch_minutes ?? shop.value?.rules?.watch_minutes ?? 0} until=${watch?.at_ms ?? null} />` : html`<${StartCheck} run=${run} />`}`}`;
}
