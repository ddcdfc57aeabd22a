// One spool: facts, its acts, its weighings. SPDX-License-Identifier: Apache-2.0
import { Button, Caution, Chart, day, Empty, go, grams, html, Loading, metres, number, shop, t, Table, Trouble, useAsk, useEffect, useRef, useState, when } from '../../kit/index.js';
import { ActDialog, bookWord, useActs } from '../people/acting.js';

/** @param {{name: string}} p */
export function Spool({ name }) {
  const below = Math.round((shop.value?.rules.spool_low_g ?? 0) * 1000) || undefined;
  const { data, error, again } = useAsk('spools', { spool: name, below_mg: below }, { concerns: ['spool-', 'machine-fit', 'run-', 'undo'] });
  const weighings = useAsk('weighings', { spool: name, limit: 100 }, { concerns: ['spool-', 'undo'] });
  const { error: trouble, book } = useActs();
  const [open, setOpen] = useState(/** @type {''|'weigh'|'load'|'dry'|'empty'} */ (''));
  /** @type {{current: HTMLElement|null}} */
  const head = useRef(null);
  useEffect(() => { head.current?.focus({ preventScroll: true }); head.current?.scrollIntoView({ block: 'start' }); }, [name]);
  const s = data?.spools[0], close = () => setOpen('');
  const m = shop.value?.materials.find((/** @type {any} */ x) => x.name === s?.material);
  const list = [...(weighings.data?.weighings ?? [])].reverse();
  const off = list.filter((w) => w.drift_mg !== null);
  return html`<section class="one" aria-labelledby="one-spool"><div class="section-head"><h2 id="one-spool" tabindex="-1" ref=${head}>${t('spools.title', { spool: name })}</h2><${Button} kind="quiet" onPress=${() => go('/spools')}>${t('kit.close')}<//></div>
    <${Trouble} error=${error ?? trouble} onAgain=${again} />
    ${!data && !error && html`<${Loading} />`}${data && !s && html`<${Empty} title=${t('spools.no_such', { spool: name })} />`}
    ${s && html`<dl class="facts">
      <div><dt>${t('spools.left')}</dt><dd>${s.left_mg === null ? t('spools.unknown') : `${grams(s.left_mg)}${s.left_um !== null ? `, ${metres(s.left_um, 0)}` : ''}`}${s.low ? ` (${t('spools.is_low')})` : ''}</dd></div>
      <div><dt>${t('spools.material')}</dt><dd>${s.material}${s.colour ? `, ${s.colour}` : ''}</dd></div><div><dt>${t('people.state')}</dt><dd>${bookWord('spool', s.state)}${s.dry_until_ms ? ` ${t('people.until', { day: when(s.dry_until_ms) })}` : ''}</dd></div>
      <div><dt>${t('spools.where')}</dt><dd>${s.machine ? html`<a href="/machine/${encodeURIComponent(s.machine)}">${s.machine}</a>${s.tool ? `, ${t('machine.tool', { n: s.tool + 1 })}` : ''}` : t('spools.nowhere')}</dd></div>
      <div><dt>${t('spools.lot')}</dt><dd>${s.lot ?? '–'}</dd></div><div><dt>${t('spools.tare')}</dt><dd>${s.tare_mg === null ? '–' : grams(s.tare_mg)}</dd></div>
      <div><dt>${t('spools.opened')}</dt><dd>${s.opened_ms ? day(s.opened_ms) : '–'}</dd></div><div><dt>${t('spools.dried')}</dt><dd>${s.dried_ms ? day(s.dried_ms) : '–'}</dd></div></dl>
      <div class="acts">${s.state !== 'empty' && html`<${Button} kind="main" onPress=${() => setOpen('weigh')}>${t('spools.weigh')}<//>`}
        ${s.state === 'sealed' && html`<${Button} onPress=${() => book('spool-open', { spool: name }, t('spools.open_done', { spool: name }))}>${t('spools.open')}<//>`}
        ${s.machine ? html`<${Button} onPress=${() => book('machine-fit', { machine: s.machine, tool: s.tool ?? 0, unload: true }, t('spools.unload_done', { spool: name, machine: s.machine }))}>${t('spools.unload', { machine: s.machine })}<//>` : s.state !== 'empty' && s.state !== 'drying' && html`<${Button} onPress=${() => setOpen('load')}>${t('spools.load')}<//>`}
        ${s.state === 'drying' ? html`<${Button} onPress=${() => book('spool-dried', { spool: name }, t('spools.dried_done', { spool: name }))}>${t('spools.dried_do')}<//>` : s.state !== 'empty' && !s.machine && html`<${Button} onPress=${() => setOpen('dry')}>${t('spools.dry')}<//>`}
        ${s.state !== 'empty' && html`<${Button} kind="danger" onPress=${() => setOpen('empty')}>${t('spools.empty')}<//>`}</div>`}
    ${list.length > 1 && html`<${Chart} title=${t('spools.by_scale')} says=${t('spools.by_scale_says', { n: list.length, first: grams(list[0].scale_mg), at: day(list[0].at_ms), last: grams(list[list.length - 1].scale_mg), until: day(list[list.length - 1].at_ms) })} time xLabel=${t('spools.when')}
      x=${list.map((w) => w.at_ms / 1000)} showX=${(/** @type {number} */ x) => when(x * 1000)} series=${[{ label: t('spools.scale'), values: list.map((w) => w.scale_mg / 1000), unit: 'g' }, { label: t('spools.book'), values: list.map((w) => (w.book_mg === null ? null : w.book_mg / 1000)), unit: 'g' }]} />`}
    ${weighings.data && html`<h3>${t('spools.weighings')}</h3>${list.length === 0 ? html`<p class="quiet">${t('spools.no_weighing')}</p>` : html`<p>${off.length === 0 ? t('spools.drift_none') : t('spools.drift_says', { n: off.length, worst: grams(off.reduce((most, w) => (Math.abs(w.drift_mg) > Math.abs(most) ? w.drift_mg : most), 0)) })}</p>
      <${Table} caption=${t('spools.weighings')} hideCaption=${true} rows=${weighings.data.weighings} rowKey=${(/** @type {any} */ w) => w.event} columns=${[
        { key: 'at', label: t('spools.when'), head: true, show: (/** @type {any} */ w) => when(w.at_ms) }, { key: 'gross', label: t('spools.gross'), right: true, show: (/** @type {any} */ w) => grams(w.gross_mg) },
        { key: 'scale', label: t('spools.scale'), right: true, show: (/** @type {any} */ w) => grams(w.scale_mg) }, { key: 'book', label: t('spools.book'), right: true, show: (/** @type {any} */ w) => (w.book_mg === null ? '–' : grams(w.book_mg)) },
        { key: 'drift', label: t('spools.drift'), right: true, show: (/** @type {any} */ w) => (w.drift_mg === null ? '–' : `${w.drift_mg > 0 ? '+' : ''}${grams(w.drift_mg)}`) }, { key: 'by', label: t('spools.by'), show: (/** @type {any} */ w) => w.by }]} />`}`}
    ${open === 'weigh' && html`<${ActDialog} title=${t('spools.weigh')} act="spool-weigh" fixed=${{ spool: name }} press=${t('spools.weigh_do')} onClose=${close} lead=${t('spools.weigh_lead')} says=${() => t('spools.weigh_done', { spool: name })}
      fields=${[{ name: 'gross_mg', label: t('spools.gross'), kind: 'grams', required: true, hint: t('spools.gross_hint') }, { name: 'tare_mg', label: t('spools.tare'), kind: 'grams', hint: s.tare_mg === null ? t('spools.tare_needed') : t('spools.tare_known', { tare: grams(s.tare_mg) }), required: s.tare_mg === null }]} />`}
    ${open === 'load' && html`<${Load} spool=${s} onClose=${close} />`}
    ${open === 'dry' && html`<${ActDialog} title=${t('spools.dry')} act="spool-dry" fixed=${{ spool: name }} press=${t('spools.dry_do')} onClose=${close} says=${() => t('spools.dry_done', { spool: name })} lead=${m?.glass_c > 0 ? t('spools.dry_lead', { material: s.material, c: number(m.glass_c) }) : undefined}
      fields=${[{ name: 'c', label: t('spools.dry_c'), kind: 'celsius', required: true }, { name: 'minutes', label: t('spools.dry_hours'), kind: 'hours', required: true }]}><${Caution} about=${['hot', 'mains', 'alone']} /><//>`}
    ${open === 'empty' && html`<${ActDialog} title=${t('spools.empty')} act="spool-empty" danger fixed=${{ spool: name }} press=${t('spools.empty_do')} onClose=${close} lead=${t('spools.empty_lead')} says=${() => t('spools.empty_done', { spool: name })}
      fields=${[{ name: 'left_mg', label: t('spools.waste'), kind: 'grams' }, { name: 'note', label: t('spools.note') }]} />`}</section>`;
}
/** On which machine and tool. @param {{spool: any, onClose: () => void}} p */
function Load({ spool, onClose }) {
  const places = (shop.value?.machines ?? []).filter((/** @type {any} */ m) => m.materials.includes(spool.material)).flatMap((/** @type {any} */ m) => m.nozzles.map((/** @type {any} */ _n, /** @type {number} */ i) => ({ value: `${i}/${m.name}`, label: m.nozzles.length > 1 ? `${m.name}, ${t('machine.tool', { n: i + 1 })}` : m.name })));
  return html`<${ActDialog} title=${t('spools.load')} act="machine-fit" press=${t('spools.load_do')} onClose=${onClose} lead=${t('spools.load_lead', { spool: spool.spool, material: spool.material })} says=${(/** @type {any} */ b) => t('spools.load_done', { spool: spool.spool, machine: b.machine })}
    fields=${[{ name: 'place', label: t('pages.machine'), kind: 'choice', options: places }]} complete=${(/** @type {any} */ b) => ({ machine: b.place.slice(b.place.indexOf('/') + 1), tool: Number(b.place.split('/')[0]), spool: spool.spool })}><${Caution} about=${['hot', 'moving']} /><//>`;
}
