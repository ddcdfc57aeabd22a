// The machines in the best order, why each, and what must be decided before one goes out. SPDX-License-Identifier: Apache-2.0
import { Button, Check, Choice, clock, errorAt, errorElsewhere, Field, Findings, grams, html, may, metres, money, Progress, span, t, Trouble, useEffect, useKeys, useRef, useState, Verdict, when } from '../../kit/index.js';
import { StickLook } from './stick.js';

/** Why it stands where it stands. @param {any} o @param {number} now */
function reasons(o, now) {
  const list = [t('out.free_now')];
  for (const s of o.spools) {
    const v = { spool: s.spool ?? '', material: s.material ?? '', um: metres(s.um, 2), left: s.left_mg === null ? '' : grams(s.left_mg) };
    list.push(t(!s.spool ? 'out.spool_unknown' : s.left_mg === null ? 'out.spool_unweighed' : o.spool_enough ? 'out.spool_enough' : 'out.spool_short', v));
  }
  list.push(o.stick ? t(!o.mount ? 'out.stick_there' : o.mounted ? 'out.stick_in' : 'out.stick_not_in', { stick: o.stick, mount: o.mount ?? '' }) : t('out.no_stick'));
  list.push(t(o.from === 'model' ? 'out.ends_model' : 'out.ends', { at: when(o.end_ms, now), low: clock(o.end_low_ms), high: clock(o.end_high_ms) }));
  return list;
}

/** Why a machine can't go out now. @param {any} o @param {number} now */
function whyNot(o, now) {
  if (o.where === 'any_of') return t('out.why_permission', { permission: o.permission ?? '' });
  if (o.where !== 'machine') return o.says;
  const known = ['out', 'waiting', 'tagged-out', 'resting', 'retired'].includes(o.state);
  if (!known) return o.says;
  return t(o.state === 'out' && o.ends_ms > now ? 'out.why_until' : `out.why_${o.state.replace('-', '_')}`, { run: String(o.run ?? ''), at: o.ends_ms ? when(o.ends_ms, now) : '', reason: o.reason ?? '' });
}

/** @param {{now: number, offers: any[], chosen: string, onChoose: (machine: string) => void}} p */
function Others({ now, offers, chosen, onChoose }) {
  return html`<section aria-labelledby="others-head"><h2 id="others-head">${t('out.machines')}</h2><ol class="offers">${offers.map((o, i) => html`<li key=${o.machine}>
    ${o.may ? html`<button type="button" class="offer ${o.verdict}" aria-pressed=${o.machine === chosen ? 'true' : 'false'} onClick=${() => onChoose(o.machine)}>
      <strong>${o.machine}</strong> <${Verdict} verdict=${o.verdict} /> <span class="quiet">${t('out.row', { length: metres(o.um, 2), span: span(o.seconds * 1000), end: clock(o.end_ms) })}</span> <kbd aria-hidden="true">${i + 1}</kbd></button>`
    : html`<div class="offer can-not"><strong>${o.machine}</strong> <span class="quiet">${t('out.can_not')} ${whyNot(o, now)}</span></div>`}</li>`)}</ol></section>`;
}

