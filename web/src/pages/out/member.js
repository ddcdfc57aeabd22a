// Who: a number that is scanned or typed, or a name. SPDX-License-Identifier: Apache-2.0
import { ask, Button, html, Problem, ScanField, t, useState } from '../../kit/index.js';

/** @param {{who: {member: string, name?: string}|null, onWho: (who: any) => void}} p */
export function Member({ who, onWho }) {
  const [error, setError] = useState('');
  const [several, setSeveral] = useState(/** @type {any[]} */ ([]));
  const take = (/** @type {any} */ m) => { setSeveral([]); setError(''); onWho({ member: m.member, name: m.name ?? undefined }); };
  const find = async (/** @type {string} */ typed) => {
    setError('');
    setSeveral([]);
    try {
      if (/^[\w.-]{1,64}$/.test(typed)) {
        try { return take(await ask('member', { member: typed })); } catch (e) { if (!(e instanceof Problem && e.status === 404)) throw e; }
      }
      const list = (await ask('members', { search: typed, limit: 6 })).members.filter((/** @type {any} */ m) => m.state !== 'forgotten');
      if (list.length === 1) take(list[0]);
      else if (list.length) setSeveral(list);
      else setError(t('out.no_member', { typed }));
    } catch (e) { setError(/** @type {Error} */ (e) instanceof Problem ? /** @type {Problem} */ (e).detail : t('kit.away')); }
    return undefined;
  };
  if (who) return html`<section class="card chosen" aria-labelledby="who-head"><h2 id="who-head">${t('out.member')}</h2><p class="big">${who.member} ${who.name && html`<span>${who.name}</span>`}</p><div><${Button} onPress=${() => onWho(null)}>${t('out.another')}<//></div></section>`;
  return html`<section class="card" aria-labelledby="who-head"><h2 id="who-head">${t('out.member')}</h2><${ScanField} label=${t('out.member_field')} hint=${t('out.member_hint')} error=${error || undefined} autofocus onScan=${find} />
    ${several.length > 0 && html`<div role="status"><p>${t('out.several')}</p><ul class="stack">${several.map((m) => html`<li key=${m.member}><${Button} onPress=${() => take(m)}>${m.member} ${m.name ?? ''}<//></li>`)}</ul></div>`}</section>`;
}
