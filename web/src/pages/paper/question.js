// One question of a paper: asked, answered by keys or touch, and once it is marked, what is right and why. SPDX-License-Identifier: Apache-2.0
import { Button, html, Mark, t, Trouble, useId, useState } from '../../kit/index.js';

/** q: of a sitting; onKeep: missing where it is only looked at; teach: kept by a button alone.
 * @param {{q: any, study?: string, onKeep?: (answer: string) => Promise<void>, teach?: boolean}} p */
export function Question({ q, study, onKeep, teach }) {
  const id = useId();
  const [answer, setAnswer] = useState(/** @type {string} */ (q.answer ?? (q.kind === 'order' && q.options && !onKeep ? '' : '')));
  const [kept, setKept] = useState(q.answer ?? '');
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const keep = async (/** @type {string} */ a) => {
    if (!onKeep || !a) return;
    try {
      await onKeep(a);
      setKept(a);
      setError(null);
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  const set = (/** @type {string} */ a, now = true) => { setAnswer(a); if (now && !teach) void keep(a); };
  const state = q.mark ? html`<span class="mark-word"><${Mark} grade=${q.mark === 'right' ? 'clear' : 'stop'} /> ${t(`paper.mark_${q.mark}`)}</span>` : onKeep && kept && kept === answer && !teach ? html`<span class="quiet">${t('paper.kept')}</span>` : '';
  const P = { one: Options, several: Options, order: Order, number: Figure, place: Place }[/** @type {'one'} */ (q.kind)];
  return html`<fieldset class="question ${q.mark ?? ''}" aria-describedby="${id}s"><legend>${q.ask}</legend>
    ${q.kind === 'several' && html`<p class="hint">${t('paper.several')}</p>`}
    ${q.picture && q.kind !== 'place' && html`<img src=${pictureOf(q)} alt=${q.picture.shows} />`}
    <${P} q=${q} value=${answer} onSet=${onKeep ? set : undefined} id=${id} />
    <p id="${id}s" class="state" role="status">${state}</p><${Trouble} error=${error} />
    ${teach && html`<${Button} kind="main" onPress=${() => keep(answer)}>${t('paper.teach_do')}<//>`}
    ${q.right !== undefined && q.mark !== 'right' && html`<p class="right">${t('paper.right')} <strong>${wordsOf(q, q.right)}</strong></p>`}
    ${q.why && !teach && html`<p class="why">${q.why}${q.lesson && study ? html` <a href="/learn?study=${encodeURIComponent(study)}#${q.lesson}">${t('paper.lesson')}</a>` : ''}</p>`}</fieldset>`;
}

const pictureOf = (/** @type {any} */ q) => `/api/1/studies/${encodeURIComponent(q.picture.study)}/picture?file=${encodeURIComponent(q.picture.file)}`;
const percent = (/** @type {string} */ v) => Math.round(Number(v) / 10);
const placeWords = (/** @type {string} */ v) => { const [x, y] = v.split(','); return t('paper.place_is', { x: percent(x), y: percent(y) }); };
/** An answer in words. @param {any} q @param {string} answer */
function wordsOf(q, answer) {
  if (q.kind === 'number') return `${answer} ${q.unit}`;
  if (q.kind === 'place') return placeWords(answer);
  const words = answer.split(',').map((l) => q.options.find((/** @type {any} */ o) => o.option === l)?.words ?? l);
  return words.join(q.kind === 'order' ? ' → ' : '; ');
}

/** @param {{q: any, value: string, onSet?: (a: string, now?: boolean) => void, id: string}} p */
function Options({ q, value, onSet, id }) {
  const on = value ? value.split(',') : [], several = q.kind === 'several';
  const pick = (/** @type {string} */ o) => onSet?.(several ? q.options.map((/** @type {any} */ x) => x.option).filter((/** @type {string} */ x) => (x === o ? !on.includes(x) : on.includes(x))).join(',') : o);
  return html`<ul class="picks">${q.options.map((/** @type {any} */ o) => html`<li key=${o.option}><label class=${on.includes(o.option) ? 'on' : ''}><input type=${several ? 'checkbox' : 'radio'} name=${id} checked=${on.includes(o.option)} disabled=${!onSet} onChange=${() => pick(o.option)} /> <span>${o.words}</span></label></li>`)}</ul>`;
}

/** Moved up and down by buttons, which keys reach too. @param {{q: any, value: string, onSet?: (a: string, now?: boolean) => void}} p */
function Order({ q, value, onSet }) {
  const list = value ? value.split(',') : q.options.map((/** @type {any} */ o) => o.option);
  const words = (/** @type {string} */ l) => q.options.find((/** @type {any} */ o) => o.option === l)?.words ?? l;
  const move = (/** @type {number} */ i, /** @type {number} */ by) => {
    const to = [...list];
    [to[i], to[i + by]] = [to[i + by], to[i]];
    onSet?.(to.join(','));
  };
  return html`<p class="hint">${t(onSet ? 'paper.order_hint' : 'paper.order_was')}</p><ol class="picks order">${list.map((/** @type {string} */ l, /** @type {number} */ i) => html`<li key=${l}><span>${words(l)}</span>
    ${onSet && html`<span class="moves"><${Button} kind="quiet" disabled=${i === 0} label=${t('paper.up', { words: words(l) })} onPress=${() => move(i, -1)}>↑<//><${Button} kind="quiet" disabled=${i === list.length - 1} label=${t('paper.down', { words: words(l) })} onPress=${() => move(i, 1)}>↓<//></span>`}</li>`)}</ol>
    ${onSet && !value && html`<${Button} onPress=${() => onSet(list.join(','))}>${t('paper.order_keep')}<//>`}`;
}

/** @param {{q: any, value: string, onSet?: (a: string, now?: boolean) => void, id: string}} p */
function Figure({ q, value, onSet, id }) {
  return html`<p class="figure"><label for="${id}n">${t('paper.number')}</label> <span class="with-unit"><input id="${id}n" inputmode="decimal" value=${value} disabled=${!onSet} autocomplete="off" maxlength="20" onInput=${(/** @type {any} */ e) => onSet?.(e.currentTarget.value.trim(), false)} onChange=${(/** @type {any} */ e) => onSet?.(e.currentTarget.value.trim())} /> <span class="unit">${q.unit}</span></span></p>`;
}

/** A place in the picture: pressed, or moved by the arrow keys. @param {{q: any, value: string, onSet?: (a: string, now?: boolean) => void}} p */
function Place({ q, value, onSet }) {
  const [x, y] = value ? value.split(',').map(Number) : [500, 500];
  const clamp = (/** @type {number} */ v) => Math.max(0, Math.min(1000, Math.round(v)));
  const press = (/** @type {any} */ e) => {
    const box = e.currentTarget.getBoundingClientRect();
    if (e.clientX || e.clientY) onSet?.(`${clamp(((e.clientX - box.left) / box.width) * 1000)},${clamp(((e.clientY - box.top) / box.height) * 1000)}`);
    else onSet?.(`${x},${y}`); // by Enter: where it stands
  };
  const keys = (/** @type {KeyboardEvent} */ e) => {
    const by = { ArrowLeft: [-20, 0], ArrowRight: [20, 0], ArrowUp: [0, -20], ArrowDown: [0, 20] }[e.key];
    if (!by || !onSet) return;
    e.preventDefault();
    onSet(`${clamp(x + by[0])},${clamp(y + by[1])}`);
  };
  return html`<p class="hint">${t(onSet ? 'paper.place_hint' : 'paper.place_was')}</p><button type="button" class="place-picture" disabled=${!onSet} onClick=${press} onKeyDown=${keys} aria-label="${q.picture.shows}. ${value ? placeWords(value) : t('paper.place_none')}">
    <img src=${pictureOf(q)} alt="" />${value && html`<svg class="cross" viewBox="0 0 1000 1000" preserveAspectRatio="none" aria-hidden="true"><path d="M${x} 0V1000M0 ${y}H1000" vector-effect="non-scaling-stroke" /></svg>`}</button>`;
}
