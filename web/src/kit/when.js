// Times in the shop's zone, spans, lengths, masses, money, by the language. SPDX-License-Identifier: Apache-2.0
import { shop } from './api.js';
import { language, t } from './words.js';

/** The shop's zone (IANA name), or the computer's. */
export const zone = () => shop.value?.time_zone ?? undefined;
/** @type {Map<string, Intl.DateTimeFormat>} */
const made = new Map();
/** @param {Intl.DateTimeFormatOptions} o */
function format(o) {
  const key = `${language.value}/${zone()}/${JSON.stringify(o)}`;
  let f = made.get(key);
  if (!f) {
    f = new Intl.DateTimeFormat(language.value === 'en' ? 'en-GB' : language.value, { timeZone: zone(), ...o });
    made.set(key, f);
  }
  return f;
}
/** 4 Nov @param {number|string} at */
export const shortDay = (at) => format({ day: 'numeric', month: 'short' }).format(ms(at));
/** 4 Nov 2026 @param {number|string} at */
export const date = (at) => format({ dateStyle: 'medium' }).format(ms(at));
/** Times are ms UTC (numbers), or text as the server writes it. @param {number|string|Date} at */
const ms = (at) => (typeof at === 'number' ? at : +new Date(at));
/** 15:10 @param {number|string} at */
export const clock = (at) => format({ hour: '2-digit', minute: '2-digit', hourCycle: 'h23' }).format(ms(at));
/** Tue 1 Dec @param {number|string} at */
export const day = (at) => format({ weekday: 'short', day: 'numeric', month: 'short' }).format(ms(at));
/** Tuesday 1 December 2026 @param {number|string} at */
export const longDay = (at) => format({ weekday: 'long', day: 'numeric', month: 'long', year: 'numeric' }).format(ms(at));
/** A day of the shop's zone as a key: 2026-12-01 @param {number|string} at */
export const dayKey = (at) => new Intl.DateTimeFormat('sv-SE', { timeZone: zone() }).format(ms(at));
/** The key of the day so many days after a key: by the calendar, for a day with a change of clocks has not 24 hours. @param {string} key @param {number} n */
const dayAfter = (key, n) => new Date(Date.parse(`${key}T00:00:00Z`) + n * 86400000).toISOString().slice(0, 10);
/** 15:10 today, "tomorrow 09:40", else "Thu 3 Dec 09:40" @param {number|string} at @param {number} [now] */
export function when(at, now = Date.now()) {
  const a = dayKey(at), today = dayKey(now);
  if (a === today) return clock(at);
  if (a === dayAfter(today, 1)) return t('kit.tomorrow', { at: clock(at) });
  if (a === dayAfter(today, -1)) return t('kit.yesterday', { at: clock(at) });
  return `${day(at)} ${clock(at)}`;
}
/** 2 h 05 min, 40 min, 35 s @param {number} span ms */
export function span(span) {
  const s = Math.round(Math.abs(span) / 1000), m = Math.round(s / 60);
  if (s < 60) return `${s}\u202fs`;
  if (m < 60) return `${m}\u202fmin`;
  if (m < 48 * 60) return `${Math.floor(m / 60)}\u202fh ${String(m % 60).padStart(2, '0')}\u202fmin`;
  return t('kit.days', { n: Math.round(m / 1440) });
}
/** 4:05 left, as a count-down: minutes and seconds; beyond an hour h:mm:ss. Negative: with a sign. @param {number} left ms */
export function countDown(left) {
  const s = Math.floor(Math.abs(left) / 1000), two = (/** @type {number} */ n) => String(n).padStart(2, '0');
  return `${left < 0 ? '\u2212' : ''}${s >= 3600 ? `${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}` : Math.floor(s / 60)}:${two(s % 60)}`;
}
/** @param {number} value @param {number} [places] */
export const number = (value, places = 0) => new Intl.NumberFormat(language.value, { minimumFractionDigits: places, maximumFractionDigits: places }).format(value);
/** Metres from micrometres. @param {number} um @param {number} [places] */
export const metres = (um, places = 1) => `${number(um / 1e6, places)}\u202fm`;
/** Grams from milligrams. @param {number} mg @param {number} [places] */
export const grams = (mg, places = 0) => `${number(mg / 1000, places)}\u202fg`;
/** Money from minor units. @param {number} minor @param {string} currency */
export function money(minor, currency) {
  const f = new Intl.NumberFormat(language.value, { style: 'currency', currency });
  return f.format(minor / 10 ** (f.resolvedOptions().maximumFractionDigits ?? 2));
}
