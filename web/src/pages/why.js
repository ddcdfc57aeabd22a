// Why a print goes wrong: the symptom by its drawing, check after check, what to believe and why, the remedy. SPDX-License-Identifier: Apache-2.0
import { act, acts, Button, Caution, Empty, Field, go, has, html, Loading, Mark, notice, number, Page, shop, t, Trouble, useAsk, useDirty, useKeys, useNow, useState, when } from '../kit/index.js';

/** A symptom in the page's language. @param {string} symptom @param {string} words */
const seen = (symptom, words) => (has(`why.symptom_${symptom}`) ? t(`why.symptom_${symptom}`) : words);
const undo = (/** @type {number} */ event) => ({ undo: async () => { await acts([{ act: 'undo', body: { event } }]); } });

/** @param {{query: URLSearchParams}} p */
export default function Why({ query }) {
  const trouble = query.get('trouble');
  return trouble ? html`<${Search} key=${trouble} trouble=${trouble} />` : html`<${Begin} machine=${query.get('machine') ?? ''} run=${query.get('run') ?? ''} />`;
}

/** @param {{machine: string, run: string}} p */
function Begin({ machine: wanted, run: ofRun }) {
  const { data, error, again } = useAsk('/api/1/why/symptoms');
  const { data: open } = useAsk('troubles', { limit: 30 }, { concerns: ['trouble-', 'undo'] });
  const machines = (shop.value?.machines ?? []).map((/** @type {any} */ m) => m.name);
  const [machine, setMachine] = useState(wanted);
  const [run, setRun] = useState(ofRun);
  const [trouble, setTrouble] = useState(/** @type {Error|null} */ (null));
  const now = useNow(60000), on = machine || machines[0] || '';
  const begin = async (/** @type {string} */ symptom) => {
    try {
      const done = await act('trouble-open', { machine: on, symptom, ...(Number(run) > 0 ? { run: Number(run) } : {}) });
      go(`/why?trouble=${done.answer.trouble}`);
    } catch (e) { setTrouble(/** @type {Error} */ (e)); }
  };
  const words = (/** @type {string} */ s) => seen(s, data?.symptoms.find((/** @type {any} */ x) => x.symptom === s)?.words ?? s);
  return html`<${Page} name="why" title=${t('pages.why')} lead=${t('why.lead')}><${Trouble} error=${error ?? trouble} onAgain=${error ? again : undefined} />
    <${Caution} about=${['hot', 'moving', 'mains']} />
    <div class="row where"><div class="field"><label for="why-machine">${t('kit.machine')}</label><select id="why-machine" value=${on} onChange=${(/** @type {any} */ e) => setMachine(e.currentTarget.value)}>${machines.map((/** @type {string} */ m) => html`<option key=${m}>${m}</option>`)}</select></div>
      <${Field} label=${t('why.run')} hint=${t('why.run_hint')} inputmode="numeric" value=${run} onInput=${setRun} maxlength=${12} /></div>
    ${!data ? !error && html`<${Loading} />` : html`<section aria-labelledby="seen"><h2 id="seen">${t('why.seen')}</h2><ul class="symptoms">${data.symptoms.map((/** @type {any} */ s) => html`<li key=${s.symptom}><button type="button" onClick=${() => begin(s.symptom)}><img src="/api/1/why/symptoms/${s.symptom}/drawing.svg" alt="" width="160" height="96" loading="lazy" /><span>${seen(s.symptom, s.words)}</span></button></li>`)}</ul></section>`}
    ${open && open.troubles.length > 0 && html`<section aria-labelledby="searches"><h2 id="searches">${t('why.searches')}</h2><ul class="stack">${open.troubles.map((/** @type {any} */ x) => html`<li key=${x.trouble} class="row"><${Mark} grade=${x.closed_ms ? (x.confirmed ? 'clear' : 'note') : 'ask'} /> <a href="/why?trouble=${x.trouble}">${x.machine}: ${words(x.symptom)}</a> <span class="quiet">${when(x.opened_ms, now)}${x.closed_ms ? `, ${x.cause ? data?.causes.find((/** @type {any} */ c) => c.cause === x.cause)?.words ?? x.cause : t('why.no_cause')}` : `, ${t('why.open')}`}</span></li>`)}</ul></section>`}<//>`;
}

