// One line of what is due: what it says, where it leads, what can be done at once. SPDX-License-Identifier: Apache-2.0
import { Button, clock, day, dayKey, grams, html, number, span, t, useNow, when, countDown, has } from '../../kit/index.js';
import { serverNow } from '../../kit/day.js';

/** @typedef {import('../../kit/day.js').Due} Due */

/** The key of each act, and of the way to a form. */
export const keyOf = /** @type {Record<string, string>} */ ({ good: 'g', poor: 'p', start: 'c', ended: 'e', shelf: 's', member: 'm', waste: 'w', call: 'c', 'call-again': 'c', 'no-show': 'n', declined: 'd', dried: 'd', collected: 'k', remind: 'r', gap: 'g', open: 'o', failed: 'f' });
/** Acts that ask something before they are booked. */
export const asks = ['poor', 'start'];

const enc = encodeURIComponent;
/** Where the form is, with the thing chosen. @type {Record<string, (a: any) => string>} */
const forms = {
  back: (a) => `/back?run=${a.run}`,
  promise: (a) => `/out?run=${a.run}&member=${enc(a.member)}`,
  'ticket-called': (a) => `/out?ticket=${a.ticket}&member=${enc(a.member)}`,
  'ticket-next': () => '/tickets',
  'ticket-lapsed': () => '/tickets',
  low: (a) => `/spools?spool=${enc(a.spool)}`,
  dry: (a) => `/spools?spool=${enc(a.spool)}`,
  overdue: (a) => `/shelf?run=${a.run}`,
  permit: (a) => `/person/${enc(a.member)}`,
  permits: (a) => `/people${a.permission ? `?permission=${enc(a.permission)}` : ''}`,
  tagged: (a) => `/machine/${enc(a.machine)}`,
  resting: (a) => `/machine/${enc(a.machine)}`,
  wrong: (a) => `/machine/${enc(a.machine)}`,
  gap: (a) => `/machine/${enc(a.machine)}`,
  signoff: (a) => `/training?study=${enc(a.study)}`,
  unused: () => '/training',
  care: (a) => `/care?machine=${enc(a.machine)}`,
  trouble: (a) => `/why?trouble=${a.trouble}`,
  hands: (a) => `/machine/${enc(a.machine)}`,
  'round-open': () => '/round',
  'round-opening': () => '/round',
  'round-closing': () => '/round',
  messages: () => '/messages',
};
/** @param {Due} d @returns {string|undefined} */
export const formOf = (d) => forms[d.kind]?.(d.about);
/** A run that stopped goes to the form of a failure. @param {Due} d */
export const failedOf = (d) => (/^(watch|end)/.test(d.kind) ? `/round?failed=${enc(d.about.machine)}` : undefined);

/** Values as a sentence takes them. @param {Due} d */
export function values(d) {
  const a = d.about;
  /** @type {Record<string, any>} */
  const v = { ...a, run: String(a.run ?? ''), ticket: String(a.ticket ?? ''), place: String(a.place ?? '') };
  if (a.left_mg !== undefined) v.left = grams(a.left_mg, 0);
  if (a.below_c !== undefined) v.below = `${number(a.below_c)}\u202f\u00b0C`;
  for (const key of ['opens_ms', 'cool_ms', 'end_ms', 'low_ms', 'high_ms', 'since_ms', 'until_ms', 'kept_until_ms', 'taken_ms', 'ended_ms', 'promised_ms', 'begun_ms']) {
    if (typeof a[key] === 'number') v[key.replace('_ms', '')] = when(a[key]);
  }
  if (d.kind === 'wrong') v.points = a.points.map((/** @type {string} */ p) => t(`today.point_${p}`)).join(', ');
  if (a.kind) v.kind = t(`today.round_${a.kind}`);
  return v;
}
/** @param {Due} d */
export const lineText = (d) => t(`today.line_${d.kind === 'permits' && d.about.permission ? 'permits_of' : d.kind === 'off' && d.about.failed ? 'off_failed' : d.kind === 'promise' && d.about.machine ? 'promise_on' : d.kind}`, values(d));

