// Training at the desk: who waits for a step to be seen, results, another time for papers, permissions that lie unused. SPDX-License-Identifier: Apache-2.0
import { act, acts, ask, Button, Caution, Choice, Dialog, Empty, errorAt, errorElsewhere, Field, html, Loading, Mark, notice, number, Page, Picker, post, shop, t, Table, Trouble, useAsk, useNow, useState, when } from '../kit/index.js';

const undoAll = (/** @type {number[]} */ events) => ({ undo: async () => { await acts([...events].reverse().map((event) => ({ act: 'undo', body: { event } }))); } });

export default function Training() {
  const { data, error, again } = useAsk('/api/1/signoff', {}, { concerns: ['paper-', 'practice-', 'permit-', 'undo'] });
  const [time, setTime] = useState(false);
  const [view, setView] = useState('waiting');
  return html`<${Page} name="training" title=${t('pages.training')} lead=${t('training.lead')} acts=${html`<${Button} href="/learn">${t('training.studies')}<//><${Button} onPress=${() => setTime(true)}>${t('training.time')}<//>`}>
    <${Choice} label=${t('training.which')} hideLabel value=${view} onChange=${setView} options=${['waiting', 'results', 'unused'].map((k) => ({ value: k, label: t(`training.view_${k}`) }))} />
    <${Trouble} error=${error} onAgain=${again} />
    ${view === 'results' ? html`<${Results} />` : !data ? !error && html`<${Loading} />` : view === 'unused' ? html`<${Unused} rows=${data.unused} />`
    : data.waiting.length === 0 ? html`<${Empty} title=${t('training.none')} />` : html`<${Caution} about=${['hot', 'moving']} /><ol class="waiting">${data.waiting.map((/** @type {any} */ w) => html`<${Waiting} key=${`${w.member} ${w.study}`} w=${w} onDone=${again} />`)}</ol>`}
    ${time && html`<${Time} onClose=${() => setTime(false)} />`}<//>`;
}

