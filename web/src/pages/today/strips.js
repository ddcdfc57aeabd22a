// The day as strips: what each machine does, against desk hours; today and the next days. SPDX-License-Identifier: Apache-2.0
import { Choice, clock, day as dayWords, html, number, Strip, t, Trouble, useEffect, useNow, useState, when } from '../../kit/index.js';
import { serverNow } from '../../kit/day.js';
import { nudged, Queue, TrialPanel, usePlan, useTrial } from './trial.js';

/** @typedef {import('../../kit/day.js').Day} Day */
/** @typedef {import('../../kit/day.js').Stretch} Stretch */
const looks = /** @type {Record<string, import('../../kit/strip.js').Span['kind']>} */ ({ run: 'run', out: 'run', watch: 'watch', done: 'done', failed: 'out', full: 'wait', promised: 'promised', planned: 'planned', tagged: 'out', resting: 'care' });
const hour = 3600000;

/** free: when the machine is free again, as far as anybody knows: what stands full stays so until then. @param {Stretch} s @param {string} machine @param {number} now @param {number} end @param {number|null} free */
function spanOf(s, machine, now, end, free) {
  const open = s.until_ms === null, to = s.until_ms ?? (s.kind === 'tagged' || s.kind === 'resting' ? end : Math.max(now, s.from_ms + 60000, s.kind === 'full' ? free ?? 0 : 0));
  const v = { machine, run: String(s.run ?? ''), member: s.member ?? '', from: when(s.from_ms), to: open ? t('kit.end_unknown') : when(to), reason: s.reason ?? '' };
  const word = t(`today.span_${s.kind}`, v);
  const range = s.low_ms !== undefined && s.high_ms !== undefined && s.high_ms - s.low_ms > 60000 ? ` ${t('today.more_range', { low: clock(s.low_ms), high: clock(s.high_ms) })}` : '';
  return { key: `${s.kind}-${s.from_ms}`, from: s.from_ms, to, open, label: word, kind: looks[s.kind] ?? 'run', thin: s.kind === 'watch', low: s.low_ms, high: s.high_ms,
    href: s.run && s.kind !== 'promised' ? `/book?run=${s.run}` : s.kind === 'promised' ? `/out?run=${s.run}` : `/machine/${encodeURIComponent(machine)}`,
    says: `${machine}: ${word}, ${t('today.span_time', v)}.${range}${s.alone ? ` ${t('today.more_alone')}` : ''}` };
}

/** Runs of the plan on one machine, one of them perhaps where it is tried. @param {import('./trial.js').Plan} plan @param {ReturnType<typeof useTrial>} trial @param {string} machine */
function plannedOn(plan, trial, machine) {
  const said = trial.asked && trial.tried?.run === trial.asked.run ? trial.tried : null;
  /** @type {import('../../kit/strip.js').Span[]} */ const spans = [];
  /** @type {{from: number, to: number}[]} */ const was = [];
  for (const r of plan.runs) {
    const held = trial.asked?.run === r.run, move = held ? said : said?.moves.find((m) => m.run === r.run && m.placed), to = move ?? (r.placed ? r : null);
    if (move && r.placed && r.machine === machine && (move.machine !== machine || move.start_ms !== r.start_ms)) was.push({ from: r.start_ms, to: r.end_ms });
    if (!to || to.machine !== machine) continue;
    const v = { run: String(r.run), member: r.member, from: when(to.start_ms), to: when(to.end_ms) }, told = r.promised_ms !== null && !r.moved;
    const late = !move && r.late_hours > 0 ? `, ${t('today.plan_late', { hours: number(r.late_hours, 1) })}` : '', label = t(held ? 'today.span_tried' : told ? 'today.span_promised_run' : 'today.span_planned', v) + late, range = held && said ? said.end_range_ms : r.end_range_ms;
    spans.push({ key: `plan-${r.run}`, from: to.start_ms, to: to.end_ms, label, kind: told && !held ? 'promised' : 'planned', held, take: () => trial.take(r), ...(move && !held ? {} : { low: range[0], high: range[1] }),
      says: `${machine}: ${label}, ${t('today.span_time', v)}. ${t(held ? 'today.span_held' : 'today.span_take')}` });
  }
  return { spans: spans.sort((x, y) => x.from - y.from), was };
}

