// The pictures of a job: the run's time, heights as a film strip worst first, the rest; each to be looked at close. SPDX-License-Identifier: Apache-2.0
import { Button, Dialog, get, html, Loading, number, query, t, Trouble, useEffect, useState } from '../../kit/index.js';

/** @typedef {{name: string, title: string, description: string, width_mm: number, height_mm: number, z_mm: number|null, flags: number[]}} Picture */

/** @param {string} proof @param {string} machine @param {Picture} p */
const address = (proof, machine, p) => `/api/1/proofs/${proof}/picture.svg${query({ machine, picture: p.name })}`;
/** @param {Picture} p */
const alt = (p) => `${p.title}: ${p.description}`;

/** @param {{at: string, picture: Picture, caption: string, onOpen: () => void, eager?: boolean}} p */
function Shown({ at, picture, caption, onOpen, eager }) {
  return html`<figure class="picture"><button type="button" aria-label=${t('prove.look_close', { what: caption })} onClick=${onOpen}>
    <img src=${at} alt=${alt(picture)} width=${Math.round(picture.width_mm * 5)} height=${Math.round(picture.height_mm * 5)} loading=${eager ? 'eager' : 'lazy'} /></button>
    <figcaption>${caption}</figcaption></figure>`;
}

/** @param {{proof: string, machine: string, picture: Picture, list: Picture[], onTo: (p: Picture) => void, onClose: () => void}} p */
function Close({ proof, machine, picture, list, onTo, onClose }) {
  const [zoom, setZoom] = useState(1), i = list.indexOf(picture);
  const to = (/** @type {number} */ n) => { const next = list[i + n]; if (next) onTo(next); };
  const keys = (/** @type {KeyboardEvent} */ e) => {
    if (e.key === '+') setZoom((z) => Math.min(z * 1.5, 6));
    else if (e.key === '-') setZoom((z) => Math.max(z / 1.5, 1));
    else if (e.key === 'PageDown') to(1);
    else if (e.key === 'PageUp') to(-1);
    else return;
    e.preventDefault();
  };
  return html`<${Dialog} wide title=${captionOf(picture)} onClose=${onClose} acts=${html`
      <${Button} kind="quiet" disabled=${i === 0} onPress=${() => to(-1)}>${t('prove.before')}<//>
      <${Button} kind="quiet" disabled=${i === list.length - 1} onPress=${() => to(1)}>${t('prove.after')}<//>
      <${Button} disabled=${zoom <= 1} onPress=${() => setZoom((z) => Math.max(z / 1.5, 1))}>${t('prove.smaller')}<//>
      <${Button} disabled=${zoom >= 6} onPress=${() => setZoom((z) => Math.min(z * 1.5, 6))}>${t('prove.larger')}<//>`}>
    <div class="close-up" tabindex="0" role="region" aria-label=${t('prove.close_up')} data-autofocus onKeyDown=${keys}>
      <img src=${address(proof, machine, picture)} alt=${alt(picture)} style=${{ width: `${zoom * 100}%` }} /></div>
    <p class="quiet">${picture.description}</p><//>`;
}

/** @param {Picture} p */
function captionOf(p) {
  if (p.z_mm !== null) return p.flags.length ? t('prove.height_flags', { z: number(p.z_mm, 2), n: p.flags.length, flags: p.flags.join(', ') }) : t('prove.height', { z: number(p.z_mm, 2) });
  return t(`prove.picture_${p.name.replace('-', '_')}`);
}

/** @param {{proof: string, machine: string}} p */
export function Pictures({ proof, machine }) {
  const [list, setList] = useState(/** @type {Picture[]|null} */ (null)), [error, setError] = useState(/** @type {Error|null} */ (null));
  const [near, setNear] = useState(/** @type {Picture|null} */ (null)), [turn, setTurn] = useState(0);
  useEffect(() => {
    const stop = new AbortController();
    setList(null);
    setError(null);
    get(`/api/1/proofs/${proof}/pictures${query({ machine })}`, { signal: stop.signal, plain: true })
      .then((a) => setList(a.pictures)).catch((e) => { if (!stop.signal.aborted) setError(e); });
    return () => stop.abort();
  }, [proof, machine, turn]);
  if (error) return html`<${Trouble} error=${error} onAgain=${() => setTurn(turn + 1)} />`;
  if (!list) return html`<${Loading} what=${t('prove.pictures_come')} />`;
  const at = (/** @type {Picture} */ p) => address(proof, machine, p);
  const heights = list.filter((p) => p.z_mm !== null), time = list.find((p) => p.name === 'time'), rest = list.filter((p) => p.z_mm === null && p.name !== 'time' && p.name !== 'sheet');
  const show = (/** @type {Picture} */ p, /** @type {boolean} */ eager = false) => html`<${Shown} key=${p.name} at=${at(p)} picture=${p} caption=${captionOf(p)} eager=${eager} onOpen=${() => setNear(p)} />`;
  return html`${time && html`<div class="time-picture">${show(time, true)}</div>`}
    ${heights.length > 0 && html`<h3>${t('prove.worst_heights')}</h3><div class="film" role="region" tabindex="0" aria-label=${t('prove.worst_heights')}>${heights.map((p) => show(p))}</div>`}
    ${rest.length > 0 && html`<div class="panels">${rest.map((p) => show(p))}</div>`}
    ${list.find((p) => p.name === 'sheet') && html`<div class="panels sheet">${show(/** @type {Picture} */ (list.find((p) => p.name === 'sheet')))}</div>`}
    ${near && html`<${Close} proof=${proof} machine=${machine} picture=${near} list=${list} onTo=${setNear} onClose=${() => setNear(null)} />`}`;
}
