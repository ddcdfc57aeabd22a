// Care of machines: what is due by what they ran, done with one press; what was done; how often runs fail. SPDX-License-Identifier: Apache-2.0
import { act, acts, Button, Caution, Chart, Choice, Dialog, Empty, errorAt, errorElsewhere, Field, html, Loading, Mark, notice, number, Page, shop, t, Table, Trouble, useAsk, useNow, useState, when } from '../kit/index.js';

const undo = (/** @type {number} */ event) => ({ undo: async () => { await acts([{ act: 'undo', body: { event } }]); } });

/** @param {{query: URLSearchParams}} p */
export default function Care({ query }) {
  const [view, setView] = useState('due');
  return html`<${Page} name="care" title=${t('pages.care')} lead=${t('care.lead')} acts=${html`<${Button} href="/why">${t('pages.why')}<//><${Button} href="/room">${t('pages.room')}<//>`}>
    <${Choice} label=${t('care.which')} hideLabel value=${view} onChange=${setView} options=${['due', 'log', 'failures'].map((k) => ({ value: k, label: t(`care.view_${k}`) }))} />
    ${view === 'due' ? html`<${Due} machine=${query.get('machine')} />` : view === 'log' ? html`<${Log} />` : html`<${Failures} />`}<//>`;
}

/** @param {{machine: string|null}} p */
function Due({ machine }) {
  const { data, error, again } = useAsk('/api/1/care', {}, { concerns: ['care-', 'run-', 'undo'] });
  const [all, setAll] = useState(false);
  const [trouble, setTrouble] = useState(/** @type {Error|null} */ (null));
  const [part, setPart] = useState(false);
  const now = useNow(60000);
  const done = async (/** @type {any} */ x) => {
    try {
      const got = await act('care-done', { machine: x.machine, task: x.task });
      notice(t('care.booked', { machine: x.machine, says: x.says }), undo(got.event));
      setTrouble(null);
      await again();
    } catch (e) { setTrouble(/** @type {Error} */ (e)); }
  };
  if (!data) return html`<${Trouble} error=${error} onAgain=${again} />${!error && html`<${Loading} />`}`;
  const rows = data.tasks.filter((/** @type {any} */ x) => (!machine || x.machine === machine) && (all || x.state !== 'good'));
  return html`<${Trouble} error=${error ?? trouble} onAgain=${error ? again : undefined} /><${Caution} about=${['hot', 'moving', 'mains']} />
    ${data.tasks.length === 0 ? html`<${Empty} title=${t('care.no_tasks')}>${t('care.no_tasks_hint')}<//>` : rows.length === 0 ? html`<${Empty} title=${t('care.none_due')} />` : html`<ul class="tasks">${rows.map((/** @type {any} */ x) => html`<li key=${`${x.machine} ${x.task}`} class="card ${x.state}"><p class="of"><strong>${x.machine}</strong> <${Mark} grade=${x.state === 'due' ? 'stop' : x.state === 'soon' ? 'ask' : 'clear'} /> ${t(`care.state_${x.state}`)}</p>
      <p class="says">${x.says}</p><p class="quiet">${t(`care.by_${x.by}`, { percent: number(100 * x.share, 0), hours: number(x.hours, 0), metres: number(x.metres, 0), starts: number(x.starts), n: x.days })}. ${x.done_ms ? t('care.last', { at: when(x.done_ms, now), by: x.done_by ?? '' }) : t('care.never')}${x.minutes ? ` ${t('care.takes', { n: x.minutes })}` : ''}${x.parts ? ` ${t('care.parts', { parts: x.parts })}` : ''}</p>
      ${x.caution && html`<p class="caution-line"><strong>${t('kit.caution')}</strong> ${x.caution}</p>`}<svg class="bar" viewBox="0 0 100 4" preserveAspectRatio="none" aria-hidden="true"><rect width=${Math.min(100, 100 * x.share)} height="4" /></svg>
      <${Button} kind=${x.state === 'due' ? 'main' : 'plain'} onPress=${() => done(x)} label="${t('care.done')}: ${x.machine}, ${x.says}">${t('care.done')}<//></li>`)}</ul>`}
    <div class="row"><${Button} kind="quiet" onPress=${() => setAll(!all)}>${t(all ? 'care.only_due' : 'care.show_all')}<//><${Button} onPress=${() => setPart(true)}>${t('care.replaced')}<//></div>
    ${part && html`<${Replaced} onClose=${() => setPart(false)} />`}`;
}

/** A part that was replaced: why is what its life is counted by. @param {{onClose: () => void}} p */
function Replaced({ onClose }) {
  const machines = (shop.value?.machines ?? []).map((/** @type {any} */ m) => m.name);
  const [v, setV] = useState({ machine: machines[0] ?? '', part: '', why: 'worn', note: '' });
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const book = async () => {
    try {
      const got = await act('care-replace', { machine: v.machine, part: v.part.trim(), why: v.why, ...(v.note.trim() ? { note: v.note.trim() } : {}) });
      notice(t('care.replaced_booked', { machine: v.machine, part: v.part }), undo(got.event));
      onClose();
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  return html`<${Dialog} title=${t('care.replaced')} onClose=${onClose} onSubmit=${book} acts=${html`<${Button} onPress=${onClose}>${t('kit.close')}<//><${Button} type="submit" kind="main">${t('care.replaced_do')}<//>`}><${Trouble} error=${errorElsewhere(error, ['part', 'note'])} />
    <div class="field"><label for="care-machine">${t('kit.machine')}</label><select id="care-machine" value=${v.machine} onChange=${(/** @type {any} */ e) => setV({ ...v, machine: e.currentTarget.value })}>${machines.map((/** @type {string} */ m) => html`<option key=${m}>${m}</option>`)}</select></div>
    <${Field} label=${t('care.part')} hint=${t('care.part_hint')} required autofocus value=${v.part} onInput=${(/** @type {string} */ part) => setV({ ...v, part })} maxlength=${60} list=${['nozzle', 'belt', 'sheet', 'fan', 'liner']} error=${errorAt(error, 'part')} />
    <${Choice} label=${t('care.why')} value=${v.why} onChange=${(/** @type {string} */ why) => setV({ ...v, why })} options=${['failed', 'worn', 'planned', 'unknown'].map((k) => ({ value: k, label: t(`care.why_${k}`) }))} />
    <${Field} label=${t('care.note')} value=${v.note} onInput=${(/** @type {string} */ note) => setV({ ...v, note })} maxlength=${900} error=${errorAt(error, 'note')} /><//>`;
}

