// What is on a stick, and what became of writing it. SPDX-License-Identifier: Apache-2.0
import { Button, get, html, Mark, number, post, t, Trouble, useEffect, useState } from '../../kit/index.js';

/** @param {{machine: string, mounted: boolean}} p */
export function StickLook({ machine, mounted }) {
  const [data, setData] = useState(/** @type {any} */ (null));
  useEffect(() => {
    const stop = new AbortController();
    setData(null);
    get(`/api/1/stick-look?machine=${encodeURIComponent(machine)}`, { signal: stop.signal, background: true }).then(setData, () => {}); // no stick there is said elsewhere
    return () => stop.abort();
  }, [machine]);
  if (!data || (!mounted && !data.files.length)) return html``; // an empty folder where no stick shows says nothing of the stick
  return html`<details class="on-stick"><summary>${data.files.length ? t('out.also_there', { n: data.files.length }) : t('out.stick_empty')}</summary>
    ${data.files.length > 0 && html`<ul>${data.files.map((/** @type {any} */ f) => html`<li key=${f.path}><span>${f.path}</span> <span class="quiet">${t(`out.state_${f.state.replaceAll('-', '_')}`)}, ${number(f.bytes / 1e6, 1)} MB${f.name_says ? `, ${f.name_says}` : ''}</span></li>`)}</ul>`}
    ${data.more && html`<p class="quiet">${t('out.more_there')}</p>`}</details>`;
}

/** The stick after a hand-out. @param {{stick: any, run: any}} p */
export function Written({ stick, run }) {
  const [again, setAgain] = useState(/** @type {any} */ (null));
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const s = again ?? stick;
  if (!run.stick) return html`<p>${t('out.went_without')}</p>`;
  const write = async (/** @type {boolean} */ folder) => {
    try { setAgain((await post('/api/1/stick-write', { run: run.run, ...(folder ? { folder: true } : {}) })).stick); setError(null); } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  return html`<div class="stack">${s ? html`<p><${Mark} grade="clear" /> ${t('out.written', { stick: run.stick, name: s.name })} ${t(`out.released_${s.released}`)}</p>` : html`<p>${t('out.stick_with', { stick: run.stick })}</p>`}
    <${Trouble} error=${error} />${run.state === 'out' && html`<div><${Button} kind="quiet" onPress=${() => write(Boolean(s && !s.mounted))}>${t('out.write_again')}<//></div>`}</div>`;
}