/** What stands below the line, in smaller letters. @param {Due} d */
function moreOf(d) {
  const v = values(d), a = d.about, list = [];
  if (/^end/.test(d.kind)) {
    if (a.high_ms - a.low_ms > 60000) list.push(t('today.more_range', { low: clock(a.low_ms), high: clock(a.high_ms) }));
    if (a.from) list.push(t(a.from === 'model' ? 'today.from_model' : a.from === "this machine's runs" ? 'today.from_own' : 'today.from_runs'));
    if (d.kind === 'end-alone') list.push(t(a.opens_ms ? 'today.more_opens' : 'today.more_alone', v));
  } else if (d.kind === 'off') list.push(t('today.more_off', v));
  else if (d.kind === 'hands' && a.staffed === false) list.push(t('today.more_hands_alone'));
  else if (d.kind === 'tagged' || d.kind === 'resting') list.push([v.since && t('today.more_since', v), a.reason].filter(Boolean).join(': '));
  else if (d.kind === 'low') list.push([a.material, a.colour].filter(Boolean).join(', '));
  else if (d.kind === 'wrong') list.push([v.points, a.note].filter(Boolean).join('; '));
  else if (d.kind === 'ticket-called') list.push(t('today.more_until', v));
  else if (d.kind === 'permits' && a.more) list.push(t('today.more_more'));
  return list.filter(Boolean).join(' \u00b7 ');
}

/** Ticks by itself, and is not read aloud. @param {{to: number, watch?: boolean}} p */
export function Left({ to, watch }) {
  useNow(watch ? 1000 : 15000);
  const left = to - serverNow();
  if (watch && left >= 0 && left < 5 * 3600000) return html`<span class="left watch" aria-hidden="true">${countDown(left)}</span>`;
  if (Math.abs(left) > 20 * 3600000) return null;
  return html`<span class="left" aria-hidden="true">${left < 0 ? t('today.since', { span: span(left) }) : t('today.in', { span: span(left) })}</span>`;
}

/** @param {{d: Due, chosen: boolean, busy: boolean, onDo: (word: string) => any}} p */
export function Line({ d, chosen, busy, onDo }) {
  const other = d.at_ms !== null && dayKey(d.at_ms) !== dayKey(serverNow());
  const more = moreOf(d), form = formOf(d), failed = failedOf(d), timed = d.at_ms !== null;
  const acts = d.acts ?? [];
  return html`<span class="at">${timed && html`<time dateTime=${new Date(/** @type {number} */ (d.at_ms)).toISOString()}>${other && html`<small>${day(/** @type {number} */ (d.at_ms))}</small> `}${clock(/** @type {number} */ (d.at_ms))}</time>
      <${Left} to=${d.at_ms} watch=${d.kind === 'watch' || d.kind === 'ticket-called'} />`}</span>
    <p class="kind ${d.kind}">${t(`today.kind_${d.kind}`)}</p><div class="what"><p>${lineText(d)}</p>${more && html`<p class="more quiet">${more}</p>`}</div>
    <div class="acts">${acts.map((a, i) => html`<${Button} key=${a.word} kind=${i === 0 ? (chosen ? 'main' : 'plain') : 'quiet'} disabled=${busy} hotkey=${chosen ? keyOf[a.word] : undefined}
        onPress=${() => onDo(a.word)}>${actText(a)}<span class="only-read"> \u2013 ${lineText(d)}</span><//>`)}
      ${failed && html`<${Button} kind="quiet" href=${failed} hotkey=${chosen ? keyOf.failed : undefined}>${t('today.do_failed')}<span class="only-read"> \u2013 ${lineText(d)}</span><//>`}
      ${form && html`<${Button} kind=${acts.length ? 'quiet' : chosen ? 'main' : 'plain'} href=${form} hotkey=${chosen ? keyOf.open : undefined}>${formText(d)}<span class="only-read"> \u2013 ${lineText(d)}</span><//>`}</div>`;
}
/** @param {{word: string, body: any}} a */
export const actText = (a) => t(`today.do_${a.word}`, { place: String(a.body.place ?? '') });
/** @param {Due} d */
const formText = (d) => t(has(`today.form_${d.kind}`) ? `today.form_${d.kind}` : 'today.do_open');
