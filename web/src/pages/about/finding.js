// What a finding means and what helps, from the program's own table of rules. SPDX-License-Identifier: Apache-2.0
import { Caution, get, html, language, t, useEffect, useState, Verdict } from '../../kit/index.js';

/** @typedef {{name: string, of: string, grade: string, compares: string, limit?: string, cause?: string, remedy?: string, caution?: string, source?: string, drawing: boolean}} Told */

/** What was answered; null before, an error's sentence where it failed. @param {string} path @returns {any} */
function useAnswer(path) {
  const [answer, set] = useState(/** @type {any} */ (null));
  useEffect(() => {
    let gone = false;
    get(path).then((a) => { if (!gone) set(a); }, (e) => { if (!gone) set({ error: e.detail ?? String(e) }); });
    return () => { gone = true; };
  }, [path]);
  return answer;
}

// The rules' texts are the program's, in English; a reader in another language is told so by the markup.
/** @param {{name: string}} p */
export function Finding({ name }) {
  const said = useAnswer(`/api/1/findings/${encodeURIComponent(name)}`);
  if (!said) return html`<section aria-labelledby="a-finding"><h2 id="a-finding">${name}</h2></section>`;
  if (said.error) return html`<section aria-labelledby="a-finding"><h2 id="a-finding">${name}</h2><p role="alert">${said.error}</p></section>`;
  const f = /** @type {Told} */ (said);
  const rows = /** @type {[string, string | undefined][]} */ ([['compares', f.compares], ['limit', f.limit], ['cause', f.cause], ['remedy', f.remedy], ['source', f.source]]);
  return html`<section class="told" aria-labelledby="a-finding"><h2 id="a-finding">${f.name}</h2>
    <p><${Verdict} verdict=${f.grade} /> ${t(`about.of_${f.of.replaceAll(' ', '_')}`)}</p>
    ${f.drawing && html`<img class="drawing" src=${`/api/1/findings/${encodeURIComponent(f.name)}/drawing.svg`} alt=${t('about.drawing_of', { name: f.name })} />`}
    ${language.value !== 'en' && html`<p class="quiet">${t('about.in_english')}</p>`}
    <dl class="pairs">${rows.filter((r) => r[1]).map(([key, text]) => html`<div key=${key}><dt>${t(`about.${key}`)}</dt><dd lang="en">${text}</dd></div>`)}</dl>
    ${f.caution && html`<div lang="en"><${Caution}>${f.caution}<//></div>`}</section>`;
}

/** Every finding by grade, gravest first. @param {{now?: string}} p */
export function FindingList({ now }) {
  const said = useAnswer('/api/1/findings');
  if (!said || said.error) return null;
  const list = /** @type {Told[]} */ (said.findings);
  return html`<section class="told" aria-labelledby="a-findings"><h2 id="a-findings">${t('about.findings')}</h2>
    ${['stop', 'ask', 'note'].map((grade) => html`<details key=${grade}><summary><${Verdict} verdict=${grade} /> ${t('about.count', { n: list.filter((f) => f.grade === grade).length })}</summary>
      <ul>${list.filter((f) => f.grade === grade).map((f) => html`<li key=${f.name}><a href=${`/about/${f.name}`} aria-current=${f.name === now ? 'page' : undefined}>${f.name}</a> <span lang="en" class="quiet">${f.compares}</span></li>`)}</ul></details>`)}</section>`;
}
