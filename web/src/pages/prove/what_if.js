// "What if": words typed in any order name a machine, materials and a recipe; each line is proved from the file that is there. SPDX-License-Identifier: Apache-2.0
import { Button, Field, html, shop, span, t, useEffect, useRef, useState, Verdict } from '../../kit/index.js';
import { metresOf, takes, whenWords } from './lines.js';
import { follow } from './send.js';

/** @typedef {import('./send.js').Settings} Settings */
/** @typedef {{key: string, settings: Settings, state: import('./send.js').State, stop: AbortController}} Line */

/** All names of the shop with what they are. */
function names() {
  const s = shop.value ?? {};
  /** @param {any} list @returns {string[]} */
  const of = (list) => (list ?? []).map((/** @type {any} */ x) => x.name);
  return [...of(s.machines).map((n) => ({ kind: 'machine', name: n })), ...of(s.materials).map((n) => ({ kind: 'material', name: n })), ...of(s.recipes).map((n) => ({ kind: 'recipe', name: n }))];
}
/** Words to settings; unknown: the first word that nothing begins with. @param {string} text @returns {{settings: Settings, unknown?: string}} */
export function understand(text) {
  /** @type {Settings} */
  const settings = {};
  let rest = text.toLowerCase().trim();
  const all = names().sort((a, b) => b.name.length - a.name.length);
  while (rest) {
    const skip = /^(on|in|by|the|recipe|and|auf|aus|mit|nach|dem|der|rezept|und|[,;]+)(\s+|$)/.exec(rest);
    if (skip) { rest = rest.slice(skip[0].length).trim(); continue; }
    const word = /^\S+/.exec(rest)?.[0] ?? '';
    const whole = all.find((n) => rest === n.name.toLowerCase() || rest.startsWith(`${n.name.toLowerCase()} `) || rest.startsWith(`${n.name.toLowerCase()},`));
    const begun = all.filter((n) => n.name.toLowerCase().startsWith(word.replace(/,$/, '')));
    const one = whole ?? (begun.length === 1 ? begun[0] : undefined);
    if (!one) return { settings, unknown: word };
    if (one.kind === 'machine') settings.machine = one.name;
    else if (one.kind === 'recipe') settings.recipe = one.name;
    else settings.materials = [...(settings.materials ?? []), one.name];
    rest = rest.slice(whole ? one.name.length : word.length).trim();
  }
  return { settings };
}
/** "on Birch in petg by everyday". @param {Settings} s */
export function phrase(s) {
  return [s.machine && t('prove.on', { what: s.machine }), s.materials?.length && t('prove.in', { what: s.materials.join(' + ') }), s.recipe && t('prove.by', { what: s.recipe })].filter(Boolean).join(' ');
}
/** The best of what a proof says. @param {any} answer */
function bestOf(answer) {
  const order = { clear: 0, ask: 1, stop: 2 };
  const rows = answer.machines, ones = answer.result.machines ?? [answer.result];
  let best = 0;
  rows.forEach((/** @type {any} */ r, /** @type {number} */ i) => { if (order[/** @type {'clear'} */ (r.verdict)] < order[/** @type {'clear'} */ (rows[best].verdict)]) best = i; });
  return { row: rows[best], one: ones[best] };
}

