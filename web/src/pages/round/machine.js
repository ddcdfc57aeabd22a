// One machine of the round: what the book says of it, and one tap for what is found. SPDX-License-Identifier: Apache-2.0
import { Button, Caution, Check, Choice, clock, errorAt, errorElsewhere, Field, grams, html, Mark, t, Trouble, useDirty, useKeys, useState, when } from '../../kit/index.js';

const points = ['bed_clear', 'stick_there', 'nozzle_clean', 'spool_on', 'heaters_off'];
export const ways = ['free', 'running', 'finished', 'failed', 'out-of-use'];

/** What the book says of the machine, in a sentence. @param {any} m @param {number} now */
export function bookSays(m, now) {
  const r = m.run;
  if (m.state !== 'in-use') return t('round.book_out_of_use', { reason: m.reason ?? '' });
  if (!r) return m.part_of ? t('round.book_part', { run: m.part_of }) : t('round.book_free');
  const v = { run: r.run, member: r.member };
  if (r.state === 'out') {
    if (r.end_ms === null || r.end_ms === undefined) return t('round.book_out', v);
    return t(r.end_ms > now ? 'round.book_until' : 'round.book_since', { ...v, at: when(r.end_ms, now) });
  }
  return t(r.state === 'failed' ? 'round.book_failed' : r.off_ms ? 'round.book_off' : 'round.book_ended', { ...v, at: r.ended_ms ? when(r.ended_ms, now) : '' });
}

/** The large choices for how it is found: the first is what the book makes likely. @param {any} m @returns {{found: string, word: string, ends?: boolean}[]} */
function choices(m) {
  if (m.run?.state === 'out') {
    const list = [{ found: 'running', word: 'goes_on' }, { found: 'finished', word: 'ended_well', ends: true }, { found: 'failed', word: 'stopped' }];
    return m.expected === 'finished' ? [list[1], list[2], list[0]] : list;
  }
  if (m.run) return [{ found: m.run.off_ms ? 'free' : m.expected, word: m.run.off_ms ? 'all_good' : 'part_there' }];
  return m.state === 'in-use' ? [{ found: 'free', word: 'all_good' }] : [{ found: 'out-of-use', word: 'still_out' }];
}

/** onFound(found, {ends, weigh}): books it. busy: it is on its way.
 * @param {{m: any, good: any, now: number, error: Error|null, first: boolean, onFound: (found: any, more: {ends?: boolean, weighs?: {spool: string, gross_mg: number}[]}) => Promise<void>, onFailed: () => void}} p */
export function Machine({ m, good, now, error, first, onFound, onFailed }) {
  const [more, setMore] = useState(false);
  const [found, setFound] = useState(m.found?.found ?? choices(m)[0].found);
  const [good5, setGood5] = useState(() => Object.fromEntries(points.map((k) => [k, m.found ? m.found[k] : good[found][k]])));
  const [note, setNote] = useState(m.found?.note ?? '');
  const [gross, setGross] = useState(/** @type {Record<string, string>} */ ({}));
  useDirty(more && (note !== '' || Object.values(gross).some((g) => g !== '')));
  const large = choices(m);
  const quick = (/** @type {{found: string, word: string, ends?: boolean}} */ c) => (c.word === 'stopped' ? onFailed() : onFound({ found: c.found, ...good[c.found] }, { ends: c.ends }));
  const choose = (/** @type {string} */ f) => { setFound(f); setGood5({ ...good[f] }); };
  const weighs = m.spools.filter((/** @type {any} */ s) => gross[s.spool]).map((/** @type {any} */ s) => ({ spool: s.spool, gross_mg: Math.round(Number(gross[s.spool].replace(',', '.')) * 1000) }));
  const badWeight = weighs.some((/** @type {any} */ w) => !(w.gross_mg > 0));
  const all = () => onFound({ found, ...good5, ...(note.trim() ? { note: note.trim() } : {}) }, { weighs, ends: found === 'finished' && m.run?.state === 'out' });
  useKeys(first ? [{ key: 'y', says: t('round.key_yes'), run: () => void quick(large[0]) }, { key: 'o', says: t('round.key_more'), run: () => setMore(true) },
    ...(m.run?.state === 'out' ? [{ key: 'x', says: t('round.key_stopped'), run: onFailed }] : [])] : []);
  const hot = m.run?.state === 'out' ? ['moving', 'hot'] : m.run ? ['hot', 'lifting'] : ['hot', 'moving'];
  return html`<div class="stack"><p class="says">${bookSays(m, now)}</p>
    ${m.watch_until_ms && html`<p class="quiet">${t('round.watch_until', { at: clock(m.watch_until_ms) })}</p>`}
    ${m.wrong && html`<p class="was-wrong"><${Mark} grade="ask" /> <span>${t('round.was_wrong', { what: points.filter((k) => !m.wrong[k]).map((k) => t(`round.not_${k}`)).join(', ') })}${m.wrong.note ? ` ${m.wrong.note}` : ''}</span></p>`}
    <${Trouble} error=${errorElsewhere(error, ['note', 'gross_mg'])} />
    <div class="large">${large.map((c, i) => html`<${Button} key=${c.word} kind=${i === 0 ? 'main' : 'plain'} hotkey=${i === 0 && first ? 'y' : c.word === 'stopped' && first ? 'x' : undefined} onPress=${() => quick(c)}>${t(`round.${c.word}`)}<//>`)}
      ${!more && html`<${Button} hotkey=${first ? 'o' : undefined} onPress=${() => setMore(true)}>${t('round.otherwise')}<//>`}</div>
    <${Caution} about=${[...hot, 'mains']} />
    ${more && html`<form class="stack more" novalidate onSubmit=${(/** @type {Event} */ e) => { e.preventDefault(); if (!badWeight) void all(); }}>
      <${Choice} label=${t('round.found')} stack value=${found} onChange=${choose} options=${ways.map((w) => ({ value: w, label: t(`round.found_${w}`) }))} />
      <fieldset class="points"><legend>${t('round.points')}</legend>${points.map((k) => html`<${Check} key=${k} label=${t(`round.${k}`)} value=${good5[k]} onChange=${(/** @type {boolean} */ on) => setGood5({ ...good5, [k]: on })} />`)}</fieldset>
      ${m.spools.map((/** @type {any} */ s) => html`<${Field} key=${s.spool} label=${t('round.weigh', { spool: s.spool })} hint=${s.left_mg !== null && s.tare_mg !== null ? t('round.weigh_hint', { left: grams(s.left_mg), gross: grams(s.left_mg + s.tare_mg) }) : t('round.weigh_plain')}
        inputmode="decimal" unit="g" value=${gross[s.spool] ?? ''} onInput=${(/** @type {string} */ v) => setGross({ ...gross, [s.spool]: v })} error=${badWeight && gross[s.spool] ? t('round.weigh_wrong') : errorAt(error, 'gross_mg')} />`)}
      <${Field} label=${t('round.note')} hint=${t('round.note_hint')} value=${note} onInput=${setNote} maxlength=${300} error=${errorAt(error, 'note')} />
      <div class="large"><${Button} type="submit" kind="main">${t('round.book')}<//></div></form>`}</div>`;
}
