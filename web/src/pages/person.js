// One member: what is left, permissions, waivers, runs, no-shows, signing in, forgetting. SPDX-License-Identifier: Apache-2.0
import { Button, day, go, html, Loading, may, money, Page, session, shop, t, Trouble, useAsk, useKeys, useState, when } from '../kit/index.js';
import { ActDialog, bookWord, useActs } from './people/acting.js';
import { CodeDialog, Forget } from './person/asks.js';
import { Balance, Permits, Waivers } from './person/account.js';
import { RunsTable } from './person/runs.js';

const wordsOf = (/** @type {string} */ role) => bookWord('role', role);

/** @param {{params: Record<string, string>}} p */
export default function Person({ params }) {
  const member = params.member;
  const { data, error, again } = useAsk('member', { member, run_limit_um: Math.round((shop.value?.rules.allowance_m_per_run ?? 0) * 1e6) || undefined }, { concerns: ['member-', 'permit', 'waiver-', 'run-', 'term-', 'undo'] });
  const [open, setOpen] = useState(/** @type {''|'code'|'suspend'|'name'|'role'|'forget'|'pay'} */ (''));
  const { error: trouble, setError, book } = useActs();
  const close = () => setOpen('');
  const gone = data && data.name === null && data.contact === null;
  const self = session.value?.member === member, staff = data && data.role !== 'member';
  useKeys([{ key: 'c', says: t('person.code'), run: () => setOpen('code') }]);
  const title = data?.name ?? member;
  return html`<${Page} name="person" title=${title} lead=${data && html`${data.name ? `${member} · ` : ''}${wordsOf(data.role)}`}
      acts=${data && html`<${Button} href="/people" kind="quiet">${t('person.all')}<//><${Button} href="/out?member=${encodeURIComponent(member)}">${t('pages.out')}<//>${!self && (!staff || may('keeper')) && html`<${Button} hotkey="c" onPress=${() => setOpen('code')}>${t('person.code')}<//>`}`}>
    <${Trouble} error=${error ?? trouble} onAgain=${() => { setError(null); void again(); }} />
    ${!data && !error && html`<${Loading} />`}
    ${data && html`
      ${data.suspended && html`<aside class="suspended" aria-label=${t('person.suspended')}><p><strong>${t('person.suspended')}${data.suspended_until_ms ? ` ${t('people.until', { day: day(data.suspended_until_ms - 1) })}` : ''}:</strong> ${data.suspended}</p><${Button} onPress=${() => book('member-resume', { member }, t('person.resumed', { member }))}>${t('person.resume')}<//></aside>`}
      <div class="split"><${Balance} member=${member} balance=${data.balance} /><${Permits} member=${member} permits=${data.permits} book=${book} /></div>
      <${Waivers} member=${member} book=${book} />
      <${Runs} member=${member} />
      <div class="split"><${Tickets} member=${member} /><${Money} member=${member} onPay=${() => setOpen('pay')} /></div>
      <section aria-labelledby="p-who"><h2 id="p-who">${t('person.who')}</h2>
        <dl class="pairs"><div><dt>${t('people.name')}</dt><dd>${data.name ?? '–'}</dd></div><div><dt>${t('people.contact')}</dt><dd>${data.contact ?? '–'}</dd></div><div><dt>${t('people.role')}</dt><dd>${wordsOf(data.role)}</dd></div></dl>
        <p class="quiet">${t('person.password_how')}${self ? html` <a href="/settings">${t('pages.settings')}</a>` : ''}</p>
        <div class="acts">${!gone && html`<${Button} onPress=${() => setOpen('name')}>${t('person.name')}<//>`}${may('keeper') && html`<${Button} onPress=${() => setOpen('role')}>${t('person.role')}<//>`}
          ${!data.suspended && !self && html`<${Button} onPress=${() => setOpen('suspend')}>${t('person.suspend')}<//>`}${may('keeper') && !self && html`<${Button} kind="danger" onPress=${() => setOpen('forget')}>${t('person.forget')}<//>`}</div></section>`}
    ${open === 'code' && html`<${CodeDialog} member=${member} onClose=${close} />`}
    ${open === 'suspend' && html`<${ActDialog} title=${t('person.suspend')} act="member-suspend" fixed=${{ member }} press=${t('person.suspend_do')} onClose=${close} says=${() => t('person.suspend_done', { member })} lead=${t('person.suspend_lead')}
      fields=${[{ name: 'reason', label: t('person.reason'), kind: 'long', required: true, hint: t('person.no_names') }, { name: 'until', label: t('person.until'), kind: 'day', hint: t('person.until_none') }]} />`}
    ${open === 'name' && html`<${ActDialog} title=${t('person.name')} act="member-name" undo=${false} fixed=${{ member }} press=${t('person.save')} onClose=${close} says=${() => t('person.name_done', { member })} lead=${t('person.name_lead')}
      fields=${[{ name: 'name', label: t('people.name'), start: data?.name ?? '' }, { name: 'contact', label: t('people.contact'), start: data?.contact ?? '' }]} />`}
    ${open === 'role' && html`<${ActDialog} title=${t('person.role')} act="member-role" fixed=${{ member }} press=${t('person.save')} onClose=${close} says=${(/** @type {any} */ b) => t('person.role_done', { member, role: wordsOf(b.role) })}
      fields=${[{ name: 'role', label: t('people.role'), kind: 'choice', start: data?.role, options: ['member', 'desk', 'keeper'].map((r) => ({ value: r, label: wordsOf(r) })) }]} />`}
    ${open === 'pay' && html`<${ActDialog} title=${t('person.pay')} act="money-book" fixed=${{ member, currency: shop.value?.currency }} press=${t('person.pay_do')} onClose=${close} says=${(/** @type {any} */ b) => t('person.pay_done', { what: money(b.minor, b.currency) })}
      fields=${[{ name: 'kind', label: t('person.kind'), kind: 'choice', options: ['payment', 'charge', 'refund', ...(may('keeper') ? ['gift'] : [])].map((k) => ({ value: k, label: t(`person.kind_${k}`) })) },
        { name: 'minor', label: t('person.amount'), kind: 'money', unit: shop.value?.currency, required: true }, { name: 'reason', label: t('person.reason'), kind: 'long', required: true, hint: t('person.no_names') }]} />`}
    ${open === 'forget' && html`<${Forget} member=${member} onClose=${close} onDone=${() => go('/people')} />`}<//>`;
}

/** @param {{member: string}} p */
function Runs({ member }) {
  const [limit, setLimit] = useState(12);
  const { data, error, again } = useAsk('runs', { member, limit }, { concerns: ['run-', 'shelf-', 'undo'] });
  return html`<section aria-labelledby="p-runs"><h2 id="p-runs">${t('person.runs')}</h2><${Trouble} error=${error} onAgain=${again} />
    ${data && html`<${RunsTable} caption=${t('person.runs_table')} runs=${data.runs} empty=${t('person.no_runs')} />${data.more && html`<div class="row"><${Button} onPress=${() => setLimit(limit * 4)}>${t('people.show_more')}<//></div>`}`}</section>`;
}

/** Tickets that lapsed with nobody there. @param {{member: string}} p */
function Tickets({ member }) {
  const { data } = useAsk('tickets', { all: true, member, limit: 100 }, { concerns: ['ticket-', 'run-hand-out', 'undo'] });
  const missed = data?.tickets.filter((/** @type {any} */ x) => x.no_show) ?? [], now = data?.tickets.find((/** @type {any} */ x) => x.state === 'waiting' || x.state === 'called');
  return html`<section class="card" aria-labelledby="p-missed"><h2 id="p-missed">${t('person.no_shows')}</h2>
    ${now && html`<p>${t(`person.ticket_${now.state}`, { n: now.ticket })} <a href="/tickets">${t('pages.tickets')}</a></p>`}
    ${data && (missed.length ? html`<p>${t('person.missed', { n: missed.length })}</p><ul class="acts-list">${missed.map((/** @type {any} */ x) => html`<li key=${x.taken_by_event}><p>${t('person.missed_one', { ticket: x.ticket, at: when(x.until_ms ?? x.taken_ms), machine: x.offered ?? x.machine ?? '–' })}</p></li>`)}</ul>`
      : html`<p class="quiet">${t('person.missed_none')}</p>`)}</section>`;
}

/** @param {{member: string, onPay: () => void}} p */
function Money({ member, onPay }) {
  const { data } = useAsk('money', { member, limit: 10 }, { concerns: ['money-', 'run-', 'undo'] });
  return html`<section class="card" aria-labelledby="p-money"><div class="section-head"><h2 id="p-money">${t('person.money')}</h2>${shop.value?.currency && html`<${Button} onPress=${onPay}>${t('person.pay')}<//>`}</div>
    ${data && (data.owed.length ? html`<ul>${data.owed.map((/** @type {any} */ o) => html`<li key=${o.currency}><p>${t(o.owed_minor > 0 ? 'person.owes' : o.owed_minor < 0 ? 'person.has' : 'person.even', { what: money(Math.abs(o.owed_minor), o.currency) })}</p></li>`)}</ul>` : html`<p class="quiet">${t('person.owes_nothing')}</p>`)}
    ${data?.entries.length > 0 && html`<ul class="acts-list">${data.entries.map((/** @type {any} */ e) => html`<li key=${e.event ?? `${e.at_ms}/${e.run}`}><p>${when(e.at_ms)}: ${t(`person.kind_${e.kind}`)} ${money(e.minor, e.currency)}${e.reason ? `, ${e.reason}` : ''}</p></li>`)}</ul>`}</section>`;
}
