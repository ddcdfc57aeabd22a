// Who holds a permission that lapses soon. SPDX-License-Identifier: Apache-2.0
import { Button, day, html, t, Trouble, useAsk, useState } from '../../kit/index.js';
import { serverNow } from '../../kit/day.js';

const DAYS = 14; // as today names them

/** @param {{permission: string}} p */
export function Lapsing({ permission }) {
  const [before] = useState(() => serverNow() + DAYS * 86400000);
  const { data, error, again } = useAsk('permits', { permission, lapse_before: before, limit: 200 }, { concerns: ['permit', 'member-', 'undo'] });
  const rows = [...(data?.permits ?? [])].sort((a, b) => a.until_ms - b.until_ms);
  return html`<section class="card" aria-labelledby="p-lapse"><div class="section-head"><h2 id="p-lapse">${t('people.lapsing', { permission, days: DAYS })}</h2><div class="acts"><${Button} kind="quiet" href="/people">${t('kit.close')}<//></div></div>
    <${Trouble} error=${error} onAgain=${again} />
    ${data && (rows.length === 0 ? html`<p class="quiet">${t('people.lapsing_none')}</p>` : html`<ul class="acts-list">${rows.map((r) => html`<li key=${r.permit}><div><p><a href="/person/${encodeURIComponent(r.member)}">${r.member}</a>${r.name ? ` ${r.name}` : ''}</p></div><p>${day(r.until_ms - 1)}</p></li>`)}</ul>`)}</section>`;
}
