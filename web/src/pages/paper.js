// Papers of one's own: drawn, answered one by one, handed in, what was missed taught again. SPDX-License-Identifier: Apache-2.0
import { Button, countDown, Empty, get, go, html, Loading, Mark, notice, number, Page, post, t, Trouble, useAsk, useEffect, useNow, useState, when } from '../kit/index.js';
import { Question } from './paper/question.js';

/** @param {{query: URLSearchParams}} p */
export default function Paper({ query }) {
  const paper = query.get('paper');
  return paper ? html`<${Sitting} key=${paper} paper=${paper} />` : html`<${Mine} wanted=${query.get('study')} />`;
}

/** @param {{wanted: string|null}} p */
function Mine({ wanted }) {
  const { data, error, again } = useAsk('/api/1/papers', {}, { concerns: ['paper-', 'practice-', 'permit-'] });
  const { data: all } = useAsk('/api/1/studies');
  const [trouble, setTrouble] = useState(/** @type {Error|null} */ (null));
  const now = useNow(60000);
  const draw = async (/** @type {string} */ study, /** @type {boolean} */ refresher) => {
    try {
      const got = await post('/api/1/papers', { study, ...(refresher ? { refresher: true } : {}) });
      go(`/paper?paper=${got.paper}`);
    } catch (e) { setTrouble(/** @type {Error} */ (e)); }
  };
  const title = (/** @type {string} */ id) => all?.studies.find((/** @type {any} */ s) => s.study === id)?.title ?? id;
  const studies = (all?.studies ?? []).filter((/** @type {any} */ s) => !wanted || s.study === wanted);
  return html`<${Page} name="paper" title=${t('pages.paper')} lead=${t('paper.lead')}><${Trouble} error=${error ?? trouble} onAgain=${error ? again : undefined} />
    ${!data || !all ? !error && html`<${Loading} />` : html`
      ${data.papers.length > 0 && html`<section aria-labelledby="papers"><h2 id="papers">${t('paper.yours')}</h2><ul class="papers">${data.papers.map((/** @type {any} */ p) => html`<li key=${p.paper} class="card row"><div><p><strong>${title(p.study)}</strong> ${p.kind === 'refresher' ? t('paper.refresher') : p.kind === 'import' ? t('paper.import') : ''}</p>
        <p class="quiet">${p.state === 'open' ? t('paper.open_since', { at: when(p.drawn_ms, now) }) : p.state === 'void' ? t('paper.void') : `${when(p.handed_ms, now)}${p.points !== null ? `, ${t('paper.points', { points: number(p.points), most: number(p.most) })}` : ''}`}</p></div>
        <p>${p.state === 'handed-in' ? html`<${Mark} grade=${p.passed ? 'clear' : p.met ? 'ask' : 'stop'} /> ${t(p.passed ? 'paper.passed' : p.met ? 'paper.teach_first' : 'paper.failed')}` : ''}</p>
        ${p.kind !== 'import' && p.state !== 'void' && html`<${Button} kind=${p.state === 'open' ? 'main' : 'plain'} href="/paper?paper=${p.paper}" label="${t(p.state === 'open' ? 'paper.go_on' : 'paper.look')}: ${title(p.study)}">${t(p.state === 'open' ? 'paper.go_on' : 'paper.look')}<//>`}</li>`)}</ul></section>`}
      <section aria-labelledby="draw"><h2 id="draw">${t('paper.draw')}</h2>${studies.length === 0 ? html`<${Empty} title=${t('learn.none')} />` : html`<ul class="papers">${studies.map((/** @type {any} */ s) => html`<li key=${s.study} class="card"><h3>${s.title}</h3>
        <p>${t('paper.asks', { n: s.asked, percent: number(s.pass_permille / 10) })}${s.minutes ? ` ${t('learn.minutes', { n: s.minutes })}` : ''} ${s.pause_hours ? t('paper.pause', { n: s.pause_hours }) : ''}</p>
        <div class="row"><${Button} kind="main" onPress=${() => draw(s.study, false)}>${t('paper.begin')}<span class="only-read"> – ${s.title}</span><//><${Button} kind="quiet" onPress=${() => draw(s.study, true)}>${t('paper.begin_refresher')}<span class="only-read"> – ${s.title}</span><//><${Button} kind="quiet" href="/learn?study=${encodeURIComponent(s.study)}">${t('paper.lessons')}<span class="only-read"> – ${s.title}</span><//></div></li>`)}</ul>`}</section>`}<//>`;
}

/** @param {{paper: string}} p */
function Sitting({ paper }) {
  const [sitting, setSitting] = useState(/** @type {any} */ (null));
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const [sure, setSure] = useState(false);
  const [ahead, setAhead] = useState(0); // the server's clock before this one's
  const load = async () => {
    try {
      const got = await get(`/api/1/papers/${paper}`);
      setSitting(got);
      setAhead(got.now_ms - Date.now());
      setError(null);
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  useEffect(() => { void load(); }, [paper]);
  if (!sitting) return html`<${Page} name="paper" title=${t('pages.paper')}><${Trouble} error=${error} onAgain=${load} />${!error && html`<${Loading} />`}<//>`;
  const left = sitting.questions.filter((/** @type {any} */ q) => q.answer === null && !q.gone).length;
  const keep = async (/** @type {any} */ q, /** @type {string} */ answer) => {
    await post(`/api/1/papers/${paper}/answer`, { question: q.question, answer });
    setSitting((/** @type {any} */ s) => ({ ...s, questions: s.questions.map((/** @type {any} */ x) => (x.question === q.question ? { ...x, answer } : x)) }));
  };
  const teach = async (/** @type {any} */ q, /** @type {string} */ answer) => {
    const got = await post(`/api/1/papers/${paper}/teach`, { question: q.question, answer });
    setSitting(got);
    notice(t(got.taught.right ? 'paper.taught_right' : 'paper.taught_wrong'), { bad: !got.taught.right });
    if (got.taught.granted) notice(t('paper.granted', { permission: got.taught.granted }));
  };
  const handIn = async () => {
    if (left > 0 && !sure) { setSure(true); return; }
    try {
      const got = await post(`/api/1/papers/${paper}/hand-in`, {});
      setSitting(got);
      setError(null);
      scrollTo(0, 0);
      /** @type {HTMLElement|null} */ (document.querySelector('main h1'))?.focus();
      if (got.granted) notice(t('paper.granted', { permission: got.granted }));
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  const open = sitting.state === 'open', toTeach = sitting.questions.filter((/** @type {any} */ q) => q.teach);
  return html`<${Page} name="paper" title=${sitting.title} lead=${open ? t('paper.sit_lead') : ''}>
    ${open ? html`<${TimeLeft} until=${sitting.until_ms} ahead=${ahead} />` : html`<section class="result" role="status"><p class="verdict-line"><${Mark} grade=${sitting.passed ? 'clear' : sitting.met ? 'ask' : 'stop'} /> <strong>${t(sitting.passed ? 'paper.passed' : sitting.met ? 'paper.teach_first' : 'paper.failed')}</strong> ${sitting.points !== null ? t('paper.points', { points: number(sitting.points), most: number(sitting.most) }) : ''}</p>
      ${sitting.passed && html`<p>${t('paper.next')}</p>`}${!sitting.met && html`<p>${t('paper.again_later')}</p>`}</section>`}
    <${Trouble} error=${error} />
    ${toTeach.length > 0 && html`<section aria-labelledby="teach"><h2 id="teach">${t('paper.teach_title')}</h2><p>${t('paper.teach_lead')}</p><ol class="questions">${toTeach.map((/** @type {any} */ q) => html`<li key=${q.question}><p class="why">${q.why}${q.lesson ? html` <a href="/learn?study=${encodeURIComponent(sitting.study)}#${q.lesson}">${t('paper.lesson')}</a>` : ''}</p><${Question} q=${{ ...q, answer: null, mark: undefined, right: undefined }} onKeep=${(/** @type {string} */ a) => teach(q, a)} teach /></li>`)}</ol></section>`}
    <ol class="questions">${sitting.questions.filter((/** @type {any} */ q) => !q.teach).map((/** @type {any} */ q) => html`<li key=${q.question}>${q.gone ? html`<p class="quiet">${t('paper.gone')}</p>` : html`<${Question} q=${q} study=${sitting.study} onKeep=${open ? (/** @type {string} */ a) => keep(q, a) : undefined} />`}</li>`)}</ol>
    ${open && html`<div class="large" role="group" aria-label=${t('paper.hand_in')}>${sure && left > 0 && html`<p role="alert">${t('paper.some_left', { n: left })}</p>`}<${Button} kind="main" onPress=${handIn}>${t(sure && left > 0 ? 'paper.hand_in_anyhow' : 'paper.hand_in')}<//><p class="quiet">${t('paper.kept_hint')}</p></div>`}
    ${!open && html`<div class="row"><${Button} href="/paper">${t('paper.all')}<//></div>`}<//>`;
}

/** Ticks silently; told aloud at ten, five and one minute. @param {{until: number|null, ahead: number}} p */
function TimeLeft({ until, ahead }) {
  useNow(1000);
  if (!until) return html`<p class="quiet">${t('paper.no_limit')}</p>`;
  const left = until - Date.now() - ahead, minutes = Math.ceil(left / 60000);
  const say = left <= 0 ? t('paper.time_over') : [10, 5, 1].includes(minutes) ? t('paper.minutes_left', { n: minutes }) : '';
  return html`<p class="time-left ${left < 300000 ? 'short' : ''}"><span aria-hidden="true">${left > 0 ? t('paper.time_left', { left: countDown(left) }) : t('paper.time_over')}</span><span class="only-read" role="status">${say}</span></p>`;
}
