// The room: its air with what runs, its circuits, when a bed is cool, cards for the wall. SPDX-License-Identifier: Apache-2.0
import { Button, Chart, Empty, errorAt, errorElsewhere, Field, html, Loading, Mark, number, Page, shop, t, Table, Trouble, useAsk, useState } from '../kit/index.js';

export default function Room() {
  return html`<${Page} name="room" title=${t('pages.room')} lead=${t('room.lead')} acts=${html`<${Button} href="/api/1/room/cards.html">${t('room.cards')}<//>`}><${Air} /><${Power} /><${Cool} /><//>`;
}
/** Three digits tell enough of such figures. @param {number} v */
const rough = (v) => (v < 0.05 ? number(0) : v < 100 ? number(v, v < 10 ? 1 : 0) : number(Math.round(v / 10 ** (Math.floor(Math.log10(v)) - 2)) * 10 ** (Math.floor(Math.log10(v)) - 2)));

function Air() {
  const [v, setV] = useState({ running: '', more: '', outdoor: '', cleaner: '' });
  const whole = (/** @type {string} */ s) => (/^\d+$/.test(s.trim()) ? Number(s) : undefined);
  const asked = { day: true, ...(v.running.trim() ? { running: v.running.trim() } : {}), ...(whole(v.more) ? { more: whole(v.more) } : {}), ...(whole(v.outdoor) !== undefined ? { outdoor_m3_h: whole(v.outdoor) } : {}), ...(whole(v.cleaner) !== undefined ? { cleaner_m3_h: whole(v.cleaner) } : {}) };
  const { data, error, again } = useAsk('/api/1/room/air', asked, { concerns: ['run-', 'machine-fit'] });
  const set = (/** @type {string} */ k) => (/** @type {string} */ x) => setV({ ...v, [k]: x });
  return html`<section aria-labelledby="air"><h2 id="air">${t('room.air')}</h2>
    <div class="asked"><${Field} label=${t('room.running')} hint=${t('room.running_hint')} value=${v.running} onInput=${set('running')} maxlength=${200} error=${errorAt(error, 'running')} /><${Field} label=${t('room.more')} inputmode="numeric" value=${v.more} onInput=${set('more')} maxlength=${4} error=${errorAt(error, 'more')} />
      <${Field} label=${t('room.outdoor')} inputmode="numeric" unit="m³/h" value=${v.outdoor} onInput=${set('outdoor')} maxlength=${6} error=${errorAt(error, 'outdoor_m3_h')} /><${Field} label=${t('room.cleaner')} inputmode="numeric" unit="m³/h" value=${v.cleaner} onInput=${set('cleaner')} maxlength=${6} /></div>
    <${Trouble} error=${errorElsewhere(error ?? null, ['running', 'more', 'outdoor_m3_h'])} onAgain=${error ? again : undefined} />
    ${!data ? !error && html`<${Loading} />` : html`<p>${t('room.is', { volume: number(data.room.volume_m3, 0), changes: number(data.room.changes_per_h, 1) })} ${data.room.outdoor_m3_h !== null && data.room.outdoor_m3_h < data.room.comfort_least_m3_h * 0.995 ? html`<${Mark} grade="ask" /> ${t('room.less', { least: number(data.room.comfort_least_m3_h, 0) })}` : ''}</p>
      <${Table} caption=${t('room.table')} rows=${data.kinds.filter((/** @type {any} */ k) => k.high > 0)} rowKey=${(/** @type {any} */ k) => k.kind} columns=${[{ key: 'kind', label: t('room.what'), head: true, show: (/** @type {any} */ k) => `${t(`room.kind_${k.kind}`)} (${k.unit === '1/cm3' ? '1/cm³' : 'µg/m³'})` }, { key: 'typical', label: t('room.typical'), right: true, show: (/** @type {any} */ k) => t('room.spread', { typical: rough(k.typical), low: rough(k.low), high: rough(k.high) }) },
        { key: 'more', label: t('room.one_more'), right: true, show: (/** @type {any} */ k) => rough(k.one_more_machine) }, { key: 'change', label: t('room.one_change'), right: true, show: (/** @type {any} */ k) => rough(k.one_more_change) }, { key: 'cleaner', label: t('room.one_cleaner'), right: true, show: (/** @type {any} */ k) => (k.one_cleaner === null ? '–' : rough(k.one_cleaner)) },
        { key: 'clear', label: t('room.clears'), right: true, show: (/** @type {any} */ k) => t('room.min', { n: Math.round(k.minutes_to_clear) }) }, { key: 'target', label: t('room.target'), right: true, show: (/** @type {any} */ k) => (k.target === null ? '–' : html`<${Mark} grade=${k.typical > k.target ? 'stop' : 'clear'} /> ${rough(k.target)} (${t('room.machines_most', { n: k.machines_most ?? 0 })})`) }]} />
      ${data.day && html`<${Chart} title=${t('room.day')} says=${t('room.day_says', { peak: rough(data.day.peak), hour: `${String(Math.floor(data.day.peak_minute / 60)).padStart(2, '0')}:${String(data.day.peak_minute % 60).padStart(2, '0')}`, mean: rough(data.day.mean) })} xLabel=${t('room.hour')} x=${data.day.hours.map((/** @type {any} */ h) => h.hour)} showX=${(/** @type {number} */ x) => `${x}:00`}
        series=${[{ label: t('room.kind_particles'), unit: '1/cm³', values: data.day.hours.map((/** @type {any} */ h) => Math.round(h.particles)) }]} />`}
      <details><summary>${t('room.sources')}</summary><ul>${data.sources.map((/** @type {any} */ s) => html`<li key=${s.material}><strong>${s.material}</strong>: ${s.source}</li>`)}</ul></details><p class="caution-line"><strong>${t('kit.caution')}</strong> ${data.caution}</p>`}</section>`;
}

