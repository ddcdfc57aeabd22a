// What can be learned here: studies, their lessons with pictures, what a desk person must see. SPDX-License-Identifier: Apache-2.0
import { Button, Caution, Empty, html, Loading, number, Page, session, t, Trouble, useAsk } from '../kit/index.js';

/** @param {{query: URLSearchParams}} p */
export default function Learn({ query }) {
  const study = query.get('study');
  return study ? html`<${Study} study=${study} at=${query.get('lesson')} />` : html`<${List} />`;
}

function List() {
  const { data, error, again } = useAsk('/api/1/studies');
  return html`<${Page} name="learn" title=${t('pages.learn')} lead=${t('learn.lead')}><${Trouble} error=${error} onAgain=${again} />
    ${!data ? !error && html`<${Loading} />` : data.studies.length === 0 ? html`<${Empty} title=${t('learn.none')} />` : html`<ul class="studies">${data.studies.map((/** @type {any} */ s) => html`<li key=${s.study} class="card"><h2><a href="/learn?study=${encodeURIComponent(s.study)}">${s.title}</a></h2>
      <p>${t('learn.about', { n: s.lessons, asked: s.asked, percent: number(s.pass_permille / 10) })}${s.minutes ? ` ${t('learn.minutes', { n: s.minutes })}` : ''}${s.steps ? ` ${t('learn.steps', { n: s.steps })}` : ''}</p>
      ${s.grants && html`<p class="quiet">${t('learn.grants', { permission: s.grants })}</p>`}</li>`)}</ul>`}<//>`;
}

/** @param {{study: string, at: string|null}} p */
function Study({ study, at }) {
  const { data, error, again } = useAsk(`/api/1/studies/${encodeURIComponent(study)}`);
  const signedIn = session.value && session.value.role !== 'kiosk';
  return html`<${Page} name="learn" title=${data?.title ?? t('pages.learn')} lead=${data && t('learn.study_lead', { n: data.lessons.length })}><${Trouble} error=${error} onAgain=${again} />
    ${!data ? !error && html`<${Loading} />` : html`<nav aria-label=${t('learn.lessons')}><ol class="contents">${data.lessons.map((/** @type {any} */ l) => html`<li key=${l.lesson}><a href="#${l.lesson}">${l.title}</a></li>`)}</ol></nav>
      <${Caution} about=${['hot', 'moving', 'fumes', 'mains']} />
      ${data.lessons.map((/** @type {any} */ l) => html`<section key=${l.lesson} id=${l.lesson} class="lesson" aria-labelledby="l-${l.lesson}" open=${at === l.lesson}><h2 id="l-${l.lesson}">${l.title}</h2>
        ${l.picture && html`<img src="/api/1/studies/${encodeURIComponent(study)}/picture?file=${encodeURIComponent(l.picture.file)}" alt=${l.picture.shows} loading="lazy" />`}
        ${l.text.split(/\n\s*\n/).map((/** @type {string} */ p, /** @type {number} */ i) => html`<p key=${i}>${p}</p>`)}
        ${l.see.length > 0 && html`<p class="quiet">${t('learn.see')} ${l.see.map((/** @type {string} */ f, /** @type {number} */ i) => html`${i ? ', ' : ''}<a href="/about/${f}">${f}</a>`)}</p>`}</section>`)}
      ${data.steps.length > 0 && html`<section class="lesson" aria-labelledby="steps"><h2 id="steps">${t('learn.steps_title')}</h2><p>${t('learn.steps_lead')}</p><ul>${data.steps.map((/** @type {any} */ s) => html`<li key=${s.step}>${s.says}${s.caution ? html` <strong class="quiet">${t('kit.caution')} ${s.caution}</strong>` : ''}</li>`)}</ul></section>`}
      <div class="large"><${Button} kind="main" href=${signedIn ? `/paper?study=${encodeURIComponent(study)}` : '/sign-in?to=/paper'}>${t('learn.sit')}<//></div>`}<//>`;
}
