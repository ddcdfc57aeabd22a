// What one way up takes: each recipe, each machine, the scale for the allowance, files to take along. SPDX-License-Identifier: Apache-2.0
import { Button, html, number, t, useEffect, useState } from '../../kit/index.js';
import { askScales, fileAddress, turnText } from './part_ask.js';
import { hours, sideWords } from './part_view.js';

/** @typedef {import('./part_ask.js').Part} Part @typedef {import('./part_ask.js').Posed} Posed */
const short = (/** @type {number} */ scale) => Math.floor(scale * 1000) / 1000;

/** @param {{proof: string, which: Record<string, any>, part: Part, posed: Posed}} p */
export function PartFacts({ proof, which, part, posed }) {
  const [scales, setScales] = useState(/** @type {any} */ (null)), turn = turnText(posed.pose.turn), judged = posed.estimates[posed.judged];
  useEffect(() => {
    const stop = new AbortController();
    setScales(null);
    askScales(proof, { ...which, turn, recipe: judged?.recipe }, stop.signal).then(setScales).catch(() => {});
    return () => stop.abort();
  }, [proof, which, turn]);
  const fit = posed.fits.find((f) => f.machine === part.machine), best = scales?.both_scale;
  return html`<div class="part-lay"><section class="card" aria-labelledby="part-takes-h"><h2 id="part-takes-h">${t('part.takes', { side: sideWords(posed.pose.down) })}</h2>
      ${posed.estimates.length > 0 ? html`<div class="part-table" role="group" tabindex="0" aria-labelledby="part-takes-h"><table><thead><tr><th scope="col">${t('part.recipe')}</th><th scope="col">${t('part.filament')}</th><th scope="col">${t('part.time')}</th><th scope="col">${t('part.of_support')}</th></tr></thead>
        <tbody>${posed.estimates.map((e) => html`<tr key=${e.recipe}><th scope="row">${e.recipe}</th><td>${number(e.filament_mm / 1000, 1)}\u202fm, ${number(e.filament_g, e.filament_g < 10 ? 1 : 0)}\u202fg</td>
          <td>${hours(e.seconds)} <small>${t('part.range', { low: hours(e.seconds_range[0]), high: hours(e.seconds_range[1]) })}</small></td><td>${e.support_mm > 0 ? `${number(e.support_mm / 1000, 1)}\u202fm` : t('part.none')}</td></tr>`)}</tbody></table></div>
        <p class="quiet">${t('part.model', { material: part.material, machine: part.machine })}</p>` : html`<p class="quiet">${posed.why_no_estimate ?? t('part.no_estimate')}</p>`}
      <h3>${t('part.room')}</h3><ul class="part-room">${posed.fits.map((f) => html`<li key=${f.machine}><strong>${f.machine}</strong> ${f.as_is ? t('part.fits_as_is') : f.turned ? t('part.fits_turned', { deg: number(f.turn_deg ?? 0) })
        : t('part.fits_not', { n: number(Math.max(...f.over_mm), 1), percent: number(short(f.largest_scale) * 100, 1) })}</li>`)}</ul></section>
    <section class="card" aria-labelledby="part-take-h"><h2 id="part-take-h">${t('part.take')}</h2>
      ${part.allowance_mm > 0 && html`<p>${scales ? scaleWords(scales, part, judged) : t('part.scales_wait')}</p>`}
      <ul class="part-files"><li><${Button} href=${fileAddress(proof, { ...which, turn })}>${t('part.file_turned')}<//></li>
        ${best && best < .9995 ? html`<li><${Button} href=${fileAddress(proof, { ...which, turn, scale: short(best) })}>${t('part.file_scaled', { percent: number(short(best) * 100, 1) })}<//></li>` : ''}
        ${part.mendable && html`<li><${Button} href=${fileAddress(proof, { ...which, turn, mended: true })}>${t('part.file_mended')}<//></li>`}</ul>
      <p class="quiet">${t('part.files_about')}${fit && !fit.turned && !fit.as_is ? ` ${t('part.too_large', { machine: part.machine })}` : ''}</p></section></div>`;
}
/** @param {any} s @param {Part} part @param {any} judged */
function scaleWords(s, part, judged) {
  const of = { recipe: s.recipe ?? judged?.recipe ?? '', allowance: number(s.allowance_mm / 1000, 1), percent: s.allowance_scale === null ? '' : number(short(s.allowance_scale) * 100, 1), machine: part.machine };
  if (s.allowance_scale === null) return t('part.scale_none', of);
  return s.allowance_scale >= 1 ? t('part.scale_fits', of) : t('part.scale', of);
}