/** @param {{day: Day}} p */
export function Strips({ day }) {
  useNow(30000);
  const now = serverNow();
  const [which, setWhich] = useState(0);
  const { plan, error, again, anew } = usePlan(), trial = useTrial(plan, anew), at = trial.tried?.start_ms;
  useEffect(() => { // what is tried on another day is shown there
    const i = at === undefined ? -1 : day.days.findIndex((x) => at >= x.from_ms && at < x.until_ms);
    if (i >= 0) setWhich(i);
  }, [at]);
  const nudge = (/** @type {number} */ steps, /** @type {number} */ rows) => {
    const { asked, tried } = trial, row = plan?.runs.find((r) => r.run === asked?.run);
    if (!asked || !plan || !row) return;
    if (steps !== 0) return void trial.to({ at: nudged(plan, asked, tried?.run === asked.run ? tried : null, steps) });
    const names = day.strips.map((r) => r.machine).filter((m) => row.machines.includes(m));
    trial.to({ machine: names[Math.min(Math.max(0, names.indexOf(asked.machine) + rows), names.length - 1)] });
  };
  const drop = (/** @type {any} */ span, /** @type {string} */ machine, /** @type {number} */ to) => {
    const row = plan?.runs.find((r) => `plan-${r.run}` === span.key);
    if (row && plan) trial.take(row, { machine, at: Math.max(to, plan.from_ms) });
  };
  const d = day.days[Math.min(which, day.days.length - 1)];
  if (!d) return null;
  const open = d.hours.length ? d.hours[0].from_ms : d.from_ms + 8 * hour, close = d.hours.length ? d.hours[d.hours.length - 1].until_ms : d.from_ms + 20 * hour;
  const is = now >= d.from_ms && now < d.until_ms; // early and late hours only where something is in them
  const planned = plan ? Object.fromEntries(day.strips.map((r) => [r.machine, plannedOn(plan, trial, r.machine)])) : {};
  const edges = [...day.strips.flatMap((r) => r.spans), ...Object.values(planned).flatMap((x) => x.spans.map((s) => ({ kind: 'planned', from_ms: s.from, until_ms: s.to })))].filter((s) => !['tagged', 'resting', 'full'].includes(s.kind) && s.from_ms < d.until_ms && (s.until_ms ?? now) > d.from_ms).flatMap((s) => [Math.max(s.from_ms, d.from_ms), Math.min(s.until_ms ?? now, d.until_ms)]);
  const from = Math.max(d.from_ms, Math.floor((Math.min(open, ...(is ? [now] : []), ...edges) - hour / 2) / hour) * hour);
  const to = Math.min(d.until_ms, Math.ceil((Math.max(close, ...(is ? [now] : []), ...edges) + hour / 2) / hour) * hour);
  const rows = day.strips.map((r) => ({ key: r.machine, label: r.machine,
    spans: [...r.spans.filter((s) => s.kind !== 'promised' || !plan?.runs.some((x) => x.run === s.run)).map((s) => spanOf(s, r.machine, now, to, r.free_ms)), ...(planned[r.machine]?.spans ?? [])], was: planned[r.machine]?.was,
    marks: r.hands.map((m) => ({ at: m.at_ms, bad: !m.staffed, says: `${r.machine}: ${t(m.staffed ? 'today.hands' : 'today.hands_alone', { at: clock(m.at_ms), run: String(m.run) })}` })) }));
  const kinds = ['run', 'watch', 'done', 'full', 'promised', 'planned', 'tagged'];
  const end = (/** @type {KeyboardEvent} */ e) => { if (e.key === 'Escape' && trial.asked) { e.preventDefault(); trial.give(); } };
  return html`<div class="planned" onKeyDown=${end}><section class="day-strips" aria-labelledby="today-strips"><div class="head"><h2 id="today-strips">${t('today.strips')}</h2>
      <${Choice} label=${t('today.which_day')} hideLabel value=${which} onChange=${setWhich} options=${day.days.map((x, i) => ({ value: i, label: i === 0 ? t('today.day_today') : i === 1 ? t('today.day_tomorrow') : dayWords(x.from_ms) }))} /></div>
    <p class="quiet">${d.hours.length ? t('today.hours', { hours: d.hours.map((h) => `${clock(h.from_ms)}\u2013${clock(h.until_ms)}`).join(', ') }) : t('today.closed')}</p>
    <${Strip} label=${t('today.strips_of', { day: dayWords(d.from_ms) })} from=${from} to=${to} rows=${rows} hours=${d.hours.map((h) => ({ from: h.from_ms, to: h.until_ms }))} now=${is ? now : undefined} step=${300000}
      onDrop=${drop} onNudge=${nudge} onKeep=${() => trial.tried && trial.keep(trial.tried)} />
    ${plan && trial.asked && html`<${TrialPanel} plan=${plan} trial=${trial} onNudge=${nudge} />`}
    <ul class="legend" aria-label=${t('today.legend')}>${kinds.map((k) => html`<li key=${k}><svg width="26" height="14" viewBox="0 0 26 14" aria-hidden="true" class="strip"><rect class="span ${looks[k]}" x="1" y=${k === 'watch' ? 4 : 1} width="24" height=${k === 'watch' ? 6 : 12} rx="2" /></svg> ${t(`today.legend_${k}`)}</li>`)}
      <li><svg width="26" height="14" viewBox="0 0 26 14" aria-hidden="true" class="strip"><g class="mark-at bad"><path d="M13 1l6 6-6 6-6-6z" /><path class="cross" d="M10 4l6 6m0-6l-6 6" /></g></svg> ${t('today.legend_hands')}</li>
      <li><svg width="26" height="14" viewBox="0 0 26 14" aria-hidden="true" class="strip"><rect class="hours edge" x="1" y="1" width="24" height="12" /></svg> ${t('today.legend_free')}</li></ul></section>
    <${Trouble} error=${error} onAgain=${again} />${plan && html`<${Queue} plan=${plan} trial=${trial} />`}</div>`;
}
