// The plan on today's page: a run put elsewhere on trial, what that costs, and keeping it as a promise. SPDX-License-Identifier: Apache-2.0
import { acts, Button, Choice, html, notice, number, post, Problem, t, Trouble, useAsk, useEffect, useRef, useState, when } from '../../kit/index.js';

import { Lacks } from './lacks.js';

/** @typedef {{run: number, member: string, file: string, placed: boolean, due_ms: number|null, promised_ms: number|null, promised_machine: string, stays: boolean, moved: boolean, why_moved: string|null, machines: string[],
 *   machine: string, start_ms: number, end_ms: number, end_range_ms: [number, number], off_ms: number|null, free_ms: number, late_hours: number, start_kept: number|null}} Planned */
/** @typedef {{plan: string, event: number, from_ms: number, holds_until_ms: number, desk: {from_ms: number, until_ms: number}[], runs: Planned[], left_out: {run: number, member: string, says: string}[], cannot_be_met: import('./lacks.js').Lack[],
 *   points_1000: {cost: number, bound: number, best: boolean}}} Plan */
/** @typedef {{run: number, member: string, placed: boolean, promised: boolean, machine: string, start_ms: number, end_ms: number, was_machine: string, was_ms?: number, late_hours: number, was_late_hours: number}} Move */
/** @typedef {{plan: string, run: number, member: string, machine: string, asked_ms: number, start_ms: number, end_ms: number, end_range_ms: [number, number], off_ms: number|null, late_hours: number, change: boolean, costs_1000: number,
 *   points_1000: Record<string, number>, as_planned: boolean, moves: Move[]}} Tried */
/** @typedef {{run: number, machine: string, at: number}} Asked */

const half = 1800000;

/** The plan, asked anew when the book goes on or its first slot has passed. */
export function usePlan() {
  const asked = useAsk('/api/1/plan'), data = /** @type {Plan|undefined} */ (asked.data);
  useEffect(() => {
    if (!data) return undefined;
    const timer = setTimeout(() => void asked.anew(), Math.max(10000, data.holds_until_ms - data.from_ms + 1000));
    return () => clearTimeout(timer);
  }, [data?.plan]);
  return { plan: data, error: asked.error, again: asked.again, anew: asked.anew };
}

/** Half an hour sooner or later; what lies in closed hours goes on to the next open ones. @param {Plan} plan @param {Asked} asked @param {Tried|null} tried @param {number} steps */
export function nudged(plan, asked, tried, steps) {
  let at = (steps > 0 ? Math.max(tried?.start_ms ?? 0, asked.at) : asked.at) + steps * half;
  if (steps < 0 && !plan.desk.some((h) => at >= h.from_ms && at < h.until_ms)) {
    const before = plan.desk.filter((h) => h.until_ms <= at).at(-1);
    at = before ? before.until_ms - half : plan.from_ms;
  }
  return Math.max(at, plan.from_ms);
}

