// Machines: how each stands, what is fitted and loaded, and how the shop's machines were used. SPDX-License-Identifier: Apache-2.0
import { Button, Empty, grams, html, Loading, may, number, Page, shop, t, Table, Trouble, useAsk, useState, when } from '../kit/index.js';
import { day } from '../kit/day.js';
import { ActDialog, bookWord, useActs } from './people/acting.js';
import { Failures, UseByDay, UseBy } from './book/charts.js';

/** Machines of the shop file in its order, with the book's row of each. @param {any} data @returns {any[]} */
export function machineRows(data) {
  const rows = new Map(data.machines.map((/** @type {any} */ m) => [m.machine, m])), names = (shop.value?.machines ?? []).map((/** @type {any} */ m) => m.name);
  return [...names.map((/** @type {string} */ n) => rows.get(n) ?? { machine: n, state: 'unknown', tools: [] }), ...data.machines.filter((/** @type {any} */ m) => !names.includes(m.machine))];
}
/** When its run ends, as Today says it: learned from runs that went, not the proof's time alone. @param {any} m @returns {number|null} */
export function runEnds(m) {
  const spans = day.value?.strips.find((s) => s.machine === m.machine)?.spans ?? [];
  return spans.find((s) => s.kind === 'run' && s.run === m.run)?.until_ms ?? m.ends_ms;
}
/** How a machine stands, in a sentence. @param {any} m */
export function machineStands(m) {
  const ends = m.state === 'out' ? runEnds(m) : null;
  if (m.state === 'out') return ends ? t('machines.out_until', { run: String(m.run), at: when(ends) }) : t('machines.out', { run: String(m.run) });
  if (m.state === 'waiting') return t('machines.waiting', { run: String(m.run) });
  if (m.state === 'tagged-out' || m.state === 'resting') return `${bookWord('machine', m.state)}${m.reason ? `: ${m.reason}` : ''}`;
  return bookWord('machine', m.state) + (m.part_of ? `, ${t('machines.part_left', { run: String(m.part_of) })}` : '');
}
/** What is loaded, tool by tool. @param {any} m */
export const loaded = (m) => m.tools.map((/** @type {any} */ x) => (x.spool ? `${x.spool} ${x.material}${x.left_mg === null ? '' : ` ${grams(x.left_mg)}`}` : t('machines.no_spool'))).join('; ') || t('machines.no_spool');