/** @param {{w: any, onDone: () => Promise<void>}} p */
function Waiting({ w, onDone }) {
  const machines = (shop.value?.machines ?? []).map((/** @type {any} */ m) => m.name);
  const [machine, setMachine] = useState(machines[0] ?? '');
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const now = useNow(60000);
  const sign = async (/** @type {any} */ s) => {
    try {
      const got = await post('/api/1/signoff', { member: w.member, study: w.study, step: s.step, machine });
      notice(got.granted ? t('training.granted', { member: w.member, permission: got.granted }) : t('training.signed', { member: w.member }), undoAll(got.done.map((/** @type {any} */ d) => d.event)));
      setError(null);
      await onDone();
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  return html`<li class="card"><div class="head"><h2>${w.member}${w.name ? html` <small>${w.name}</small>` : ''}</h2><p class="quiet">${w.title}, ${t('training.passed', { at: when(w.passed_ms, now) })}</p></div><${Trouble} error=${error} />
    <div class="field"><label for="m-${w.member}-${w.study}">${t('training.machine')}</label><select id="m-${w.member}-${w.study}" value=${machine} onChange=${(/** @type {any} */ e) => setMachine(e.currentTarget.value)}>${machines.map((/** @type {string} */ m) => html`<option key=${m}>${m}</option>`)}</select></div>
    <ul class="steps-left">${w.signed.map((/** @type {any} */ s) => html`<li key=${s.step} class="row"><${Mark} grade="clear" /> <span>${s.says}</span></li>`)}${w.steps.map((/** @type {any} */ s) => html`<li key=${s.step} class="row"><span>${s.says}${s.caution ? html` <em class="quiet">${s.caution}</em>` : ''}</span> <${Button} onPress=${() => sign(s)} label="${t('training.seen')}: ${w.member}, ${s.says}">${t('training.seen')}<//></li>`)}</ul></li>`;
}

function Results() {
  const { data, error, again } = useAsk('papers', { limit: 200 }, { concerns: ['paper-', 'undo'] });
  const now = useNow(60000);
  const [trouble, setTrouble] = useState(/** @type {Error|null} */ (null));
  const drop = async (/** @type {any} */ p) => {
    try {
      const done = await act('paper-void', { paper: p.paper, reason: t('training.void_reason') });
      notice(t('training.voided', { member: p.member }), undoAll([done.event]));
      await again();
    } catch (e) { setTrouble(/** @type {Error} */ (e)); }
  };
  const word = (/** @type {any} */ p) => (p.state === 'open' ? t('training.open') : p.state === 'void' ? t('paper.void') : t(p.passed ? 'paper.passed' : p.met ? 'paper.teach_first' : 'paper.failed'));
  return html`<${Trouble} error=${error ?? trouble} onAgain=${error ? again : undefined} />${!data ? !error && html`<${Loading} />` : html`<p class="quiet">${t('training.private')}</p><${Table} caption=${t('training.view_results')} hideCaption rows=${data.papers} rowKey=${(/** @type {any} */ p) => p.paper} empty=${html`<${Empty} title=${t('training.no_results')} />`}
    columns=${[{ key: 'member', label: t('training.member'), head: true, show: (/** @type {any} */ p) => `${p.member}${p.name ? ` ${p.name}` : ''}`, sort: (/** @type {any} */ p) => p.member }, { key: 'study', label: t('training.study'), show: (/** @type {any} */ p) => p.study, sort: (/** @type {any} */ p) => p.study },
      { key: 'at', label: t('training.at'), show: (/** @type {any} */ p) => when(p.handed_ms ?? p.drawn_ms, now), sort: (/** @type {any} */ p) => p.paper }, { key: 'points', label: t('training.points'), right: true, show: (/** @type {any} */ p) => (p.points === null ? '–' : `${number(p.points)} / ${number(p.most)}`) },
      { key: 'word', label: t('training.result'), show: word, sort: word }, { key: 'do', label: t('training.act'), show: (/** @type {any} */ p) => (p.state === 'void' ? '' : html`<${Button} kind="quiet" label=${t('training.void_of', { member: p.member })} onPress=${() => drop(p)}>${t('training.void')}<//>`) }]} />`}`;
}

/** @param {{rows: any[]}} p */
function Unused({ rows }) {
  const now = useNow(60000);
  return rows.length === 0 ? html`<${Empty} title=${t('training.none_unused')}>${t('training.unused_hint')}<//>` : html`<${Table} caption=${t('training.view_unused')} rows=${rows} rowKey=${(/** @type {any} */ r) => r.permit}
    columns=${[{ key: 'member', label: t('training.member'), head: true, show: (/** @type {any} */ r) => r.member, sort: (/** @type {any} */ r) => r.member }, { key: 'permission', label: t('training.permission'), show: (/** @type {any} */ r) => r.permission },
      { key: 'last', label: t('training.last_used'), show: (/** @type {any} */ r) => (r.last_out_ms ? when(r.last_out_ms, now) : t('training.never')) }]} onRow=${(/** @type {any} */ r) => `/person/${encodeURIComponent(r.member)}`} />`;
}

/** Another time for papers: why is asked nowhere and kept nowhere. @param {{onClose: () => void}} p */
function Time({ onClose }) {
  const [member, setMember] = useState(/** @type {any} */ (null));
  const [percent, setPercent] = useState('150');
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const find = async (/** @type {string} */ typed) => (typed ? (await ask('members', { search: typed, limit: 20 }, { background: true })).members : []).map((/** @type {any} */ m) => ({ value: m.member, label: m.member, more: m.name ?? '' }));
  const book = async () => {
    if (!member) { setError(new Error(t('training.whom'))); return; }
    try {
      const done = await act('member-accommodate', { member: member.value, time_percent: Number(percent) });
      notice(t('training.time_booked', { member: member.value }), undoAll([done.event]));
      onClose();
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  return html`<${Dialog} title=${t('training.time')} onClose=${onClose} onSubmit=${book} acts=${html`<${Button} onPress=${onClose}>${t('kit.close')}<//><${Button} type="submit" kind="main">${t('training.time_do')}<//>`}><p>${t('training.time_lead')}</p><${Trouble} error=${errorElsewhere(error, ['time_percent', 'member'])} />
    <${Picker} label=${t('training.member')} value=${member} find=${find} onPick=${setMember} autofocus error=${errorAt(error, 'member')} />
    <${Field} label=${t('training.percent')} hint=${t('training.percent_hint')} inputmode="numeric" unit="%" required value=${percent} onInput=${setPercent} error=${errorAt(error, 'time_percent')} /><//>`;
}