/** What is tried: at most one at a time. @param {Plan|undefined} plan @param {() => Promise<any>} anew */
export function useTrial(plan, anew) {
  const [asked, setAsked] = useState(/** @type {Asked|null} */ (null));
  const [tried, setTried] = useState(/** @type {Tried|null} */ (null));
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const turn = useRef(0), from = useRef(/** @type {any} */ (null));
  const give = () => {
    turn.current++;
    setAsked(null);
    setTried(null);
    setError(null);
    const to = from.current;
    setTimeout(() => { // where it began, else the list
      const place = to?.isConnected ? to : to?.dataset?.at ? document.querySelector(`[data-at$="/${CSS.escape(to.dataset.at.split('/').slice(1).join('/'))}"]`) : null;
      (place ?? document.getElementById('today-queue'))?.focus();
    }, 0);
  };
  useEffect(() => {
    if (!asked || !plan) return undefined;
    if (!plan.runs.some((r) => r.run === asked.run)) { // handed out or dropped meanwhile
      notice(t('today.plan_gone', { run: String(asked.run) }));
      give();
      return undefined;
    }
    const mine = ++turn.current, timer = setTimeout(async () => {
      try {
        const said = await post('/api/1/plan/try', { run: asked.run, machine: asked.machine, at: asked.at });
        if (mine === turn.current) { setTried(said); setError(null); }
      } catch (e) {
        if (mine === turn.current) { setTried(null); setError(/** @type {Error} */ (e)); }
      }
    }, 120);
    return () => clearTimeout(timer);
  }, [asked?.run, asked?.machine, asked?.at, plan?.plan]);
  /** @param {Planned} r @param {Partial<Asked>} [to] */
  const take = (r, to = {}) => {
    if (asked?.run !== r.run) from.current = document.activeElement;
    setTried(asked?.run === r.run ? tried : null);
    setAsked({ run: r.run, machine: to.machine ?? asked?.machine ?? (r.machine || r.machines[0]), at: to.at ?? (r.start_ms || plan?.from_ms || 0), ...(asked?.run === r.run ? {} : { machine: to.machine ?? (r.machine || r.machines[0]) }) });
  };
  /** @param {Tried} what */
  const keep = async (what) => {
    try {
      const done = await post('/api/1/plan/keep', { plan: what.plan, run: what.run, machine: what.machine, start: what.start_ms });
      const events = done.done.map((/** @type {any} */ d) => d.event).reverse();
      notice(t('today.plan_kept', { run: String(what.run), machine: what.machine, at: when(what.start_ms) }), { undo: async () => { await acts(events.map((/** @type {number} */ event) => ({ act: 'undo', body: { event } }))); await anew(); } });
      give();
      await anew();
    } catch (e) {
      setError(/** @type {Error} */ (e));
      if (e instanceof Problem && e.where === 'plan') await anew(); // it is tried again on the new one
    }
  };
  return { asked, tried, error, take, keep, give, to: (/** @type {Partial<Asked>} */ x) => asked && setAsked({ ...asked, ...x }) };
}

const points = (/** @type {number} */ p) => number(Math.max(0.1, Math.abs(p) / 1000), 1);
/** What it costs in words: one sentence, then what of it is for what. @param {Tried} s */
export function costWords(s) {
  const c = s.costs_1000, list = Object.entries(s.points_1000).filter(([, v]) => v >= 50).map(([k, v]) => t(`today.plan_for_${k}`, { points: points(v) }));
  const first = s.as_planned ? t('today.plan_as_planned') : c === 0 ? t('today.plan_costs_none') : t(c > 0 ? 'today.plan_costs' : 'today.plan_saves', { points: points(c) });
  return list.length > 0 && c > 0 ? `${first} ${t('today.plan_parts', { parts: list.join(', ') })}` : first;
}
/** @param {Move} m */
function moveWords(m) {
  const v = { run: String(m.run), machine: m.machine, at: m.placed ? when(m.start_ms) : '', was: m.was_ms ? when(m.was_ms) : '' };
  return `${t(m.placed ? (m.was_ms ? 'today.plan_moves' : 'today.plan_gets') : 'today.plan_loses', v)}${m.promised ? ` ${t('today.plan_was_promised')}` : ''}${m.late_hours > m.was_late_hours ? ` ${t('today.plan_late', { hours: number(m.late_hours, 1) })}` : ''}`;
}

/** @param {{plan: Plan, trial: ReturnType<typeof useTrial>, onNudge: (steps: number, rows: number) => void}} p */
export function TrialPanel({ plan, trial, onNudge }) {
  const { asked, tried, error } = trial, row = plan.runs.find((r) => r.run === asked?.run);
  /** @type {{current: HTMLElement|null}} */
  const head = useRef(null);
  useEffect(() => { // taken up in the list: here it goes on; in the strip the focus stays on what is moved
    const strip = document.activeElement?.closest('.strip');
    if (!strip) head.current?.focus({ preventScroll: true });
    head.current?.closest('section')?.scrollIntoView({ block: strip ? 'nearest' : 'center' });
  }, [asked?.run]);
  if (!asked || !row) return null;
  const v = tried && { run: String(tried.run), machine: tried.machine, at: when(tried.start_ms), off: when(tried.off_ms ?? tried.end_ms) };
  return html`<section class="trial" aria-labelledby="today-trial"><h3 id="today-trial" tabindex="-1" ref=${head}>${t('today.plan_trying', { run: String(asked.run), member: row.member })}</h3>
    <${Trouble} error=${error} />
    <div role="status" class="said">${!tried && !error && html`<p class="quiet">${t('today.plan_asks')}</p>`}
      ${tried && v && html`<p><strong>${t('today.plan_place', v)}</strong>${tried.start_ms - tried.asked_ms >= 300000 ? ` ${t('today.plan_not_before', { asked: when(tried.asked_ms) })}` : ''}</p>
        <p>${costWords(tried)}${tried.late_hours > 0 ? ` ${t('today.plan_late', { hours: number(tried.late_hours, 1) })}` : ''}${tried.change ? ` ${t('today.plan_change')}` : ''}</p>
        ${tried.moves.length > 0 ? html`<ul>${tried.moves.map((m) => html`<li key=${m.run}>${moveWords(m)}</li>`)}</ul>` : html`<p class="quiet">${t('today.plan_nothing_moves')}</p>`}`}</div>
    ${row.machines.length > 1 && html`<${Choice} label=${t('kit.machine')} value=${asked.machine} onChange=${(/** @type {string} */ machine) => trial.to({ machine })} options=${row.machines.map((m) => ({ value: m, label: m }))} />`}
    <div class="acts"><${Button} onPress=${() => onNudge(-1, 0)}>${t('today.plan_earlier')}<//><${Button} onPress=${() => onNudge(1, 0)}>${t('today.plan_later')}<//>
      <${Button} kind="main" disabled=${!tried} onPress=${() => tried && trial.keep(tried)}>${t('today.plan_keep')}<//><${Button} kind="quiet" hotkey="Esc" onPress=${trial.give}>${t('today.plan_give_up')}<//></div>
    <p class="quiet">${t('today.plan_hint')}</p></section>`;
}

