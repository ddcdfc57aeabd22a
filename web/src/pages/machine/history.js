// What happened, the latest first, each taken back where the book can. SPDX-License-Identifier: Apache-2.0
import { act, Button, html, notice, says, session, t, Trouble, useAsk, useState, when } from '../../kit/index.js';
import { bookWord } from '../people/acting.js';

const fixed = new Set(['undo', 'member-name', 'member-forget', 'permits-lapse', 'file-detach']); // which the book can't take back
const told = ['machine', 'member', 'run', 'spool', 'stick', 'permission', 'reason', 'note', 'text', 'cause', 'title', 'term', 'course', 'fund'];

/** One event as a line. @param {{e: any, without?: string}} p */
export function EventLine({ e, without }) {
  const [busy, setBusy] = useState(false);
  const back = async () => {
    setBusy(true);
    try {
      await act('undo', { event: e.event });
      notice(t('kit.undone'));
    } catch (x) { notice(says(/** @type {Error} */ (x)), { bad: true }); }
    setBusy(false);
  };
  const can = !e.undone_by && !fixed.has(e.act) && session.value?.role !== 'member';
  const words = told.filter((k) => k !== without && e.body[k] !== undefined && typeof e.body[k] !== 'object').map((k) => String(e.body[k])).join(', ');
  return html`<li class=${e.undone_by ? 'undone' : ''}><div><p><strong>${bookWord('act', e.act)}</strong>${e.undone_act ? ` (${bookWord('act', e.undone_act)})` : ''}${e.act === 'undo' ? ` ${t('machine.of_event', { n: String(e.body.event) })}` : ''}${words ? ` · ${words}` : ''}</p>
    <p class="quiet">${t('machine.event', { n: String(e.event) })} · ${when(e.at_ms)} · ${e.by}${e.undone_by ? ` · ${t('machine.undone_by', { n: String(e.undone_by) })}` : ''}</p></div>
    <div class="acts">${can && html`<${Button} kind="quiet" busy=${busy} label=${t('machine.undo_which', { what: bookWord('act', e.act), n: String(e.event) })} onPress=${back}>${t('kit.undo')}<//>`}</div></li>`;
}
/** @param {{machine: string}} p */
export function History({ machine }) {
  const [limit, setLimit] = useState(8);
  const { data, error, again } = useAsk('machine-history', { machine, limit });
  return html`<section aria-labelledby="m-history"><h2 id="m-history">${t('machine.history')}</h2><${Trouble} error=${error} onAgain=${again} />
    ${data && (data.events.length === 0 ? html`<p class="quiet">${t('machine.no_history')}</p>` : html`<ol class="acts-list">${data.events.map((/** @type {any} */ e) => html`<${EventLine} key=${e.event} e=${e} without="machine" />`)}</ol>`)}
    ${data?.more && html`<div class="row"><${Button} onPress=${() => setLimit(Math.min(1000, limit * 4))}>${t('people.show_more')}<//></div>`}</section>`;
}
