// What a member has left: the term, permissions, waivers. SPDX-License-Identifier: Apache-2.0
import { Button, day, html, may, metres, number, session, shop, t, Trouble, useAsk, useState, when } from '../../kit/index.js';
import { ActDialog, PlainBar } from '../people/acting.js';

/** The term as a bar, with figures and words. own: said to the member. @param {{balance: any, own?: boolean}} p */
export function BalanceBar({ balance: b, own }) {
  if (!b?.term) return html`<p class="quiet">${t('person.no_term')}</p>`;
  const whole = Math.max(b.allowance_um, b.charged_um, 1), over = b.left_um < 0;
  return html`<${PlainBar} parts=${[{ share: b.charged_um / whole, kind: 'used' }]} says=${html`<strong>${over ? t('person.over', { over: metres(-b.left_um) }) : t(own ? 'person.left_own' : 'person.left', { left: metres(b.left_um) })}</strong> ${t('person.used', { used: metres(b.charged_um), all: metres(b.allowance_um, 0) })}`} />
    <p>${t('person.term_until', { term: b.term, day: day(b.term_until_ms - 1) })}${b.one_run_um ? ` ${t('person.one_run', { most: metres(b.one_run_um, 0) })}` : ''}</p>
    <p>${b.waivers_left_um > 0 ? t('person.waivers_left', { left: metres(b.waivers_left_um) }) : html`<span class="quiet">${t('person.waivers_left_none')}</span>`}</p>`;
}

/** @param {{member: string, balance: any}} p */
export function Balance({ balance }) {
  return html`<section class="card" aria-labelledby="p-left"><h2 id="p-left">${t('person.allowance')}</h2><${BalanceBar} balance=${balance} /></section>`;
}

/** @param {{member: string, permits: any[], book: (name: string, body: any, says: string) => Promise<any>}} p */
export function Permits({ member, permits, book }) {
  const [granting, setGranting] = useState(false);
  const held = new Set(permits.map((p) => p.permission)), all = shop.value?.permissions ?? [];
  const implied = all.filter((/** @type {any} */ p) => held.has(p.name)).flatMap((/** @type {any} */ p) => p.implies).filter((/** @type {string} */ n) => !held.has(n));
  return html`<section class="card" aria-labelledby="p-permits"><div class="section-head"><h2 id="p-permits">${t('person.permissions')}</h2><${Button} onPress=${() => setGranting(true)}>${t('person.grant')}<//></div>
    ${permits.length === 0 ? html`<p class="quiet">${t('person.no_permits')}</p>` : html`<ul class="acts-list">${permits.map((p) => html`<li key=${p.permit}><div><p><strong>${p.permission}</strong> ${p.until_ms ? t('people.until', { day: day(p.until_ms - 1) }) : t('person.without_end')}</p><p class="quiet">${t('person.granted', { by: p.given_by, at: when(p.given_ms) })}</p></div>
      <div class="acts"><${Button} kind="quiet" label=${t('person.withdraw_which', { permission: p.permission })} onPress=${() => book('permit-withdraw', { member, permission: p.permission }, t('person.withdrawn', { permission: p.permission, member }))}>${t('person.withdraw')}<//></div></li>`)}</ul>`}
    ${implied.length > 0 && html`<p class="quiet">${t('person.implied', { permissions: implied.join(', ') })}</p>`}
    ${granting && html`<${ActDialog} title=${t('person.grant')} act="permit-grant" fixed=${{ member }} press=${t('person.grant')} onClose=${() => setGranting(false)} says=${(/** @type {any} */ b) => t('person.grant_done', { permission: b.permission, member })}
      fields=${[{ name: 'permission', label: t('person.permission'), kind: 'choice', start: all.find((/** @type {any} */ p) => !held.has(p.name))?.name ?? all[0]?.name, options: all.map((/** @type {any} */ p) => ({ value: p.name, label: p.name })) }, { name: 'until', label: t('person.until'), kind: 'day', hint: t('person.grant_until') }]} />`}</section>`;
}

/** @param {{member: string, book: (name: string, body: any, says: string) => Promise<any>}} p */
export function Waivers({ member, book }) {
  const { data, error, again } = useAsk('waivers', { member, limit: 20 }, { concerns: ['waiver-', 'run-', 'undo'] });
  const [giving, setGiving] = useState(false);
  const [taking, setTaking] = useState(/** @type {any} */ (null));
  const most = shop.value?.rules.desk_may_waive_m ?? 0;
  return html`<section aria-labelledby="p-waivers"><div class="section-head"><h2 id="p-waivers">${t('person.waivers')}</h2>${(may('keeper') || most > 0) && html`<${Button} onPress=${() => setGiving(true)}>${t('person.waive')}<//>`}</div>
    <${Trouble} error=${error} onAgain=${again} />
    ${data && (data.waivers.length === 0 ? html`<p class="quiet">${t('person.no_waivers')}</p>` : html`<ul class="acts-list">${data.waivers.map((/** @type {any} */ w) => html`<li key=${w.waiver}><div><p><strong>${metres(w.um)}</strong> ${w.state === 'holds' ? t('person.waiver_holds', { left: metres(w.left_um), day: w.until_ms ? day(w.until_ms - 1) : '–' }) : t(`book-words.waiver_${w.state}`)}</p><p class="quiet">${t('person.waiver_by', { by: w.given_by, at: when(w.given_ms), reason: w.reason })}${w.sha256 ? ` ${t('person.waiver_job')}` : ''}</p></div>
      <div class="acts">${w.state === 'holds' && html`<${Button} kind="quiet" label=${t('person.waiver_withdraw_which', { what: metres(w.left_um) })} onPress=${() => setTaking(w)}>${t('person.withdraw')}<//>`}</div></li>`)}</ul>`)}
    ${giving && html`<${ActDialog} title=${t('person.waive')} act="waiver-give" fixed=${{ member, asked_by: member, desk_limit_um: Math.round(most * 1e6) }} press=${t('person.waive_do')} onClose=${() => setGiving(false)} says=${(/** @type {any} */ b) => t('person.waive_done', { what: metres(b.um), member })}
      lead=${session.value?.role === 'desk' ? t('person.waive_desk', { most: number(most) }) : undefined}
      fields=${[{ name: 'um', label: t('person.length'), kind: 'metres', required: true }, { name: 'reason', label: t('person.reason'), kind: 'long', required: true, hint: t('person.no_names') }, { name: 'until', label: t('person.until'), kind: 'day', hint: t('person.waive_until') }]} />`}
    ${taking && html`<${ActDialog} title=${t('person.waiver_withdraw')} act="waiver-withdraw" fixed=${{ waiver: taking.waiver }} press=${t('person.withdraw')} onClose=${() => setTaking(null)} says=${() => t('person.waiver_withdrawn')} fields=${[{ name: 'reason', label: t('person.reason'), kind: 'long', required: true, hint: t('person.no_names') }]} />`}</section>`;
}