/** The queue by start. @param {{plan: Plan, trial: ReturnType<typeof useTrial>}} p */
export function Queue({ plan, trial }) {
  const rows = [...plan.runs].sort((a, b) => (a.placed ? a.start_ms : Infinity) - (b.placed ? b.start_ms : Infinity) || a.run - b.run);
  const p = plan.points_1000, far = p.bound > 0 ? number((100 * (p.cost - p.bound)) / p.bound, 1) : '100';
  return html`<section class="queue" aria-labelledby="today-queue"><h2 id="today-queue" tabindex="-1">${t('today.queue')}<span class="count">${rows.length ? t('today.queue_n', { n: rows.length }) : ''}</span></h2>
    ${rows.length === 0 && plan.left_out.length === 0 && html`<p class="quiet">${t('today.queue_empty')}</p>`}
    ${rows.length > 0 && html`<ol>${rows.map((r) => html`<li key=${r.run} class=${trial.asked?.run === r.run ? 'tried' : ''}>
      <span class="at">${r.placed ? html`<time dateTime=${new Date(r.start_ms).toISOString()}>${when(r.start_ms)}</time>` : t('today.queue_no_place')}</span>
      <strong class="where">${r.placed ? r.machine : ''}</strong>
      <div class="what"><p><a href=${`/out?run=${r.run}&member=${encodeURIComponent(r.member)}`}>${t('today.queue_run', { run: String(r.run), member: r.member })}</a>${r.file ? ` \u00b7 ${r.file}` : ''}</p>
        <p class="quiet">${[r.promised_ms !== null && t(r.promised_machine ? 'today.queue_promised_on' : 'today.queue_promised', { at: when(r.promised_ms), machine: r.promised_machine }), r.moved && html`<span class="moved">${t('today.queue_moved')}</span>`,
          r.placed && t('today.queue_off', { at: when(r.off_ms ?? r.end_ms) }), r.due_ms !== null && t('today.queue_due', { at: when(r.due_ms) }), r.placed && r.late_hours > 0 && html`<span class="moved">${t('today.plan_late', { hours: number(r.late_hours, 1) })}</span>`]
          .filter(Boolean).map((x, i) => html`${i > 0 ? ' \u00b7 ' : ''}${x}`)}</p></div>
      <div class="acts"><${Button} onPress=${() => trial.take(r)} label=${t('today.queue_move_run', { run: String(r.run) })}>${t(r.promised_ms === null && r.placed ? 'today.queue_promise' : 'today.queue_move')}<//></div></li>`)}</ol>
      <p class="quiet">${p.best ? t('today.queue_best') : t('today.queue_within', { percent: far })}</p>`}
    <${Lacks} lacks=${plan.cannot_be_met} runs=${plan.runs} />
    ${plan.left_out.map((l) => html`<p key=${l.run} class="quiet">${t('today.queue_left_out', { run: String(l.run), member: l.member, says: l.says })}</p>`)}</section>`;
}