/** @param {{trouble: string}} p */
function Search({ trouble }) {
  const { data: v, error, again } = useAsk(`/api/1/why/${encodeURIComponent(trouble)}`, {}, { concerns: ['trouble-', 'undo'] });
  const [bad, setBad] = useState(/** @type {Error|null} */ (null));
  const [which, setWhich] = useState(0);
  const number_ = Number(trouble), check = v && !v.closed_ms ? v.next[which] ?? v.next[0] : undefined;
  const say = async (/** @type {any} */ c, /** @type {any} */ a) => {
    try {
      const done = await act('trouble-check', { trouble: number_, check: c.check, answer: a.answer });
      notice(t('why.kept', { words: a.words }), undo(done.event));
      setBad(null);
      setWhich(0);
      await again();
    } catch (e) { setBad(/** @type {Error} */ (e)); }
  };
  useKeys(check && !v.enough ? check.answers.map((/** @type {any} */ a, /** @type {number} */ i) => ({ key: String(i + 1), says: a.words, run: () => void say(check, a) })) : []);
  if (!v) return html`<${Page} name="why" title=${t('pages.why')}><${Trouble} error=${error} onAgain=${again} />${!error && html`<${Loading} />`}<//>`;
  return html`<${Page} name="why" title=${`${v.machine ? `${v.machine}: ` : ''}${seen(v.symptom.symptom, v.symptom.words)}`} lead=${v.symptom.look}><${Trouble} error=${error ?? bad} onAgain=${error ? again : undefined} />
    ${v.closed_ms ? html`<section class="closed" role="status"><p><${Mark} grade=${v.confirmed ? 'clear' : 'note'} /> ${v.cause ? t(v.confirmed ? 'why.was_confirmed' : 'why.was', { cause: wordsOf(v, v.cause) }) : t('why.no_cause')}</p>${v.closing && html`<p>${v.closing}</p>`}</section>` : ''}
    ${check && !v.enough && html`<section class="check card" aria-labelledby="next"><h2 id="next">${t('why.next')}</h2><${OneCheck} c=${check} onSay=${say} />${v.next.length > 1 && html`<p><${Button} kind="quiet" onPress=${() => setWhich((which + 1) % v.next.length)}>${t('why.other')}<//></p>`}</section>`}
    ${!v.closed_ms && v.enough && html`<${Remedy} v=${v} number=${number_} onDone=${again} />`}
    <${Beliefs} v=${v} />
    ${(v.facts.length > 0 || v.said.length > 0) && html`<section aria-labelledby="known"><h2 id="known">${t('why.known')}</h2><ul>${v.facts.map((/** @type {any} */ f) => html`<li key=${f.fact}>${f.words}</li>`)}${v.said.map((/** @type {any} */ s) => html`<li key=${s.check}>${s.asks} <strong>${s.words}</strong></li>`)}</ul></section>`}
    ${!v.closed_ms && !v.enough && html`<details><summary>${t('why.end_now')}</summary><${Remedy} v=${v} number=${number_} onDone=${again} /></details>`}
    ${!v.closed_ms && v.enough && v.next.length > 0 && html`<details><summary>${t('why.more_checks')}</summary>${v.next.map((/** @type {any} */ c) => html`<div key=${c.check} class="card"><${OneCheck} c=${c} onSay=${say} plain /></div>`)}</details>`}
    <p><a href="/why">${t('why.all')}</a></p><//>`;
}
const wordsOf = (/** @type {any} */ v, /** @type {string} */ cause) => v.beliefs.find((/** @type {any} */ b) => b.cause === cause)?.words ?? cause;