/** Who pays what nothing covers. @param {{o: any, who: any, v: any, set: (k: string) => (x: any) => void, error: Error|null}} p */
function Allowance({ o, who, v, set, error }) {
  const desk = o.need_um <= who.desk_may_waive_um, keeper = may('keeper');
  const options = [
    ...(desk || keeper ? [{ value: 'waive', label: t('out.pay_waive') }] : []),
    ...(who.funds.length ? [{ value: 'fund', label: t('out.pay_fund') }] : []),
    ...(who.beyond === 'charge' ? [{ value: 'charge', label: t('out.pay_charge') }] : []),
    ...(who.beyond !== 'refuse' && keeper ? [{ value: 'gift', label: t('out.pay_gift') }] : []),
  ];
  return html`<div class="decide stack"><h3>${t('out.allowance')}</h3><p>${t('out.allowance_lead', { need: metres(Math.ceil(o.need_um / 10000) * 10000, 2) })}</p>
    ${!desk && !keeper && html`<p class="quiet">${t('out.keeper_waives', { most: metres(who.desk_may_waive_um, 0) })}</p>`}
    ${options.length > 0 && html`<${Choice} label=${t('out.pay')} stack value=${v.pay} onChange=${set('pay')} options=${options} />`}
    ${v.pay === 'waive' && html`<${Field} label=${t('out.waive_reason')} required value=${v.waive_reason} onInput=${set('waive_reason')} maxlength=${300} error=${errorAt(error, 'waive_reason') ?? errorAt(error, 'waive_um')} />`}
    ${v.pay === 'fund' && html`<${Choice} label=${t('out.fund')} stack value=${v.fund} onChange=${set('fund')} options=${who.funds.map((/** @type {any} */ f) => ({ value: f.fund, label: f.fund, hint: f.left_minor === undefined || f.left_minor === null ? f.title : t('out.fund_left', { money: money(f.left_minor, f.currency) }) }))} />`}</div>`;
}

/** One machine, to be confirmed. @param {{o: any, data: any, error: Error|null, onConfirm: (offer: any, decided: any) => Promise<void>}} p */
function Chosen({ o, data, error, onConfirm }) {
  const [v, setV] = useState(/** @type {Record<string, any>} */ ({ reason: '', pay: '', waive_reason: '', fund: data.who.funds[0]?.fund ?? '', stick: o.stick ? (o.mount ? 'write' : 'take') : 'none', folder: false }));
  const set = (/** @type {string} */ k) => (/** @type {any} */ x) => setV({ ...v, [k]: x });
  const asks = /** @type {string[]} */ (o.asks), leave = asks.includes('leave'), asked = asks.includes('verdict'), short = asks.includes('allowance');
  const button = useRef(/** @type {HTMLDivElement|null} */ (null));
  useEffect(() => { // what must be decided first, else the button: Enter is enough
    const form = button.current?.closest('form');
    /** @type {HTMLElement|null|undefined} */ (form?.querySelector('.decide input') ?? form?.querySelector('button[type=submit]'))?.focus();
  }, [o.machine]);
  const blocked = leave && !may('keeper');
  const ready = !blocked && (!(leave || asked) || v.reason.trim()) && (!short || (v.pay === 'waive' ? v.waive_reason.trim() : v.pay));
  const confirm = () => (ready ? onConfirm(o, {
    ...(leave || asked ? { yes: true, reason: v.reason.trim() } : {}),
    ...(short && v.pay === 'waive' ? { waive_um: o.need_um, waive_reason: v.waive_reason.trim() } : {}), ...(short && v.pay === 'fund' ? { fund: v.fund } : {}),
    ...(short && (v.pay === 'charge' || v.pay === 'gift') ? { beyond: v.pay } : {}),
    ...(v.stick === 'none' ? { stick: 'none' } : {}), ...(v.stick === 'take' ? { write: false } : {}), ...(v.stick === 'write' && v.folder ? { folder: true } : {}) }) : Promise.resolve());
  const fields = ['reason', 'waive_reason', 'waive_um', 'stick'];
  return html`<section class="chosen-machine ${o.verdict}" aria-labelledby="chosen-head"><h2 id="chosen-head">${t('out.goes_out', { machine: o.machine })}</h2>
    <form class="stack" novalidate onSubmit=${(/** @type {Event} */ e) => { e.preventDefault(); void confirm(); }}>
    <p class="row"><${Verdict} verdict=${o.verdict} big /> <span class="big-time">${metres(o.um, 2)}</span> <span class="big-time">${grams(o.mg)}</span> <span class="big-time">${span(o.seconds * 1000)}</span></p>
    <ul class="reasons">${reasons(o, data.now_ms).map((r) => html`<li key=${r}>${r}</li>`)}</ul>
    ${o.part_of && html`<p class="trouble">${t('out.part_of', { run: o.part_of })}</p>`}
    <${Trouble} error=${errorElsewhere(error, fields)} />
    ${(leave || asked) && html`<div class="decide stack"><h3>${t(leave ? 'out.stop' : 'out.ask')}</h3><${Findings} findings=${o.findings.filter((/** @type {any} */ f) => f.grade !== 'note')} />
      ${blocked ? html`<p>${t('out.stop_lead')}</p>` : html`<${Field} label=${t(leave ? 'out.leave_reason' : 'out.ask_reason')} hint=${t('out.reason_hint')} required value=${v.reason} onInput=${set('reason')} maxlength=${300} error=${errorAt(error, 'reason')} />`}</div>`}
    ${short && html`<${Allowance} o=${o} who=${data.who} v=${v} set=${set} error=${error} />`}
    ${o.stick && html`<${Choice} label=${t('out.stick', { stick: o.stick })} value=${v.stick} onChange=${set('stick')} options=${[...(o.mount ? [{ value: 'write', label: t('out.stick_write') }] : []), { value: 'take', label: t(o.mount ? 'out.stick_leave' : 'out.stick_take') }, { value: 'none', label: t('out.stick_none') }]} />
      ${errorAt(error, 'stick') && html`<${Trouble} error=${error} />`}
      ${v.stick === 'write' && !o.mounted && html`<${Check} label=${t('out.folder', { mount: o.mount })} hint=${t('out.folder_hint')} value=${v.folder} onChange=${set('folder')} />`}`}
    <div class="row" ref=${button}><${Button} kind="main" type="submit" disabled=${!ready}>${t(v.stick === 'write' ? 'out.confirm_write' : 'out.confirm', { machine: o.machine })}<//> ${!blocked && html`<span class="quiet" role="status">${t(ready ? 'out.by_enter' : 'out.first_decide')}</span>`}</div></form>
    ${o.mount && v.stick === 'write' && html`<${StickLook} machine=${o.machine} mounted=${o.mounted} />`}
    ${o.findings.some((/** @type {any} */ f) => f.grade === 'note') && html`<details><summary>${t('out.notes')}</summary><${Findings} findings=${o.findings.filter((/** @type {any} */ f) => f.grade === 'note')} /></details>`}</section>`;
}

