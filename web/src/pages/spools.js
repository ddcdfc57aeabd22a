// Spools: what there is, what is left, what is low; one of them with its acts and its weighings. SPDX-License-Identifier: Apache-2.0
import { Button, Choice, Empty, grams, html, Loading, Mark, Page, shop, t, Table, Trouble, useAsk, useKeys, useState, when } from '../kit/index.js';
import { ActDialog, bookWord } from './people/acting.js';
import { Spool } from './spools/one.js';
import { Stock } from './spools/stock.js';

/** @param {{query: URLSearchParams}} p */
export default function Spools({ query }) {
  const [which, setWhich] = useState(query.get('which') ?? 'hand');
  const [adding, setAdding] = useState(false);
  const chosen = query.get('spool');
  const below = Math.round((shop.value?.rules.spool_low_g ?? 0) * 1000) || undefined;
  const { data, error, again } = useAsk('spools', { state: which === 'empty' ? 'empty' : undefined, below_mg: below, low: which === 'low' ? true : undefined, limit: 1000 }, { concerns: ['spool-', 'machine-fit', 'run-', 'undo'] });
  useKeys([{ key: 'n', says: t('spools.new'), run: () => setAdding(true) }]);
  const low = which === 'hand' ? data?.spools.filter((/** @type {any} */ s) => s.low) ?? [] : [];
  return html`<${Page} name="spools" title=${t('pages.spools')} acts=${html`<${Button} kind="main" hotkey="n" onPress=${() => setAdding(true)}>${t('spools.new')}<//>`}>
    <${Trouble} error=${error} onAgain=${again} />
    ${chosen && html`<${Spool} key=${chosen} name=${chosen} />`}
    <${Choice} label=${t('spools.which')} value=${which} onChange=${setWhich} options=${['hand', ...(below ? ['low'] : []), 'empty'].map((k) => ({ value: k, label: t(`spools.which_${k}`) }))} />
    ${low.length > 0 && html`<p class="low-line"><${Mark} grade="ask" /> ${t('spools.low', { n: low.length })} ${low.map((/** @type {any} */ s, /** @type {number} */ i) => html`${i ? ', ' : ''}<a href="/spools?spool=${encodeURIComponent(s.spool)}">${s.spool}</a>${s.machine ? ` (${s.machine})` : ''}`)}</p>`}
    ${!data && !error && html`<${Loading} />`}
    ${data && html`<${Table} caption=${t('spools.list')} hideCaption=${true} rows=${data.spools} rowKey=${(/** @type {any} */ s) => s.spool} sortBy="spool" onRow=${(/** @type {any} */ s) => `/spools?spool=${encodeURIComponent(s.spool)}`}
      empty=${html`<${Empty} title=${t(`spools.none_${which}`)} />`}
      columns=${[
        { key: 'spool', label: t('spools.spool'), head: true, show: (/** @type {any} */ s) => s.spool, sort: (/** @type {any} */ s) => s.spool },
        { key: 'material', label: t('spools.material'), show: (/** @type {any} */ s) => `${s.material}${s.colour ? `, ${s.colour}` : ''}`, sort: (/** @type {any} */ s) => `${s.material} ${s.colour}` },
        { key: 'state', label: t('people.state'), show: (/** @type {any} */ s) => bookWord('spool', s.state), sort: (/** @type {any} */ s) => s.state },
        { key: 'left', label: t('spools.left'), right: true, show: (/** @type {any} */ s) => html`${s.left_mg === null ? t('spools.unknown') : grams(s.left_mg)}${s.low ? html` <span class="low">${t('spools.is_low')}</span>` : ''}`, sort: (/** @type {any} */ s) => s.left_mg ?? -1 },
        { key: 'where', label: t('spools.where'), show: (/** @type {any} */ s) => (s.machine ? html`<a href="/machine/${encodeURIComponent(s.machine)}">${s.machine}</a>` : '–'), sort: (/** @type {any} */ s) => s.machine ?? '~' },
        { key: 'weighed', label: t('spools.weighed'), show: (/** @type {any} */ s) => (s.weighed_ms ? when(s.weighed_ms) : t('spools.never')), sort: (/** @type {any} */ s) => s.weighed_ms ?? 0 },
      ]} />`}
    <${Stock} />
    ${adding && html`<${NewSpool} onClose=${() => setAdding(false)} />`}<//>`;
}

/** @param {{onClose: () => void}} p */
function NewSpool({ onClose }) {
  const materials = shop.value?.materials ?? [], house = materials.find((/** @type {any} */ m) => m.house) ?? materials[0];
  const [density, diameter] = [(/** @type {any} */ m) => Math.round(m.density_g_cm3 * 1000), (/** @type {any} */ m) => Math.round(m.diameter_mm * 1000)];
  return html`<${ActDialog} title=${t('spools.new')} act="spool-add" press=${t('spools.new_do')} onClose=${onClose} lead=${t('spools.new_lead')} says=${(/** @type {any} */ b) => t('spools.new_done', { spool: b.spool })}
    fixed=${{}} fields=${[{ name: 'spool', label: t('spools.spool'), required: true, hint: t('spools.name_hint') },
      { name: 'material', label: t('spools.material'), kind: 'choice', start: house?.name, options: materials.map((/** @type {any} */ m) => ({ value: m.name, label: m.name })) },
      { name: 'colour', label: t('spools.colour') }, { name: 'lot', label: t('spools.lot') },
      { name: 'gross_mg', label: t('spools.gross'), kind: 'grams', hint: t('spools.gross_hint') }, { name: 'tare_mg', label: t('spools.tare'), kind: 'grams' }, { name: 'net_mg', label: t('spools.net'), kind: 'grams', hint: t('spools.net_hint') },
      ...(shop.value?.currency ? [{ name: 'price_minor_kg', label: t('spools.price'), kind: 'money', unit: `${shop.value.currency}/kg` }] : [])]}
    complete=${(/** @type {any} */ b) => { const m = materials.find((/** @type {any} */ x) => x.name === b.material); return { ...b, density_mg_cm3: density(m), diameter_um: diameter(m) }; }} />`;
}