/** @param {{file: string, machine: string, onShow: (answer: any) => void}} p  machine: whose line is looked at; it is meant where no machine is named */
export function WhatIf({ file, machine, onShow }) {
  const [text, setText] = useState(''), [error, setError] = useState(''), [lines, setLines] = useState(/** @type {Line[]} */ ([]));
  const kept = useRef(lines);
  kept.current = lines;
  useEffect(() => () => { for (const l of kept.current) l.stop.abort(); }, [file]);
  useEffect(() => setLines([]), [file]);
  const add = async () => {
    const { settings, unknown } = understand(text);
    if (unknown || !text.trim()) { setError(unknown ? t('prove.unknown_word', { word: unknown }) : t('prove.type_words')); return; }
    const full = { machine, ...settings }, key = phrase(full);
    setError('');
    setText('');
    if (kept.current.some((l) => l.key === key)) return;
    /** @type {Line} */
    const line = { key, settings: full, state: { step: 'waits' }, stop: new AbortController() };
    setLines((all) => [...all, line]);
    const tell = (/** @type {import('./send.js').State} */ state) => setLines((all) => all.map((l) => (l.key === key ? { ...l, state } : l)));
    await follow(file, full, line.stop.signal, tell).catch((e) => { if (!line.stop.signal.aborted) tell({ step: 'failed', says: e.message }); });
  };
  const drop = (/** @type {Line} */ line) => { line.stop.abort(); setLines((all) => all.filter((l) => l.key !== line.key)); };
  const insert = (/** @type {string} */ word) => { setText((was) => `${was.trim()} ${word}`.trim()); document.querySelector(/** @type {'input'} */ ('.what-if input'))?.focus(); };
  return html`<div class="what-if"><p class="quiet">${t('prove.what_if_how')}</p>
    <form class="row" onSubmit=${(/** @type {Event} */ e) => { e.preventDefault(); void add(); }}>
      <${Field} label=${t('prove.what_if_words')} value=${text} onInput=${setText} error=${error || undefined} required maxlength=${120} />
      <${Button} type="submit">${t('prove.what_if_add')}<//></form>
    <ul class="words" aria-label=${t('prove.words')}>${names().map((n) => html`<li key=${n.kind + n.name}><button type="button" class="word ${n.kind}" onClick=${() => insert(n.name)}>${n.name}</button></li>`)}</ul>
    ${lines.length > 0 && html`<div class="table-place" role="region" tabindex="0" aria-label=${t('prove.what_if_answers')}><table><caption class="only-read">${t('prove.what_if')}</caption>
      <thead><tr><th scope="col">${t('prove.if')}</th><th scope="col">${t('prove.answer')}</th><th scope="col" class="right">${t('prove.fact_filament')}</th><th scope="col" class="right">${t('prove.fact_time')}</th><th scope="col">${t('prove.when')}</th><th scope="col"><span class="only-read">${t('prove.acts')}</span></th></tr></thead>
      <tbody>${lines.map((l) => html`<${Row} key=${l.key} line=${l} onDrop=${() => drop(l)} onShow=${onShow} />`)}</tbody></table></div>`}</div>`;
}

/** @param {{line: Line, onDrop: () => void, onShow: (answer: any) => void}} p */
function Row({ line, onDrop, onShow }) {
  const s = line.state, head = html`<th scope="row">${line.key}</th>`;
  const remove = html`<${Button} kind="quiet" onPress=${onDrop} label=${t('prove.remove', { what: line.key })}>\u00d7<//>`;
  if (s.step !== 'done') {
    return html`<tr>${head}<td colspan="4" role="status">${s.step === 'failed' ? s.says : t(`prove.step_${s.step}`)}</td><td>${remove}</td></tr>`;
  }
  const { row, one } = bestOf(s.answer), { mm, seconds } = takes(row, one);
  return html`<tr>${head}<td data-label=${t('prove.answer')}><${Verdict} verdict=${row.verdict}>${t(`prove.answer_${row.verdict}`)}<//></td>
    <td class="right" data-label=${t('prove.fact_filament')}>${metresOf(mm)}</td><td class="right" data-label=${t('prove.fact_time')}>${seconds === undefined ? '' : span(seconds * 1000)}</td>
    <td data-label=${t('prove.when')}>${whenWords(row) || row.obstacle?.says}</td>
    <td><${Button} kind="quiet" onPress=${() => onShow(s.answer)} label=${t('prove.show_what', { what: line.key })}>${t('prove.show')}<//>${remove}</td></tr>`;
}