/** @param {{c: any, onSay: (c: any, a: any) => Promise<void>, plain?: boolean}} p */
function OneCheck({ c, onSay, plain }) {
  return html`<p class="asks">${c.asks}</p><p>${c.how} <span class="quiet">${t('why.minutes', { n: c.minutes })}</span></p>${c.caution && html`<p class="caution-line"><strong>${t('kit.caution')}</strong> ${c.caution}</p>`}
    <div class="large answers">${c.answers.map((/** @type {any} */ a, /** @type {number} */ i) => html`<${Button} key=${a.answer} hotkey=${plain ? undefined : String(i + 1)} onPress=${() => onSay(c, a)}>${a.words}<//>`)}</div>`;
}

/** Bars beside figures, and what moved the first. @param {{v: any}} p */
function Beliefs({ v }) {
  const rows = v.beliefs.filter((/** @type {any} */ b, /** @type {number} */ i) => b.p >= 0.02 || i < 3);
  return html`<section aria-labelledby="believed"><h2 id="believed">${t('why.believed')}</h2><table class="beliefs"><caption class="only-read">${t('why.believed')}</caption><thead><tr><th scope="col">${t('why.cause')}</th><th scope="col" class="right">${t('why.likely')}</th><th scope="col" class="right">${t('why.at_first')}</th></tr></thead>
      <tbody>${rows.map((/** @type {any} */ b) => html`<tr key=${b.cause ?? 'else'}><th scope="row">${b.cause ? b.words : t('why.else')}<svg class="bar" viewBox="0 0 100 4" preserveAspectRatio="none" aria-hidden="true"><rect width=${100 * b.p} height="4" /></svg></th><td class="right">${number(100 * b.p, 0)} %</td><td class="right quiet">${number(100 * b.at_first, 0)} %</td></tr>`)}</tbody></table>
    ${v.reasons.length > 0 && html`<h3>${t('why.because', { cause: v.beliefs[0].cause ? v.beliefs[0].words : t('why.else') })}</h3><ul>${v.reasons.map((/** @type {any} */ r) => html`<li key=${r.words}>${r.words}: ${t(r.factor > 1 ? 'why.likelier' : 'why.less', { n: number(r.factor > 1 ? r.factor : 1 / r.factor, 1) })}</li>`)}</ul>`}
    <p class="quiet">${t('why.source')}</p></section>`;
}

/** What helps, and whether it did. @param {{v: any, number: number, onDone: () => Promise<void>}} p */
function Remedy({ v, number: trouble, onDone }) {
  const [cause, setCause] = useState(/** @type {string} */ (v.beliefs[0].cause ?? ''));
  const [note, setNote] = useState('');
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const chosen = v.beliefs.find((/** @type {any} */ b) => b.cause === cause);
  useDirty(note !== '');
  const close = async (/** @type {boolean} */ confirmed) => {
    try {
      const done = await act('trouble-close', { trouble, confirmed: confirmed && !!cause, ...(cause ? { cause, remedy: chosen?.remedy } : {}), ...(note.trim() ? { note: note.trim() } : {}) });
      notice(t('why.closed'), undo(done.event));
      await onDone();
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  return html`<section class="remedy card" aria-labelledby="remedy"><h2 id="remedy">${t('why.remedy')}</h2>
    <div class="field"><label for="cause">${t('why.cause')}</label><select id="cause" value=${cause} onChange=${(/** @type {any} */ e) => setCause(e.currentTarget.value)}>${v.beliefs.map((/** @type {any} */ b) => html`<option key=${b.cause ?? ''} value=${b.cause ?? ''}>${b.cause ? b.words : t('why.else')}</option>`)}</select></div>
    ${chosen?.remedy_words ? html`<p class="asks">${chosen.remedy_words}</p>` : html`<${Empty} title=${t('why.ask_keeper')} />`}${chosen?.caution && html`<p class="caution-line"><strong>${t('kit.caution')}</strong> ${chosen.caution}</p>`}
    <${Field} label=${t('why.note')} rows=${2} maxlength=${900} value=${note} onInput=${setNote} /><${Trouble} error=${error} />
    <div class="large">${cause && html`<${Button} kind="main" onPress=${() => close(true)}>${t('why.helped')}<//>`}<${Button} onPress=${() => close(false)}>${t('why.not_confirmed')}<//></div><p class="quiet">${t('why.learns')}</p></section>`;
}