/** @param {{state: {data: any, error: Error|null}, error: Error|null, onConfirm: (offer: any, decided: any) => Promise<void>, onAgain: () => void}} p */
export function Offers({ state, error, onConfirm, onAgain }) {
  const [picked, setPicked] = useState('');
  const offers = /** @type {any[]} */ (state.data?.offers ?? []), can = offers.filter((o) => o.may);
  const o = can.find((x) => x.machine === picked) ?? can[0];
  useKeys(can.slice(0, 9).map((x, i) => ({ key: String(i + 1), says: t('out.key_machine', { machine: x.machine }), run: () => setPicked(x.machine) })));
  if (state.error) return html`<${Trouble} error=${state.error} onAgain=${onAgain} />`;
  if (!state.data || state.data.state !== 'done') {
    return html`<section><${Progress} label=${t('out.proving')} value=${state.data?.progress} says=${state.data?.state === 'waits' ? t('out.queue', { n: (state.data.position ?? 1) - 1 }) : undefined} /></section>`;
  }
  const left = state.data.who.balance?.left_um, out = state.data.who.runs_out ?? [];
  return html`<p class="account">${left === undefined ? t('out.no_term') : t('out.left', { left: metres(left, 1), waived: metres(state.data.who.balance.waivers_left_um ?? 0, 1) })}${out.length > 0 ? ` ${t('out.holds', { n: out.length, list: out.map((/** @type {any} */ r) => r.machine).join(', ') })}` : ''}</p>
    ${o ? html`<${Chosen} key=${o.machine} o=${o} data=${state.data} error=${error} onConfirm=${onConfirm} />` : html`<section><h2>${t('out.none')}</h2><p>${t('out.none_more')}</p><${Trouble} error=${error} /></section>`}
    <${Others} now=${state.data.now_ms} offers=${offers} chosen=${o?.machine ?? ''} onChoose=${setPicked} />`;
}
