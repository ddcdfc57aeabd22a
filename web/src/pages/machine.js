// One machine: how it stands, what is fitted and loaded, tagging out and in, runs, history, sticks. SPDX-License-Identifier: Apache-2.0
import { Button, Caution, Empty, grams, html, Loading, Mark, may, Page, shop, t, Trouble, useAsk, useKeys, useState, when } from '../kit/index.js';
import { ActDialog, bookWord, useActs } from './people/acting.js';
import { ClearDialog, machineStands, runEnds, TagDialog } from './machines.js';
import { History } from './machine/history.js';
import { RunsTable } from './person/runs.js';

/** @param {{params: Record<string, string>}} p */
export default function Machine({ params }) {
  const machine = params.machine, known = shop.value?.machines.find((/** @type {any} */ m) => m.name === machine);
  const { data, error, again } = useAsk('machines', { machine, gap_days: shop.value?.rules.gap_check_days || undefined }, { concerns: ['machine-', 'run-', 'spool-', 'round-', 'undo'] });
  const [open, setOpen] = useState(/** @type {''|'tag'|'rest'|'clear'|'fit'|'load'|'gap'|'retire'} */ (''));
  const [tool, setTool] = useState(0);
  const { error: trouble, book } = useActs();
  const close = () => setOpen('');
  const m = data?.machines[0] ?? (data && known ? { machine, state: 'unknown', tools: [] } : null), out = m?.state === 'tagged-out' || m?.state === 'resting';
  const tools = (known?.nozzles ?? m?.tools ?? []).map((/** @type {any} */ n, /** @type {number} */ i) => ({ tool: i, given: n.diameter_mm, ...(m?.tools.find((/** @type {any} */ x) => x.tool === i) ?? {}) }));
  useKeys([{ key: 't', says: out ? t('machine.clear') : t('machine.tag'), run: () => setOpen(out ? 'clear' : 'tag') }]);
  const at = (/** @type {'fit'|'load'} */ what, /** @type {number} */ i) => { setTool(i); setOpen(what); };
  return html`<${Page} name="machine" title=${machine} lead=${m && machineStands(m)} acts=${m && m.state !== 'retired' && html`<${Button} href="/machines" kind="quiet">${t('machine.all')}<//>${out ? html`<${Button} kind="main" hotkey="t" onPress=${() => setOpen('clear')}>${t('machine.clear')}<//>` : html`<${Button} onPress=${() => setOpen('rest')}>${t('machine.rest')}<//><${Button} kind="danger" hotkey="t" onPress=${() => setOpen('tag')}>${t('machine.tag')}<//>`}`}>
    <${Trouble} error=${error ?? trouble} onAgain=${again} />
    ${!data && !error && html`<${Loading} />`}${data && !m && html`<${Empty} title=${t('machine.no_such', { machine })} />`}
    ${m && html`${out && html`<aside class="tagged" aria-label=${bookWord('machine', m.state)}><${Mark} grade="stop" /><p><strong>${bookWord('machine', m.state)}</strong>${m.since_ms ? ` ${t('machine.since', { at: when(m.since_ms) })}` : ''}: ${m.reason}</p></aside>`}
      ${m.run && html`<p><a href=${m.state === 'waiting' ? `/back?run=${m.run}` : '/today'}>${t('machine.run', { run: String(m.run) })}</a> ${t('machine.run_of', { member: m.member })} <a href="/person/${encodeURIComponent(m.member)}">${t('pages.person')}</a>${m.state === 'out' && m.ends_ms ? ` · ${t('machine.ends', { at: when(runEnds(m) ?? m.ends_ms) })}` : ''}</p>`}
      <div class="split"><section class="card" aria-labelledby="m-fitted"><h2 id="m-fitted">${t('machine.fitted')}</h2>
        <ul class="acts-list">${tools.map((/** @type {any} */ x) => html`<li key=${x.tool}><div><p><strong>${tools.length > 1 ? `${t('machine.tool', { n: x.tool + 1 })}: ` : ''}${x.nozzle_um ? t('machine.nozzle_of', { mm: x.nozzle_um / 1000 }) : t('machine.nozzle_given', { mm: x.given ?? '–' })}</strong></p>
            <p>${x.spool ? html`<a href="/spools?spool=${encodeURIComponent(x.spool)}">${x.spool}</a> ${x.material}${x.colour ? `, ${x.colour}` : ''}${x.left_mg === null ? '' : `, ${t('machine.left', { left: grams(x.left_mg) })}`}` : t('machines.no_spool')}</p></div>
          <div class="acts"><${Button} kind="quiet" label=${t('machine.load_tool', { n: x.tool + 1 })} onPress=${() => at('load', x.tool)}>${t('spools.load')}<//>${x.spool && html`<${Button} kind="quiet" label=${`${t('machine.unload')}: ${x.spool}`} onPress=${() => book('machine-fit', { machine, tool: x.tool, unload: true }, t('spools.unload_done', { spool: x.spool, machine }))}>${t('machine.unload')}<//>`}<${Button} kind="quiet" label=${t('machine.fit_tool', { n: x.tool + 1 })} onPress=${() => at('fit', x.tool)}>${t('machine.fit')}<//></div></li>`)}</ul>
        ${m.surface && html`<p>${t('machine.surface', { surface: m.surface })}</p>`}</section>
      <section class="card" aria-labelledby="m-gap"><div class="section-head"><h2 id="m-gap">${t('machines.gap')}</h2><${Button} onPress=${() => setOpen('gap')}>${t('machine.gap_do')}<//></div>
        <p>${m.gap_ms ? t('machine.gap_at', { at: when(m.gap_ms), by: m.gap_by ?? '–' }) : t('machine.gap_never')} ${m.gap_good ? t('machine.gap_holds') : html`<strong class="due">${t('machine.gap_due')}</strong>`}</p><${Sticks} machine=${machine} /></section></div>
      <${Runs} machine=${machine} /><${History} machine=${machine} />
      ${may('keeper') && m.state !== 'retired' && m.state !== 'unknown' && html`<div class="acts"><${Button} kind="danger" onPress=${() => setOpen('retire')}>${t('machine.retire')}<//></div>`}`}
    ${open === 'tag' && html`<${TagDialog} machine=${machine} onClose=${close} />`}${open === 'clear' && html`<${ClearDialog} machine=${machine} onClose=${close} />`}
    ${open === 'rest' && html`<${ActDialog} title=${t('machine.rest')} act="machine-rest" fixed=${{ machine }} press=${t('machine.rest_do')} onClose=${close} lead=${t('machine.rest_lead')} says=${() => t('machine.rest_done', { machine })} fields=${[{ name: 'reason', label: t('person.reason'), kind: 'long', required: true, hint: t('person.no_names') }]} />`}
    ${open === 'retire' && html`<${ActDialog} title=${t('machine.retire')} act="machine-retire" danger fixed=${{ machine }} press=${t('machine.retire_do')} onClose=${close} lead=${t('machine.retire_lead')} says=${() => t('machine.retire_done', { machine })} fields=${[{ name: 'reason', label: t('person.reason'), kind: 'long', required: true, hint: t('person.no_names') }]} />`}
    ${open === 'gap' && html`<${ActDialog} title=${t('machine.gap_do')} act="machine-gap" fixed=${{ machine }} press=${t('machine.gap_is_good')} onClose=${close} lead=${t('machine.gap_lead')} says=${() => t('machine.gap_done', { machine })} fields=${[{ name: 'um', label: t('machine.gap_mm'), kind: 'mm' }]}><${Caution} about=${['hot', 'moving']} /><//>`}
    ${open === 'fit' && html`<${ActDialog} title=${t('machine.fit_title', { machine })} act="machine-fit" fixed=${{ machine, tool }} press=${t('machine.fit_do')} onClose=${close} lead=${t('machine.fit_lead')} says=${() => t('machine.fit_done', { machine })}
      fields=${[{ name: 'nozzle_um', label: t('machines.nozzle'), kind: 'mm' }, { name: 'surface', label: t('machine.surface_name') }]}><${Caution} about=${['hot', 'moving', 'mains']} /><//>`}
    ${open === 'load' && html`<${Load} machine=${machine} tool=${tool} materials=${known?.materials} onClose=${close} />`}<//>`;
}
/** @param {{machine: string, tool: number, materials?: string[], onClose: () => void}} p */
function Load({ machine, tool, materials, onClose }) {
  const { data } = useAsk('spools', { limit: 1000 });
  const fit = (data?.spools ?? []).filter((/** @type {any} */ s) => s.state !== 'drying' && (!materials || materials.includes(s.material)));
  if (!data) return null;
  return html`<${ActDialog} title=${t('machine.load_title', { machine })} act="machine-fit" fixed=${{ machine, tool }} press=${t('spools.load_do')} onClose=${onClose} says=${(/** @type {any} */ b) => t('spools.load_done', { spool: b.spool, machine })} lead=${fit.length ? undefined : t('machine.load_none')}
    fields=${fit.length ? [{ name: 'spool', label: t('spools.spool'), kind: 'choice', options: fit.map((/** @type {any} */ s) => ({ value: s.spool, label: `${s.spool} ${s.material}${s.colour ? `, ${s.colour}` : ''}${s.left_mg === null ? '' : `, ${grams(s.left_mg)}`}${s.machine ? ` (${s.machine})` : ''}` })) }] : [{ name: 'spool', label: t('spools.spool'), required: true }]}><${Caution} about=${['hot', 'moving']} /><//>`;
}
/** @param {{machine: string}} p */
function Sticks({ machine }) {
  const { data } = useAsk('sticks', { machine }, { concerns: ['stick-', 'run-', 'undo'] });
  const { error, book } = useActs();
  return html`<h3>${t('machines.sticks')}</h3><${Trouble} error=${error} />${data && (data.sticks.length === 0 ? html`<p class="quiet">${t('machines.no_sticks')}</p>` : html`<ul class="acts-list">${data.sticks.map((/** @type {any} */ s) => html`<li key=${s.stick}><p><strong>${s.stick}</strong> ${s.run && s.state === 'there' ? t('machines.stick_out', { run: String(s.run) }) : `${bookWord('stick', s.state)}${s.run ? `, ${t('machines.stick_out', { run: String(s.run) })}` : ''}`}</p><div class="acts"><${Button} kind="quiet" label=${t('machines.stick_count_which', { stick: s.stick })} onPress=${() => book('stick-count', { stick: s.stick }, t('machines.stick_counted', { stick: s.stick }))}>${t('machines.stick_count')}<//></div></li>`)}</ul>`)}`;
}
/** @param {{machine: string}} p */
function Runs({ machine }) {
  const [limit, setLimit] = useState(10);
  const { data, error, again } = useAsk('runs', { machine, limit }, { concerns: ['run-', 'undo'] });
  return html`<section aria-labelledby="m-runs"><h2 id="m-runs">${t('person.runs')}</h2><${Trouble} error=${error} onAgain=${again} />${data && html`<${RunsTable} caption=${t('person.runs_table')} runs=${data.runs} empty=${t('person.no_runs')} withMember />${data.more && html`<div class="row"><${Button} onPress=${() => setLimit(limit * 4)}>${t('people.show_more')}<//></div>`}`}</section>`;
}
