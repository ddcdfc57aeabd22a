// The screen on the wall: tickets that are called, machines with their times, what is free next; numbers only. SPDX-License-Identifier: Apache-2.0
import { clock, html, Mark, Page, shop, t, Trouble, useAsk, useEffect, useNow, useState, when } from '../kit/index.js';

const EVERY_MS = 10000;
const marks = { free: 'clear', kept: 'note', prints: 'note', ends: 'note', cools: 'ask', taken: 'note', 'out-of-use': 'stop' };

export default function Screen() {
  const { data, error, again } = useAsk('/api/1/screen', {}, { concerns: ['ticket-', 'run-', 'machine-', 'undo'] });
  const now = useNow(1000);
  const [seen, setSeen] = useState(Date.now());
  useEffect(() => { if (data) setSeen(Date.now()); }, [data]);
  useEffect(() => { // it asks by itself all night; a sleeping computer that wakes asks at once
    const look = () => { if (!document.hidden) void again(); };
    const timer = setInterval(look, EVERY_MS);
    document.addEventListener('visibilitychange', look);
    return () => { clearInterval(timer); document.removeEventListener('visibilitychange', look); };
  }, []);
  useEffect(() => { // the display stays on where the browser can hold it
    /** @type {any} */ let held;
    const hold = async () => { try { held = await /** @type {any} */ (navigator).wakeLock?.request('screen'); } catch { /* it may go dark, then */ } };
    void hold();
    const anew = () => { if (!document.hidden) void hold(); };
    document.addEventListener('visibilitychange', anew);
    return () => { document.removeEventListener('visibilitychange', anew); void held?.release?.(); };
  }, []);
  const stale = now - seen > 90000;
  return html`<${Page} name="screen" title=${t('screen.title', { shop: shop.value?.name ?? '' })} acts=${html`<p class="clock"><time>${clock(now)}</time></p>`}>
    ${error && !data && html`<${Trouble} error=${error} />`}
    ${stale && data && html`<p class="stale" role="status"><${Mark} grade="ask" /> ${t('screen.stale', { at: clock(seen) })}</p>`}
    ${data && html`<section class="now-called" aria-labelledby="s-called" aria-live="polite"><h2 id="s-called">${t('screen.called')}</h2>
        ${data.called.length === 0 ? html`<p class="none">${t('screen.none_called')}</p>` : html`<ul>${data.called.map((/** @type {any} */ c) => html`<li key=${c.ticket}><strong class="number">${c.ticket}</strong> <span>${c.machine ?? ''}</span> <small>${t('screen.until', { at: clock(c.until_ms) })}</small></li>`)}</ul>`}</section>
      ${data.waiting.length > 0 && html`<p class="waiting">${t('screen.waiting')} ${data.waiting.slice(0, 12).map((/** @type {number} */ n) => html`<strong key=${n}>${n}</strong> `)}${data.waiting.length > 12 ? '…' : ''}</p>`}
      <section class="machines" aria-labelledby="s-machines"><h2 id="s-machines">${t('screen.machines')}</h2><ul>${data.machines.map((/** @type {any} */ m) => html`<li key=${m.machine} class=${m.state}><span class="name">${m.machine}</span>
        <span class="state"><${Mark} grade=${/** @type {any} */ (marks)[m.state]} /> ${t(`screen.state_${m.state}`)}</span><span class="run">${m.run ? t('screen.run', { run: m.run }) : ''}</span>
        <span class="end">${m.state === 'prints' && m.end_ms ? html`${when(m.end_ms, now)}${m.end_high_ms - m.end_low_ms > 120000 ? html` <small>${t('screen.range', { low: clock(m.end_low_ms), high: clock(m.end_high_ms) })}</small>` : ''}` : ''}</span></li>`)}</ul></section>
      <p class="next">${!data.staffed ? (data.opens_ms ? t('screen.opens', { at: when(data.opens_ms, now) }) : t('screen.closed')) : !data.next_free_ms ? t('screen.nobody_knows') : data.next_free_ms <= now ? t('screen.free_now', { machine: data.next_machine }) : t('screen.next_free', { machine: data.next_machine, at: when(data.next_free_ms, now) })}</p>`}<//>`;
}