function Log() {
  const { data, error, again } = useAsk('care-log', { limit: 200 }, { concerns: ['care-', 'undo'] });
  const now = useNow(60000);
  return html`<${Trouble} error=${error} onAgain=${again} />${!data ? !error && html`<${Loading} />` : html`<${Table} caption=${t('care.view_log')} hideCaption rows=${data.log} rowKey=${(/** @type {any} */ x) => x.event} empty=${html`<${Empty} title=${t('care.no_log')} />`}
    columns=${[{ key: 'at', label: t('care.at'), head: true, show: (/** @type {any} */ x) => when(x.at_ms, now), sort: (/** @type {any} */ x) => x.at_ms }, { key: 'machine', label: t('kit.machine'), show: (/** @type {any} */ x) => x.machine, sort: (/** @type {any} */ x) => x.machine },
      { key: 'what', label: t('care.what'), show: (/** @type {any} */ x) => (x.task ? x.task : `${x.part}: ${t(`care.why_${x.why}`)}`), sort: (/** @type {any} */ x) => x.task ?? x.part }, { key: 'by', label: t('care.by'), show: (/** @type {any} */ x) => x.by }, { key: 'note', label: t('care.note'), show: (/** @type {any} */ x) => x.note ?? '' }]} />`}`;
}

/** Shares of failed runs by machine; the verbs of care say who differs by more than chance. */
function Failures() {
  const { data, error, again } = useAsk('run-sums', { by: 'machine' }, { concerns: ['run-', 'undo'] });
  if (!data) return html`<${Trouble} error=${error} onAgain=${again} />${!error && html`<${Loading} />`}`;
  const rows = data.sums.filter((/** @type {any} */ s) => s.key && s.good + s.failed > 0).map((/** @type {any} */ s) => ({ ...s, n: s.good + s.failed, share: s.failed / (s.good + s.failed), ...wilson(s.failed, s.good + s.failed) }));
  const all = rows.reduce((/** @type {number} */ a, /** @type {any} */ s) => a + s.n, 0), failed = rows.reduce((/** @type {number} */ a, /** @type {any} */ s) => a + s.failed, 0);
  return rows.length === 0 ? html`<${Empty} title=${t('care.no_runs')} />` : html`<${Chart} title=${t('care.failures_title')} says=${t('care.failures_says', { failed: number(failed), n: all, percent: number((100 * failed) / all, 0) })} xLabel=${t('kit.machine')} x=${rows.map((/** @type {any} */ _, /** @type {number} */ i) => i + 1)} showX=${(/** @type {number} */ x) => rows[Math.round(x) - 1]?.key ?? ''}
      series=${[{ label: t('care.share'), unit: '%', bars: true, places: 0, values: rows.map((/** @type {any} */ s) => 100 * s.share) }]} />
    <${Table} caption=${t('care.failures_title')} hideCaption rows=${rows} rowKey=${(/** @type {any} */ s) => s.key} columns=${[{ key: 'machine', label: t('kit.machine'), head: true, show: (/** @type {any} */ s) => s.key, sort: (/** @type {any} */ s) => s.key }, { key: 'n', label: t('care.runs'), right: true, show: (/** @type {any} */ s) => number(s.n), sort: (/** @type {any} */ s) => s.n }, { key: 'failed', label: t('care.failed'), right: true, show: (/** @type {any} */ s) => number(s.failed), sort: (/** @type {any} */ s) => s.failed },
      { key: 'share', label: t('care.share'), right: true, show: (/** @type {any} */ s) => t('care.range', { share: number(100 * s.share, 0), low: number(100 * s.low, 0), high: number(100 * s.high, 0) }), sort: (/** @type {any} */ s) => s.share }]} />
    <p class="quiet">${t('care.failures_hint')}</p>`;
}
/** Wilson's interval of a share, 95 %. E. B. Wilson, J. Am. Stat. Assoc. 22, 1927. @param {number} k @param {number} n */
function wilson(k, n) {
  const z = 1.959964, p = k / n, d = 1 + (z * z) / n, m = (p + (z * z) / (2 * n)) / d, h = (z * Math.sqrt((p * (1 - p)) / n + (z * z) / (4 * n * n))) / d;
  return { low: Math.max(0, m - h), high: Math.min(1, m + h) };
}
