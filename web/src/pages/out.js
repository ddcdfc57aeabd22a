// The page "out": who, which job, which machine; then the stick, the start check and the first layer. SPDX-License-Identifier: Apache-2.0
import { Away, Button, Empty, get, go, html, line, notice, Page, post, Problem, t, Trouble, useAsk, useDirty, useEffect, useKeys, useMemo, useState } from '../kit/index.js';
import { Job } from './out/job.js';
import { Offers } from './out/offers.js';
import { Member } from './out/member.js';
import { Started } from './out/started.js';
import { forget, pending, remember } from './out/pending.js';

/** @typedef {{member: string, name?: string}} Who */
/** @typedef {{file: string, name: string, proof?: string, slip?: string}} TheJob */

/** Offers of machines, asked for until the proof is made. @param {Who|null} who @param {TheJob|null} job @param {Record<string, any>} more @param {number} turn */
function useOffers(who, job, more, turn) {
  const [state, setState] = useState(/** @type {{key: string, data: any, error: Error|null}} */ ({ key: '', data: null, error: null }));
  const key = who && job ? `${who.member}/${job.file}/${JSON.stringify(more)}/${turn}` : '';
  useEffect(() => {
    if (!who || !job) return undefined;
    const stop = new AbortController();
    void (async () => {
      try {
        for (;;) {
          const data = await post('/api/1/hand-out', { member: who.member, file: job.file, ...(job.proof ? { proof: job.proof } : {}), ...more }, { signal: stop.signal });
          if (stop.signal.aborted) return;
          setState({ key, data, error: null });
          if (data.state === 'done') return;
        }
      } catch (e) {
        if (!stop.signal.aborted) setState({ key, data: null, error: /** @type {Error} */ (e) });
      }
    })();
    return () => stop.abort();
  }, [key]);
  return state.key === key ? state : { key, data: null, error: null };
}

/** A request whose answer never came: what the book says of it. @param {{one: any, onBooked: (answer: any) => void, onNot: () => void}} p */
function Unknown({ one, onBooked, onNot }) {
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const look = async () => {
    try {
      const answer = await get(`/api/1/hand-out/${encodeURIComponent(one.key)}?machine=${encodeURIComponent(one.machine)}`);
      if (answer.booked) onBooked(answer);
      else onNot();
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  useEffect(() => { if (line.value !== 'cut') void look(); }, [line.value]);
  return html`<section aria-labelledby="unknown-head"><h2 id="unknown-head">${t('out.unknown')}</h2><p role="status">${t('out.unknown_lead', { machine: one.machine, member: one.member })}</p>
    <${Trouble} error=${error instanceof Away ? null : error} /><div><${Button} kind="main" onPress=${look}>${t('out.look')}<//></div></section>`;
}

/** @param {{params: Record<string, string>, query: URLSearchParams}} p */
export default function Out({ query }) {
  const named = Number(query.get('ticket')) > 0 ? Number(query.get('ticket')) : null, reserved = Number(query.get('run')) > 0 ? Number(query.get('run')) : null;
  const [who, setWho] = useState(/** @type {Who|null} */ (query.get('member') ? { member: String(query.get('member')) } : null));
  const [job, setJob] = useState(/** @type {TheJob|null} */ (null));
  const [turn, setTurn] = useState(0);
  const [done, setDone] = useState(/** @type {any} */ (null));
  const [unknown, setUnknown] = useState(/** @type {any} */ (pending()));
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const running = Number(query.get('start')) > 0 ? Number(query.get('start')) : null;
  const { data: shown } = useAsk(running && !done ? 'run' : null, running ? { run: running } : {}, { concerns: ['run-'] });
  const { data: waits } = useAsk(who && !named ? 'tickets' : null, who ? { member: who.member } : {}, { concerns: ['ticket-', 'run-', 'undo'] });
  const own = /** @type {any[]} */ (waits?.tickets ?? []).find((x) => x.state === 'waiting' || (x.state === 'called' && !x.lapsed)); // it is served by this hand-out
  const ticket = named ?? own?.ticket ?? null;
  const more = useMemo(() => ({ ...(reserved ? { run: reserved } : {}), ...(ticket ? { ticket } : {}) }), [reserved, ticket]);
  const offers = useOffers(who, done ? null : job, more, turn);
  useDirty(Boolean(who && job && !done));
  const again = () => { setWho(null); setJob(null); setDone(null); setError(null); forget(); setUnknown(null); go('/out'); };
  const booked = (/** @type {any} */ answer) => {
    forget();
    setUnknown(null);
    setError(null);
    setDone(answer);
    notice(t(answer.again ? 'out.booked_before' : 'out.booked', { run: answer.run.run, machine: answer.run.machine, member: answer.run.member }));
    document.querySelector(/** @type {'h1'} */ ('main h1'))?.focus();
  };
  const confirm = async (/** @type {any} */ offer, /** @type {Record<string, any>} */ decided) => {
    if (!who || !job) return;
    const one = remember({ member: who.member, machine: offer.machine, file: job.file });
    try {
      booked(await post('/api/1/hand-out/confirm', { key: one.key, member: who.member, file: job.file, machine: offer.machine, ...(offers.data?.proof ? { proof: offers.data.proof } : {}), ...more, ...decided }));
    } catch (e) {
      setError(/** @type {Error} */ (e));
      if (e instanceof Problem) { // nothing was booked
        forget();
        if (e.where === 'machine' || e.where === 'any_of') setTurn(turn + 1);
      } else setUnknown(one);
    }
  };
  useKeys(who || done ? [{ key: 'n', says: t('out.key_new'), run: again }] : []);
  const page = (/** @type {any} */ body) => html`<${Page} name="out" title=${t('pages.out')} lead=${t('out.lead')} acts=${(who || done || running) && html`<${Button} hotkey="n" onPress=${again}>${t('out.new')}<//>`}>${body}<//>`;
  if (unknown) return page(html`<${Unknown} one=${unknown} onBooked=${booked} onNot=${() => { forget(); setUnknown(null); setError(new Error(t('out.not_booked'))); setTurn(turn + 1); }} />`);
  if (done || shown) return page(html`<${Started} answer=${done ?? { run: shown }} onNew=${again} />`);
  if (running) return page(html`<p class="loading">${t('kit.loading')}</p>`);
  return page(html`<${Trouble} error=${who && job ? null : error} />
    <div class="split who-what"><${Member} who=${who} onWho=${(/** @type {Who|null} */ w) => { setWho(w); setError(null); }} /><${Job} job=${job} ready=${Boolean(who)} onJob=${(/** @type {TheJob|null} */ j) => { setJob(j); setError(null); }} /></div>
    ${who && ticket && html`<p class="serves">${t('out.serves', { ticket })}</p>`}
    ${who && job ? html`<${Offers} state=${offers} error=${error} onConfirm=${confirm} onAgain=${() => { setError(null); setTurn(turn + 1); }} />`
      : html`<${Empty} title=${t('out.first')}>${t('out.first_more')}<//>`}`);
}
