// The book: the term, use and failures, funds and courses, and for the keeper export, events, verify, copies. SPDX-License-Identifier: Apache-2.0
import { Button, day, Empty, html, Loading, may, metres, money, number, Page, shop, t, Trouble, useAsk, useState, when } from '../kit/index.js';
import { ActDialog, useActs } from './people/acting.js';
import { Allowances, Failures, UseBy, UseByDay } from './book/charts.js';
import { Events, Export, Keeping } from './book/keeper.js';
import { Run } from './book/run.js';

/** @param {{query: URLSearchParams}} p */
export default function Book({ query }) {
  const run = Number(query.get('run'));
  return html`<${Page} name="book" title=${t('pages.book')} lead=${t('book.lead')}>
    ${run > 0 && html`<${Run} key=${run} run=${run} />`}
    <${Term} />
    <section aria-labelledby="b-use"><h2 id="b-use">${t('machines.use')}</h2><div class="charts"><${UseByDay} /><${UseBy} by="machine" /><${UseBy} by="material" /><${Failures} /></div></section>
    <div class="split"><${Funds} /><${Courses} /></div>
    ${may('keeper') && html`<${Export} /><${Keeping} /><${Events} />`}<//>`;
}

function Term() {
  const lapse = (shop.value?.permissions ?? []).filter((/** @type {any} */ p) => p.lapses_with_term).map((/** @type {any} */ p) => p.name);
  const terms = useAsk('terms', { limit: 40 }, { concerns: ['term-', 'undo'] });
  const { data, error, again } = useAsk(terms.data ? (terms.data.terms.length ? 'term' : null) : null, { lapse: lapse.length ? lapse : undefined, limit: 1000 }, { concerns: ['term-', 'run-', 'waiver-', 'permit', 'shelf-', 'undo'] });
  const [open, setOpen] = useState(/** @type {''|'open'|'close'|'lapse'} */ (''));
  const named = new Set((terms.data?.terms ?? []).map((/** @type {any} */ x) => x.term)), next = (shop.value?.terms ?? []).filter((/** @type {any} */ x) => !named.has(x.name));
  const left = data ? [['runs_open', data.runs_open], ['outcomes_open', data.outcomes_open], ['parts_open', data.parts_open], ['sticks_lost', data.sticks_lost]].filter(([, l]) => l.length > 0) : [];
  return html`<section aria-labelledby="b-term"><div class="section-head"><h2 id="b-term">${data ? t('book.term', { term: data.term }) : t('book.terms')}</h2>
      ${may('keeper') && html`<div class="acts"><${Button} onPress=${() => setOpen('open')}>${t('book.term_open')}<//>${data && data.closed_ms === null && html`<${Button} onPress=${() => setOpen('close')}>${t('book.term_close')}<//>`}<${Button} onPress=${() => setOpen('lapse')}>${t('book.lapse')}<//></div>`}</div>
    <${Trouble} error=${terms.error ?? error} onAgain=${again} />${!data && terms.loading && html`<${Loading} />`}
    ${terms.data?.terms.length === 0 && html`<${Empty} title=${t('book.no_term')} />`}
    ${data && html`<p>${t('book.term_from', { from: day(data.from_ms), until: day(data.until_ms - 1), all: metres(data.allowance_um, 0) })}${data.closed_ms ? ` ${t('book.term_closed', { at: when(data.closed_ms) })}` : ''}</p>
      <dl class="facts"><div><dt>${t('person.runs')}</dt><dd>${number(data.sums.runs)}</dd></div><div><dt>${t('book.good')}</dt><dd>${number(data.sums.good)}</dd></div><div><dt>${t('book.failed')}</dt><dd>${number(data.sums.failed + data.sums.stopped)}</dd></div><div><dt>${t('book.open_outcomes')}</dt><dd>${number(data.sums.without_outcome)}</dd></div>
        <div><dt>${t('book.used')}</dt><dd>${metres(data.sums.um, 0)}, ${number(data.sums.mg / 1e6, 2)} kg</dd></div><div><dt>${t('book.charged')}</dt><dd>${metres(data.sums.charged_um, 0)}</dd></div><div><dt>${t('book.waived')}</dt><dd>${metres(data.sums.waived_um, 0)}</dd></div><div><dt>${t('book.members')}</dt><dd>${t('book.members_of', { printed: data.members.printed, all: data.members.enrolled })}</dd></div></dl>
      ${left.length > 0 ? html`<p>${t('book.still_open')} ${left.map(([k, l]) => t(`book.${k}`, { n: l.length })).join(', ')}.</p>` : html`<p class="quiet">${t('book.nothing_open')}</p>`}
      <${Allowances} term=${data} />`}
    ${open === 'open' && html`<${ActDialog} title=${t('book.term_open')} act="term-open" press=${t('book.term_open_do')} onClose=${() => setOpen('')} says=${(/** @type {any} */ b) => t('book.term_opened', { term: b.term })} lead=${next.length ? t('book.term_file', { terms: next.map((/** @type {any} */ x) => x.name).join(', ') }) : undefined}
      fields=${[{ name: 'term', label: t('book.term_name'), required: true, start: next[0]?.name ?? '' }, { name: 'from', label: t('book.term_begin'), kind: 'begin', required: true, start: next[0]?.from ?? '' }, { name: 'until', label: t('person.until'), kind: 'day', required: true, start: next[0]?.to ?? '' }, { name: 'allowance_um', label: t('book.term_allowance'), kind: 'metres', required: true, start: String(shop.value?.rules.allowance_m_per_term ?? '') }]} />`}
    ${open === 'close' && data && html`<${ActDialog} title=${t('book.term_close')} act="term-close" danger fixed=${{ term: data.term }} press=${t('book.term_close_do')} onClose=${() => setOpen('')} says=${() => t('book.term_is_closed', { term: data.term })} lead=${`${t('book.term_close_lead')} ${left.map(([k, l]) => t(`book.${k}`, { n: l.length })).join(', ')}`} fields=${[]} />`}
    ${open === 'lapse' && html`<${ActDialog} title=${t('book.lapse')} act="permits-lapse" danger undo=${false} press=${t('book.lapse_do')} onClose=${() => setOpen('')} says=${(/** @type {any} */ b) => t('book.lapsed', { permission: b.permission })} lead=${t('book.lapse_lead')}
      fields=${[{ name: 'permission', label: t('person.permission'), kind: 'choice', options: (shop.value?.permissions ?? []).map((/** @type {any} */ p) => ({ value: p.name, label: p.name })) }, { name: 'reason', label: t('person.reason'), kind: 'long', required: true, hint: t('person.no_names') }]} />`}</section>`;
}

function Funds() {
  const { data, error } = useAsk('funds', {}, { concerns: ['fund-', 'run-', 'undo'] });
  const { error: trouble, book } = useActs();
  const [open, setOpen] = useState(false);
  return html`<section class="card" aria-labelledby="b-funds"><div class="section-head"><h2 id="b-funds">${t('book.funds')}</h2>${may('keeper') && shop.value?.currency && html`<${Button} onPress=${() => setOpen(true)}>${t('book.fund_open')}<//>`}</div><${Trouble} error=${error ?? trouble} />
    ${data && (data.funds.length === 0 ? html`<p class="quiet">${t('book.no_funds')}</p>` : html`<ul class="acts-list">${data.funds.map((/** @type {any} */ f) => html`<li key=${f.fund}><div><p><strong>${f.title ?? f.fund}</strong> ${f.closed_ms ? t('book.is_closed', { at: day(f.closed_ms) }) : ''}</p><p class="quiet">${f.budget_minor === null ? t('book.fund_used', { used: money(f.used_minor, f.currency), n: f.runs }) : t('book.fund_left', { left: money(f.left_minor, f.currency), all: money(f.budget_minor, f.currency), n: f.runs })}</p></div>
      <div class="acts">${may('keeper') && !f.closed_ms && html`<${Button} kind="quiet" label=${t('book.close_which', { what: f.title ?? f.fund })} onPress=${() => book('fund-close', { fund: f.fund }, t('book.fund_closed', { fund: f.title ?? f.fund }))}>${t('book.close')}<//>`}</div></li>`)}</ul>`)}
    ${open && html`<${ActDialog} title=${t('book.fund_open')} act="fund-open" fixed=${{ currency: shop.value.currency }} press=${t('book.fund_open_do')} onClose=${() => setOpen(false)} says=${(/** @type {any} */ b) => t('book.fund_opened', { fund: b.title })}
      fields=${[{ name: 'fund', label: t('book.short'), required: true, hint: t('book.short_hint') }, { name: 'title', label: t('book.title'), required: true }, { name: 'budget_minor', label: t('book.budget'), kind: 'money', unit: shop.value.currency, hint: t('book.budget_none') }]} />`}</section>`;
}

function Courses() {
  const { data, error } = useAsk('courses', {}, { concerns: ['course-', 'assignment-', 'run-', 'undo'] });
  const funds = useAsk('funds', {}, { concerns: ['fund-', 'undo'] });
  const { error: trouble, book } = useActs();
  const [open, setOpen] = useState(/** @type {''|'course'|{course: string}} */ (''));
  const choices = (funds.data?.funds ?? []).filter((/** @type {any} */ f) => !f.closed_ms).map((/** @type {any} */ f) => ({ value: f.fund, label: f.title ?? f.fund }));
  return html`<section class="card" aria-labelledby="b-courses"><div class="section-head"><h2 id="b-courses">${t('book.courses')}</h2>${may('keeper') && html`<${Button} onPress=${() => setOpen('course')}>${t('book.course_open')}<//>`}</div><${Trouble} error=${error ?? trouble} />
    ${data && (data.courses.length === 0 ? html`<p class="quiet">${t('book.no_courses')}</p>` : html`<ul class="acts-list">${data.courses.map((/** @type {any} */ c) => html`<li key=${c.course}><div><p><strong>${c.title}</strong> ${c.closed_ms ? t('book.is_closed', { at: day(c.closed_ms) }) : ''}</p><p class="quiet">${t('book.course_says', { n: c.runs, metres: metres(c.um, 0) })}${c.fund ? ` ${t('book.course_fund', { fund: c.fund })}` : ''}</p>
      ${c.assignments.map((/** @type {any} */ a) => html`<p key=${a.assignment}>${a.title ?? a.assignment}${a.due_ms ? `, ${t('book.due', { day: day(a.due_ms - 1) })}` : ''} <span class="quiet">${t('book.course_says', { n: a.runs, metres: metres(a.um, 0) })}</span></p>`)}</div>
      <div class="acts">${!c.closed_ms && html`<${Button} kind="quiet" label=${t('book.assign_which', { course: c.title })} onPress=${() => setOpen({ course: c.course })}>${t('book.assign')}<//>${may('keeper') && html`<${Button} kind="quiet" label=${t('book.close_which', { what: c.title })} onPress=${() => book('course-close', { course: c.course }, t('book.course_closed', { course: c.title }))}>${t('book.close')}<//>`}`}</div></li>`)}</ul>`)}
    ${open === 'course' && html`<${ActDialog} title=${t('book.course_open')} act="course-open" press=${t('book.course_open_do')} onClose=${() => setOpen('')} says=${(/** @type {any} */ b) => t('book.course_opened', { course: b.title })} complete=${(/** @type {any} */ b) => ({ ...b, fund: b.fund || undefined })}
      fields=${[{ name: 'course', label: t('book.short'), required: true, hint: t('book.short_hint') }, { name: 'title', label: t('book.title'), required: true }, ...(choices.length ? [{ name: 'fund', label: t('book.fund'), kind: 'choice', start: '', options: [{ value: '', label: t('book.fund_none') }, ...choices] }] : [])]} />`}
    ${typeof open === 'object' && html`<${ActDialog} title=${t('book.assign')} act="assignment-set" fixed=${{ course: open.course }} press=${t('book.assign_do')} onClose=${() => setOpen('')} says=${(/** @type {any} */ b) => t('book.assigned', { what: b.title ?? b.assignment })}
      fields=${[{ name: 'assignment', label: t('book.short'), required: true, hint: t('book.short_hint') }, { name: 'title', label: t('book.title') }, { name: 'due', label: t('book.due_by'), kind: 'day' }]} />`}</section>`;
}
