// What this is, and the words it uses. SPDX-License-Identifier: Apache-2.0
import { html, Page, shop, t, Verdict } from '../kit/index.js';
import { Finding, FindingList } from './about/finding.js';

const words = ['prove', 'run', 'stick', 'spool', 'watch', 'round', 'shelf', 'promise', 'allowance', 'slip'];
/** @param {{params: Record<string, string>}} p */
export default function About({ params }) {
  const version = document.querySelector('meta[name="proveout-page"]')?.getAttribute('content') ?? '';
  return html`<${Page} name="about" title=${t('pages.about')} lead=${t('about.lead', { shop: shop.value?.name ?? '' })}>
    ${params.finding && html`<${Finding} name=${params.finding} key=${params.finding} />`}
    <section aria-labelledby="a-verdicts"><h2 id="a-verdicts">${t('about.verdicts')}</h2><dl class="pairs">${['clear', 'ask', 'stop'].map((v) => html`<div key=${v}><dt><${Verdict} verdict=${v} /></dt><dd>${t(`about.verdict_${v}`)}</dd></div>`)}</dl></section>
    <section aria-labelledby="a-words"><h2 id="a-words">${t('about.words')}</h2><dl class="pairs">${words.map((w) => html`<div key=${w}><dt>${t(`about.word_${w}`)}</dt><dd>${t(`about.says_${w}`)}</dd></div>`)}</dl></section>
    <${FindingList} now=${params.finding} />
    <section aria-labelledby="a-care"><h2 id="a-care">${t('about.care')}</h2><p>${t('about.care_says')}</p></section>
    <section aria-labelledby="a-program"><h2 id="a-program">${t('about.program')}</h2><p>${t('about.free')} <a href="/api/1/openapi.json">${t('about.api')}</a></p><p class="quiet">${t('about.version', { version })}</p></section><//>`;
}
