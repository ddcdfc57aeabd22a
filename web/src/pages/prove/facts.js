// What was measured, as label and value. SPDX-License-Identifier: Apache-2.0
import { html, number, span, t } from '../../kit/index.js';
import { metresOf } from './lines.js';

/** @param {any} v */
const there = (v) => v !== null && v !== undefined && !(typeof v === 'number' && Number.isNaN(v));
/** fromBed: a job's lowest bead lies a layer above the bed, and its part is as tall as the highest: as the slip says it. @param {any} b @param {boolean} [fromBed] @returns {string|undefined} */
function size(b, fromBed = false) {
  const low = b?.min ?? b?.[0], high = b?.max ?? b?.[1];
  return Array.isArray(low) && Array.isArray(high) && there(low[0]) ? low.map((/** @type {number} */ v, /** @type {number} */ i) => number(high[i] - (fromBed && i === 2 ? 0 : v), 1)).join(' × ') + '\u202fmm' : undefined;
}
/** @param {number} v @param {number} places @param {string} unit */
const unit = (v, places, unit) => (there(v) ? `${number(v, places)}\u202f${unit}` : undefined);

/** @param {any} f @param {any} ranges @returns {[string, string|undefined][]} */
function ofJob(f, ranges) {
  return [
    ['filament', `${metresOf(f.filament_mm)}, ${number(f.filament_g, 0)}\u202fg`],
    ['time', span(f.seconds * 1000)],
    ['likely', ranges?.seconds ? t('prove.range', { low: span(ranges.seconds[0] * 1000), high: span(ranges.seconds[1] * 1000) }) : undefined],
    ['first_layer', there(f.first_layer_seconds) ? span(f.first_layer_seconds * 1000) : undefined],
    ['size', size(f.bounds_mm, true)],
    ['layers', there(f.layers) ? t('prove.layers_of', { n: f.layers, mm: number(f.layer_height_mm ?? 0, 2) }) : undefined],
    ['bead', unit(f.bead_width_mm, 2, 'mm')],
    ['walls', there(f.walls) ? number(f.walls, 0) : undefined],
    ['fill', there(f.fill_fraction) ? `${number(f.fill_fraction * 100, 0)}\u202f%` : undefined],
    ['nozzle', unit(f.nozzle_c?.highest, 0, '°C')], ['bed', unit(f.bed_c?.highest, 0, '°C')],
    ['flow', unit(f.peak_flow_mm3_s, 1, 'mm³/s')],
    ['footholds', there(f.footholds) ? `${f.footholds} (${number(f.foothold_mm2 ?? 0, 0)}\u202fmm²)` : undefined],
    ['overhang', unit(f.overhang_mm, 0, 'mm')], ['retractions', there(f.retractions) ? number(f.retractions) : undefined],
  ];
}
/** @param {any} f @returns {[string, string|undefined][]} */
function ofPart(f) {
  return [
    ['size', size(f.bounds_mm)], ['volume', there(f.volume_mm3) ? `${number(f.volume_mm3 / 1000, 1)}\u202fcm³` : undefined],
    ['triangles', there(f.triangles) ? number(f.triangles) : undefined], ['shells', there(f.shells) ? number(f.shells) : undefined],
    ['watertight', there(f.watertight) ? t(f.watertight ? 'prove.yes' : 'prove.no') : undefined],
    ['thinnest', unit(f.thinnest_wall_mm, 2, 'mm')], ['thin_area', unit(f.thin_wall_mm2, 0, 'mm²')],
    ['overhang_area', unit(f.overhang_mm2, 0, 'mm²')], ['support', there(f.support_mm3) ? `${number(f.support_mm3 / 1000, 1)}\u202fcm³` : undefined],
    ['foothold', unit(f.foothold_mm2, 0, 'mm²')], ['units', f.units],
  ];
}

/** @param {{one: any, part: boolean}} p */
export function Facts({ one, part }) {
  const rows = (part ? ofPart(one.facts) : ofJob(one.facts, one.ranges)).filter(([, v]) => there(v) && v !== '');
  return html`<dl class="pairs facts">${rows.map(([key, value]) => html`<div key=${key}><dt>${t(`prove.fact_${key}`)}</dt><dd>${value}</dd></div>`)}</dl>`;
}
