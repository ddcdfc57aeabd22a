// Ways to lay a part: those that were found, degrees, faces. SPDX-License-Identifier: Apache-2.0
import { Button, Field, html, number, t, useEffect, useState } from '../../kit/index.js';
import { askPose, turnText, viewAddress } from './part_ask.js';
import { poseSays, sideWords } from './part_view.js';

/** @typedef {import('./part_ask.js').Part} Part @typedef {import('./part_ask.js').Posed} Posed */

/** The ways that were found; each one's estimate comes as it is computed. @param {{proof: string, which: Record<string, any>, part: Part, turn: number[], onLay: (how: Record<string, any>) => any}} p */
function Found({ proof, which, part, turn, onLay }) {
  const [told, setTold] = useState(/** @type {Record<number, Posed>} */ ({}));
  useEffect(() => {
    const stop = new AbortController();
    setTold({});
    (async () => {
      for (const [i, pose] of part.poses.entries()) {
        if (stop.signal.aborted) return;
        try {
          const answer = await askPose(proof, { ...which, turn: turnText(pose.turn) }, stop.signal);
          if (!stop.signal.aborted) setTold((was) => ({ ...was, [i]: answer }));
        } catch { /* the row goes without */ }
      }
    })();
    return () => stop.abort();
  }, [proof, which, part]);
  if (part.poses.length === 0) return html`<p class="quiet">${t('part.no_ways')}</p>`;
  return html`<ul class="part-ways">${part.poses.map((pose, i) => html`<li key=${i}><button type="button" aria-pressed=${turnText(pose.turn) === turnText(turn) ? 'true' : 'false'} onClick=${() => onLay({ turn: turnText(pose.turn) })}>
    <img src=${viewAddress(proof, { ...which, turn: turnText(pose.turn), small: true })} alt="" width="112" height="84" loading="lazy" />
    <span><strong>${sideWords(pose.down)}${i === part.as_is && pose.down !== 'bottom' ? html` <small>${t('part.as_is')}</small>` : ''}</strong>
      <span>${told[i] ? poseSays(told[i]) : t('part.waits')}</span><small>${t('part.high', { mm: number(pose.size_mm[2], 1) })}${told[i] ? `, ${fitWords(told[i])}` : ''}</small></span></button></li>`)}</ul>`;
}
/** On which machines it has room. @param {Posed} p */
export function fitWords(p) {
  const yes = p.fits.filter((f) => f.turned || f.as_is).map((f) => f.machine);
  return yes.length === p.fits.length ? t('part.fits_all') : yes.length === 0 ? t('part.fits_none') : t('part.fits', { names: yes.join(', ') });
}

/** @param {{proof: string, which: Record<string, any>, part: Part, turn: number[], picking: boolean, canPick: boolean, onPicking: (on: boolean) => void, onLay: (how: Record<string, any>) => any, onTurn: (degrees: number[]) => any}} p */
export function PartWays(p) {
  const [degrees, setDegrees] = useState(['0', '0', '0']), [wrong, setWrong] = useState(-1);
  const go = (/** @type {Event} */ e) => {
    e.preventDefault();
    const values = degrees.map((d) => Number(d.trim().replace(',', '.').replace('\u2212', '-') || '0')), bad = values.findIndex((v) => !Number.isFinite(v) || Math.abs(v) > 3600);
    setWrong(bad);
    if (bad >= 0) return undefined;
    setDegrees(['0', '0', '0']);
    return p.onTurn(values);
  };
  return html`<div class="part-lay"><section class="card" aria-labelledby="part-ways-h"><h2 id="part-ways-h">${t('part.ways')}</h2><${Found} proof=${p.proof} which=${p.which} part=${p.part} turn=${p.turn} onLay=${p.onLay} /></section>
    <section class="card" aria-labelledby="part-own-h"><h2 id="part-own-h">${t('part.own')}</h2>
      <form class="part-degrees" onSubmit=${go}><p>${t('part.degrees')}</p><div class="row">${['x', 'y', 'z'].map((axis, i) => html`<${Field} key=${axis} label=${t(`part.about_${axis}`)} value=${degrees[i]} unit="°" inputmode="text" required
        error=${wrong === i ? t('part.degrees_wrong') : undefined} onInput=${(/** @type {string} */ v) => setDegrees(degrees.map((d, k) => (k === i ? v : d)))} />`)}</div>
        <${Button} type="submit">${t('part.turn')}<//></form>
      <h3>${t('part.stand')}</h3>
      ${p.canPick && html`<div class="row"><button type="button" class="button plain" aria-pressed=${p.picking ? 'true' : 'false'} onClick=${() => p.onPicking(!p.picking)}>${t(p.picking ? 'part.picking' : 'part.pick')}</button></div>`}
      ${p.part.faces.length > 0 ? html`<ul class="part-faces">${p.part.faces.map((f) => html`<li key=${f.triangle}><${Button} kind="quiet" onPress=${() => p.onLay({ face: f.triangle })}>${t('part.face', { side: t(`part.side_${f.side}`), cm2: number(f.mm2 / 100, f.mm2 < 1000 ? 1 : 0) })}<//></li>`)}</ul>`
        : html`<p class="quiet">${t('part.no_faces')}</p>`}</section></div>`;
}