function Power() {
  const { data, error } = useAsk('/api/1/room/power');
  const says = (/** @type {any} */ c) => (c.unknown ? t('room.unknown') : c.never ? t('room.never') : c.heat_together >= c.machines.length ? t('room.all_heat') : `${t('room.some_heat', { n: c.heat_together })} ${c.groups.map((/** @type {string[]} */ g) => g.join(', ')).join('; ')}`);
  return html`<section aria-labelledby="power"><h2 id="power">${t('room.power')}</h2>${error ? html`<${Empty} title=${t('room.no_circuits')}>${error.message}<//>` : !data ? html`<${Loading} />` : html`<${Table} caption=${`${t('room.power')}: ${t('room.bears')}`} hideCaption rows=${data.circuits} rowKey=${(/** @type {any} */ c) => c.circuit} columns=${[{ key: 'circuit', label: t('room.circuit'), head: true, show: (/** @type {any} */ c) => html`${c.circuit} <small>${c.machines.join(', ')}</small>` },
      { key: 'running', label: t('room.all_running'), right: true, show: (/** @type {any} */ c) => html`${c.lasting_over ? html`<${Mark} grade="stop" /> ` : ''}${number(c.running_a, 1)} A` }, { key: 'heating', label: t('room.all_heating'), right: true, show: (/** @type {any} */ c) => html`${c.heating_a > c.bears_a ? html`<${Mark} grade="ask" /> ` : ''}${number(c.heating_a, 1)} A` }, { key: 'bears', label: t('room.bears'), right: true, show: (/** @type {any} */ c) => t('room.lasting', { bears: number(c.bears_a, 0), lasting: number(c.lasting_a, 1) }) }, { key: 'says', label: t('room.heat_rule'), show: says }]} />
    <p class="caution-line"><strong>${t('kit.caution')}</strong> ${data.caution}</p>`}</section>`;
}

function Cool() {
  const machines = (shop.value?.machines ?? []).map((/** @type {any} */ m) => m.name);
  const [machine, setMachine] = useState(machines[0] ?? '');
  const [text, setText] = useState('');
  const [asked, setAsked] = useState(/** @type {string|null} */ (null));
  const { data, error } = useAsk(asked === null ? null : '/api/1/room/cool', asked === null ? {} : { machine, readings: asked });
  const read = () => {
    const rows = text.trim().split(/[\n;]+/).map((l) => l.trim().split(/[\s:]+/).map((x) => Number(x.replace(',', '.'))));
    setAsked(rows.every((r) => r.length === 2 && r.every(Number.isFinite)) ? rows.map(([min, c]) => `${Math.round(min * 60)}:${Math.round(c * 1000)}`).join(',') : 'x');
  };
  return html`<section aria-labelledby="cool"><h2 id="cool">${t('room.cool')}</h2><form class="stack" novalidate onSubmit=${(/** @type {Event} */ e) => { e.preventDefault(); read(); }}>
    <div class="field"><label for="cool-machine">${t('kit.machine')}</label><select id="cool-machine" value=${machine} onChange=${(/** @type {any} */ e) => setMachine(e.currentTarget.value)}>${machines.map((/** @type {string} */ m) => html`<option key=${m}>${m}</option>`)}</select></div>
    <${Field} label=${t('room.readings')} hint=${t('room.readings_hint')} rows=${4} required value=${text} onInput=${setText} maxlength=${800} error=${errorAt(error, 'readings')} /><div><${Button} type="submit">${t('room.fit')}<//></div></form><${Trouble} error=${errorElsewhere(error ?? null, ['readings'])} />
    ${data && html`<div role="status"><p>${t('room.tau', { tau: number(data.tau_minutes, 1), low: data.tau_low === null ? '?' : number(data.tau_low, 1), high: data.tau_high === null ? '?' : number(data.tau_high, 1), book: number(data.book_tau_minutes ?? 0, 1) })}</p><p>${data.minutes_to_collect === null ? t('room.never_cool') : t('room.collect', { c: number(data.collect_below_c, 0), n: Math.round(data.minutes_to_collect) })}</p><p class="caution-line"><strong>${t('kit.caution')}</strong> ${data.caution}</p></div>`}</section>`;
}
