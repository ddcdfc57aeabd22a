// Tickets: who waits, in turn; a number taken, called, claimed, passed on. SPDX-License-Identifier: Apache-2.0
import { act, ask, Button, Choice, clock, countDown, Empty, errorAt, errorElsewhere, Field, html, Loading, Mark, notice, Page, Picker, post, shop, span, t, Trouble, useAsk, useKeys, useNow, useState, when } from '../kit/index.js';

const undo = (/** @type {number} */ event) => ({ undo: () => act('undo', { event }) });

export default function Tickets() {
  const { data, error, again } = useAsk('/api/1/tickets', {}, { concerns: ['ticket-', 'run-', 'machine-', 'undo'] });
  const now = useNow(1000);
  const [trouble, setTrouble] = useState(/** @type {Error|null} */ (null));
  const rows = /** @type {any[]} */ (data?.tickets ?? []), free = /** @type {string[]} */ (data?.free ?? []);
  const first = rows.find((r) => r.state === 'waiting' && free.some((m) => !r.machine || r.machine === m));
  const does = (/** @type {() => Promise<any>} */ f, /** @type {string} */ says) => async () => {
    try {
      const done = await f();
      setTrouble(null);
      notice(says, undo(done.done ? done.done[0].event : done.event));
    } catch (e) { setTrouble(/** @type {Error} */ (e)); }
  };
  const call = (/** @type {any} */ r, /** @type {string} */ machine) => does(() => post('/api/1/tickets/call', { ticket: r.ticket, machine }), t('tickets.called', { ticket: r.ticket, machine }));
  const pass = (/** @type {any} */ r, /** @type {boolean} */ no_show) => does(() => act('ticket-pass', { ticket: r.ticket, no_show }), t(no_show ? 'tickets.no_show_booked' : 'tickets.passed', { ticket: r.ticket }));
  const machineFor = (/** @type {any} */ r) => free.find((m) => (r.machine ? r.machine === m : r.next_machine === m)) ?? free.find((m) => !r.machine || r.machine === m);
  useKeys(first ? [{ key: 'n', says: t('tickets.key_call'), run: () => void call(first, machineFor(first) ?? free[0])() }] : []);
  return html`<${Page} name="tickets" title=${t('pages.tickets')} lead=${data ? (free.length ? t('tickets.free_now', { names: free.join(', ') }) : data.next_free_ms ? t('tickets.next_free', { machine: data.next_machine, at: when(data.next_free_ms, now) }) : t('tickets.nobody_knows')) : undefined} acts=${html`<${Button} kind="quiet" href="/screen">${t('tickets.screen')}<//>`}>
    <${Trouble} error=${error ?? trouble} onAgain=${error ? again : undefined} />
    ${!data ? !error && html`<${Loading} />` : rows.length === 0 ? html`<${Empty} title=${t('tickets.nobody')} />` : html`<ol class="tickets">${rows.map((r) => {
      const called = r.state === 'called', late = called && r.until_ms <= now, to = machineFor(r);
      return html`<li key=${r.ticket} class=${late ? 'lapsed' : called ? 'called' : ''}><p class="number"><span class="only-read">${t('tickets.ticket')} </span>${r.ticket}</p>
        <div class="what"><p><strong>${t('tickets.member', { member: r.member })}</strong> <span class="quiet">${r.machine ? t('tickets.wants', { machine: r.machine }) : t('tickets.any')}${r.seconds ? `, ${t('tickets.takes', { span: span(r.seconds * 1000) })}` : ''}</span></p>
          <p>${called ? html`${late ? html`<${Mark} grade="ask" /> ` : ''}${t(late ? 'tickets.lapsed' : 'tickets.is_called', { machine: r.offered ?? t('tickets.a_machine'), at: clock(r.until_ms) })}${!late ? html` <span class="big-time" aria-hidden="true">${countDown(r.until_ms - now)}</span>` : ''}`
            : r.free_now ? t('tickets.turn_now', { machine: r.next_machine }) : r.next_free_ms ? t('tickets.turn', { machine: r.next_machine, at: when(r.next_free_ms, now) }) : t('tickets.turn_unknown')}</p>
          <p class="quiet">${t('tickets.since', { at: when(r.taken_ms, now) })}${r.no_shows ? html` <span>${t('tickets.no_shows', { n: r.no_shows })}</span>` : ''}</p></div>
        <div class="acts">${called ? html`<${Button} kind=${late ? 'plain' : 'main'} href="/out?member=${encodeURIComponent(r.member)}&ticket=${r.ticket}${r.offered ? `&machine=${encodeURIComponent(r.offered)}` : ''}">${t('tickets.serve')}<//>${late && to && html`<${Button} onPress=${call(r, r.offered ?? to)}>${t('tickets.call_again')}<//>`}<${Button} kind=${late ? 'main' : 'plain'} disabled=${!late} onPress=${pass(r, true)}>${t('tickets.no_show')}<//><${Button} kind="quiet" onPress=${pass(r, false)}>${t('tickets.decline')}<//>`
          : html`${to && html`<${Button} kind=${r === first ? 'main' : 'plain'} hotkey=${r === first ? 'n' : undefined} onPress=${call(r, to)}>${t('tickets.call', { machine: to })}<//>`}`}
          <${Button} kind="quiet" label=${t('tickets.leave_of', { ticket: r.ticket })} onPress=${does(() => act('ticket-leave', { ticket: r.ticket }), t('tickets.left', { ticket: r.ticket }))}>${t('tickets.leave')}<//></div></li>`; })}</ol>`}
    <${Take} /><//>`;
}

/** A number for a member; says at once when their turn will come. */
function Take() {
  const [member, setMember] = useState(/** @type {any} */ (null));
  const [machine, setMachine] = useState('');
  const [takes, setTakes] = useState('');
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const [got, setGot] = useState(/** @type {any} */ (null));
  const find = async (/** @type {string} */ typed) => (typed ? (await ask('members', { search: typed, limit: 20 }, { background: true })).members : []).map((/** @type {any} */ m) => ({ value: m.member, label: m.member, more: m.name ?? '' }));
  const time = /^(\d{1,2}):([0-5]\d)$/.exec(takes.trim()), seconds = time ? Number(time[1]) * 3600 + Number(time[2]) * 60 : 0;
  const take = async (/** @type {string} */ who) => {
    if (takes.trim() && !seconds) return;
    try {
      const done = await post('/api/1/tickets/take', { member: who, ...(machine ? { machine } : {}), ...(seconds ? { seconds } : {}) });
      setGot({ ...done.turn, ticket: done.done[0].answer.ticket, ahead: done.done[0].answer.ahead });
      setError(null);
      setMember(null);
      setTakes('');
      notice(t('tickets.taken', { ticket: done.done[0].answer.ticket }), undo(done.done[0].event));
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  return html`<section aria-labelledby="t-take"><h2 id="t-take">${t('tickets.take')}</h2>
    <div role="status">${got && html`<p class="got"><strong class="number">${got.ticket}</strong> <span>${got.free_now ? t('tickets.turn_now', { machine: got.next_machine }) : got.next_free_ms ? t('tickets.turn', { machine: got.next_machine, at: when(got.next_free_ms) }) : t('tickets.turn_unknown')}</span></p>`}</div>
    <form class="narrow" novalidate onSubmit=${(/** @type {Event} */ e) => { e.preventDefault(); if (member) void take(member.value); }}><${Trouble} error=${errorElsewhere(error, ['member', 'machine', 'seconds'])} />
      <${Picker} label=${t('tickets.who')} hint=${t('tickets.who_hint')} value=${member} find=${find} onPick=${setMember} free=${(/** @type {string} */ typed) => void take(typed)} error=${errorAt(error, 'member')} />
      <${Choice} label=${t('tickets.for_machine')} value=${machine} onChange=${setMachine} options=${[{ value: '', label: t('tickets.any') }, ...(shop.value?.machines ?? []).map((/** @type {any} */ m) => ({ value: m.name, label: m.name }))]} />
      <${Field} label=${t('tickets.how_long')} hint=${t('tickets.how_long_hint')} value=${takes} onInput=${setTakes} error=${takes.trim() && !seconds ? t('tickets.how_long_wrong') : errorAt(error, 'seconds')} />
      <${Button} type="submit" kind="main" disabled=${!member}>${t('tickets.take_do')}<//></form></section>`;
}