export default function Machines() {
  const { data, error, again } = useAsk('machines', { gap_days: shop.value?.rules.gap_check_days || undefined }, { concerns: ['machine-', 'run-', 'spool-', 'stick-', 'round-', 'undo'] });
  const sticks = useAsk('sticks', {}, { concerns: ['stick-', 'run-', 'undo'] });
  const { error: trouble, book } = useActs();
  const [asked, setAsked] = useState(/** @type {{kind: 'tag'|'clear', machine: string}|null} */ (null));
  const rows = data ? machineRows(data) : [];
  return html`<${Page} name="machines" title=${t('pages.machines')}><${Trouble} error=${error ?? trouble} onAgain=${again} />
    ${!data && !error && html`<${Loading} />`}
    ${data && html`<${Table} caption=${t('machines.list')} hideCaption=${true} rows=${rows} rowKey=${(/** @type {any} */ m) => m.machine} onRow=${(/** @type {any} */ m) => `/machine/${encodeURIComponent(m.machine)}`} empty=${html`<${Empty} title=${t('machines.none')} />`}
      columns=${[
        { key: 'machine', label: t('pages.machine'), head: true, show: (/** @type {any} */ m) => m.machine },
        { key: 'state', label: t('machines.stands'), show: (/** @type {any} */ m) => html`<span class="state ${m.state}">${machineStands(m)}</span>`, sort: (/** @type {any} */ m) => m.state },
        { key: 'nozzle', label: t('machines.nozzle'), show: (/** @type {any} */ m) => m.tools.map((/** @type {any} */ x) => (x.nozzle_um ? `${number(x.nozzle_um / 1000, x.nozzle_um % 100 ? 2 : 1)}\u202fmm` : '–')).join('; ') || '–' },
        { key: 'loaded', label: t('machines.loaded'), show: (/** @type {any} */ m) => loaded(m) },
        { key: 'gap', label: t('machines.gap'), show: (/** @type {any} */ m) => (m.state === 'unknown' || m.state === 'retired' ? '–' : m.gap_good ? t('machines.gap_good') : html`<span class="due">${t('machines.gap_due')}</span>`) },
        { key: 'act', label: t('machines.act'), show: (/** @type {any} */ m) => (m.state === 'tagged-out' || m.state === 'resting' ? html`<${Button} kind="quiet" label=${`${t('machine.clear')}: ${m.machine}`} onPress=${() => setAsked({ kind: 'clear', machine: m.machine })}>${t('machine.clear')}<//>`
          : m.state === 'retired' ? '–' : html`<${Button} kind="quiet" label=${`${t('machine.tag')}: ${m.machine}`} onPress=${() => setAsked({ kind: 'tag', machine: m.machine })}>${t('machine.tag')}<//>`) },
      ]} />`}
    <section aria-labelledby="m-sticks"><h2 id="m-sticks">${t('machines.sticks')}</h2>
      ${sticks.data && (sticks.data.sticks.length === 0 ? html`<p class="quiet">${t('machines.no_sticks')}</p>` : html`<ul class="acts-list">${sticks.data.sticks.filter((/** @type {any} */ s) => s.state !== 'retired').map((/** @type {any} */ s) => html`<li key=${s.stick}><p><strong>${s.stick}</strong> ${t('machines.stick_of', { machine: s.machine, state: s.run && s.state === 'there' ? t('machines.stick_out', { run: String(s.run) }) : bookWord('stick', s.state) })}${s.run && s.state !== 'there' ? ` ${t('machines.stick_out', { run: String(s.run) })}` : ''}${s.counted_ms ? html` <span class="quiet">${t('machines.stick_seen', { at: when(s.counted_ms) })}</span>` : ''}</p>
        <div class="acts"><${Button} kind="quiet" label=${t('machines.stick_count_which', { stick: s.stick })} onPress=${() => book('stick-count', { stick: s.stick }, t('machines.stick_counted', { stick: s.stick }))}>${t('machines.stick_count')}<//>${s.state !== 'lost' && html`<${Button} kind="quiet" label=${t('machines.stick_lost_which', { stick: s.stick })} onPress=${() => book('stick-lost', { stick: s.stick }, t('machines.stick_is_lost', { stick: s.stick }))}>${t('machines.stick_lost')}<//>`}</div></li>`)}</ul>`)}
      ${may('keeper') && html`<${AddStick} rows=${rows} />`}</section>
    <section aria-labelledby="m-use"><h2 id="m-use">${t('machines.use')}</h2><div class="charts"><${UseByDay} /><${UseBy} by="machine" /><${UseBy} by="material" /><${Failures} /></div></section>
    ${asked?.kind === 'tag' && html`<${TagDialog} machine=${asked.machine} onClose=${() => setAsked(null)} />`}
    ${asked?.kind === 'clear' && html`<${ClearDialog} machine=${asked.machine} onClose=${() => setAsked(null)} />`}<//>`;
}
/** @param {{rows: any[]}} p */
function AddStick({ rows }) {
  const [open, setOpen] = useState(false);
  return html`<div class="row"><${Button} onPress=${() => setOpen(true)}>${t('machines.stick_add')}<//></div>${open && html`<${ActDialog} title=${t('machines.stick_add')} act="stick-add" press=${t('machines.stick_add_do')} onClose=${() => setOpen(false)} says=${(/** @type {any} */ b) => t('machines.stick_added', { stick: b.stick, machine: b.machine })}
    fields=${[{ name: 'stick', label: t('machines.stick_name'), required: true, hint: t('machines.stick_hint') }, { name: 'machine', label: t('pages.machine'), kind: 'choice', options: rows.map((m) => ({ value: m.machine, label: m.machine })) }]} />`}`;
}
/** @param {{machine: string, onClose: () => void}} p */
export const TagDialog = ({ machine, onClose }) => html`<${ActDialog} title=${t('machine.tag_which', { machine })} act="machine-tag" danger fixed=${{ machine }} press=${t('machine.tag_do')} onClose=${onClose} lead=${t('machine.tag_lead')} says=${() => t('machine.tag_done', { machine })} fields=${[{ name: 'reason', label: t('person.reason'), kind: 'long', required: true, hint: t('person.no_names') }]} />`;
/** @param {{machine: string, onClose: () => void}} p */
export const ClearDialog = ({ machine, onClose }) => html`<${ActDialog} title=${t('machine.clear_which', { machine })} act="machine-clear" fixed=${{ machine }} press=${t('machine.clear_do')} onClose=${onClose} lead=${t('machine.clear_lead')} says=${() => t('machine.clear_done', { machine })} fields=${[{ name: 'note', label: t('machine.clear_note'), kind: 'long' }]} />`;
