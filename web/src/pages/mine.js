// My runs: how they stand, where the part is and when to collect it, what is left; for whoever is signed in, of nobody else. SPDX-License-Identifier: Apache-2.0
import { Button, clock, day, Empty, html, Loading, longDay, may, number, Page, span, t, Trouble, useAsk, useNow, when } from '../kit/index.js';
import { bookWord } from './people/acting.js';
import { BalanceBar } from './person/account.js';

const open = new Set(['reserved', 'handed-out', 'prints', 'on-bed', 'shelf']);

export default function Mine() {
  const { data, error, again } = useAsk('/api/1/mine', {});
  const now = useNow(30000);
  const runs = data?.runs ?? [], live = runs.filter((/** @type {any} */ r) => open.has(r.where)), over = runs.filter((/** @type {any} */ r) => !open.has(r.where));
  return html`<${Page} name="mine" title=${t('pages.mine')} lead=${data && html`${data.name ? `${data.name} · ` : ''}${data.member} · ${longDay(now)}`} acts=${!may('desk') && html`<${Button} href="/settings" kind="quiet">${t('mine.password')}<//>`}>
    <${Trouble} error=${error} onAgain=${again} />${!data && !error && html`<${Loading} />`}
    ${data && html`
      ${data.suspended && html`<aside class="suspended" aria-label=${t('person.suspended')}><p><strong>${t('mine.suspended')}</strong> ${data.suspended.reason}${data.suspended.until_ms ? ` ${t('people.until', { day: day(data.suspended.until_ms - 1) })}` : ''}</p></aside>`}
      ${data.ticket && html`<section aria-labelledby="n-ticket"><h2 id="n-ticket">${t('mine.ticket', { n: data.ticket.ticket })}</h2><p>${data.ticket.state === 'called' ? (data.ticket.lapsed ? t('mine.ticket_lapsed') : t('mine.ticket_called', { machine: data.ticket.offered ?? data.ticket.machine ?? t('mine.a_machine'), at: clock(data.ticket.until_ms ?? now) })) : t('mine.ticket_waits', { n: data.ticket.before })}</p></section>`}
      <section aria-labelledby="n-live"><h2 id="n-live">${t('mine.live')}</h2><div role="status" class="only-read">${t('mine.count', { n: live.length })}</div>
        ${live.length === 0 ? html`<${Empty} title=${t('mine.none')}><${Button} href="/prove">${t('mine.prove')}<//><//>` : html`<ul class="mine">${live.map((/** @type {any} */ r) => html`<${One} key=${r.run} r=${r} now=${now} />`)}</ul>`}</section>
      <div class="split"><section class="card" aria-labelledby="n-left"><h2 id="n-left">${t('person.allowance')}</h2><${BalanceBar} balance=${data.balance} own /></section>
      <section class="card" aria-labelledby="n-permits"><h2 id="n-permits">${t('person.permissions')}</h2>${data.permits.length === 0 ? html`<p class="quiet">${t('mine.no_permits')}</p>` : html`<ul>${data.permits.map((/** @type {any} */ p) => html`<li key=${p.permission}><p><strong>${p.permission}</strong> ${p.until_ms ? t('people.until', { day: day(p.until_ms - 1) }) : t('person.without_end')}</p></li>`)}</ul>`}</section></div>
      ${over.length > 0 && html`<section aria-labelledby="n-over"><h2 id="n-over">${t('mine.over')}</h2><ul class="acts-list">${over.map((/** @type {any} */ r) => html`<li key=${r.run}><div><p><strong>${r.file ?? t('mine.run', { n: String(r.run) })}</strong> ${r.outcome ? bookWord('outcome', r.outcome) : t(`mine.where_${r.where}`)}${r.cause ? ` (${bookWord('cause', r.cause)})` : ''}</p>
        <p class="quiet">${[t('mine.run', { n: String(r.run) }), r.machine, r.out_ms && when(r.out_ms), r.used_um !== null && t('mine.used', { m: metresOf(r.used_um) }), r.outcome && t(`mine.where_${r.where}`), !r.counts && t('mine.not_counted'), r.rerun_first && t('mine.rerun_first')].filter(Boolean).join(' · ')}</p></div></li>`)}</ul>${data.more && html`<p class="quiet">${t('mine.more', { n: runs.length })}</p>`}</section>`}`}<//>`;
}
const metresOf = (/** @type {number} */ um) => number(um / 1e6, 1);

/** One run that is not over. @param {{r: any, now: number}} p */
function One({ r, now }) {
  const title = r.file ?? t('mine.run', { n: String(r.run) });
  const ready = r.collect_ms !== undefined && r.collect_ms <= now + 60000;
  const range = r.end_ms && r.end_high_ms - r.end_low_ms > 120000 ? ` ${t('mine.range', { low: when(r.end_low_ms), high: when(r.end_high_ms) })}` : '';
  /** @type {Record<string, any>} */
  const says = {
    reserved: r.promised_ms ? t('mine.promised', { at: when(r.promised_ms), machine: r.machine ?? t('mine.a_machine') }) : t('mine.asked'),
    'handed-out': t('mine.handed', { machine: r.machine }),
    prints: r.end_ms ? `${t(r.end_ms > now ? 'mine.prints' : 'mine.prints_late', { machine: r.machine, at: when(r.end_ms), span: span(Math.abs(r.end_ms - now)) })}${range}` : t('mine.prints_unknown', { machine: r.machine }),
    'on-bed': t(r.state === 'failed' ? 'mine.failed' : 'mine.ended', { machine: r.machine }),
    shelf: r.place ? t('mine.shelf', { place: r.place }) : t('mine.shelf_somewhere'),
  };
  return html`<li><div class="what"><h3>${title}</h3><p class="quiet">${[t('mine.run', { n: String(r.run) }), r.machine, t('mine.used', { m: metresOf(r.used_um ?? r.reserved_um) })].filter(Boolean).join(' · ')}</p><p>${says[r.where]}${r.symptom ? ` ${r.symptom}` : ''}</p>${r.where === 'shelf' && r.kept_until_ms && html`<p>${t(r.kept_until_ms < now ? 'mine.kept_over' : 'mine.kept', { day: day(r.kept_until_ms) })}</p>`}</div>
    ${r.collect_ms !== undefined && html`<p class="collect"><span>${t(r.where === 'prints' ? 'mine.collect_not_before' : 'mine.collect')}</span> <strong>${ready && r.where !== 'prints' ? t('mine.now') : when(r.collect_ms)}</strong></p>`}</li>`;
}
