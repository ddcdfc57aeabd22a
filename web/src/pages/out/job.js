// Which job: by its slip's code, or a file that is dropped or chosen. SPDX-License-Identifier: Apache-2.0
import { Button, get, html, Problem, Progress, ScanField, says, t, useEffect, useKeys, useRef, useState } from '../../kit/index.js';
import { sendBytes, sent } from '../prove/send.js';

/** @param {{job: any, ready: boolean, onJob: (job: any) => void}} p  ready: who it is for is known, so this is next */
export function Job({ job, ready, onJob }) {
  const [error, setError] = useState('');
  const [way, setWay] = useState(/** @type {any} */ (null));
  const input = useRef(/** @type {HTMLInputElement|null} */ (null)), place = useRef(/** @type {HTMLElement|null} */ (null));
  const take = async (/** @type {File|undefined} */ file) => {
    if (!file) return;
    const one = sent(file);
    setError('');
    setWay(one);
    try {
      const kept = await sendBytes(one);
      if (kept.kind !== 'job') setError(t('out.no_job', { name: file.name }));
      else onJob({ file: kept.file, name: file.name });
    } catch (e) { setError(says(/** @type {Error} */ (e))); }
    setWay(null);
  };
  const slip = async (/** @type {string} */ code) => {
    setError('');
    const name = code.toLowerCase().replace(/[^a-z0-9-]/g, '').slice(0, 40) || '-';
    try {
      const proof = await get(`/api/1/slips/${name}`);
      if ((proof.result?.format ?? proof.result?.machines?.[0]?.format ?? '').includes('part')) setError(t('out.no_job', { name: code }));
      else onJob({ file: proof.file, name: proof.result?.file ?? proof.result?.machines?.[0]?.file ?? code, proof: proof.proof, slip: proof.slip });
    } catch (e) { setError(e instanceof Problem ? e.detail : says(/** @type {Error} */ (e))); }
  };
  useEffect(() => { if (ready && !job) /** @type {HTMLElement|null|undefined} */ (place.current?.querySelector('input'))?.focus(); }, [ready, job]);
  useEffect(() => {
    const over = (/** @type {DragEvent} */ e) => { if (e.dataTransfer?.types.includes('Files')) e.preventDefault(); };
    const drop = (/** @type {DragEvent} */ e) => { e.preventDefault(); void take(e.dataTransfer?.files?.[0]); };
    addEventListener('dragover', over);
    addEventListener('drop', drop);
    return () => { removeEventListener('dragover', over); removeEventListener('drop', drop); };
  }, []);
  useKeys(job ? [] : [{ key: 'o', says: t('out.key_choose'), run: () => input.current?.click() }]);
  if (job) return html`<section class="card chosen" aria-labelledby="job-head"><h2 id="job-head">${t('out.job')}</h2><p class="big">${job.name} ${job.slip && html`<span>${job.slip}</span>`}</p><div><${Button} onPress=${() => onJob(null)}>${t('out.another')}<//></div></section>`;
  return html`<section class="card" ref=${place} aria-labelledby="job-head"><h2 id="job-head">${t('out.job')}</h2>
    <${ScanField} label=${t('out.slip_field')} hint=${t('out.slip_hint')} error=${error || undefined} onScan=${slip} />
    <div class="row"><${Button} hotkey="o" onPress=${() => input.current?.click()}>${t('out.choose')}<//> <span class="quiet">${t('out.drop')}</span></div>
    <input ref=${input} type="file" class="only-read" tabindex="-1" aria-label=${t('out.choose')} onChange=${(/** @type {any} */ e) => { void take(e.currentTarget.files[0]); e.currentTarget.value = ''; }} />
    ${way && html`<${Progress} label=${t('out.sending', { name: way.name })} value=${way.state.value.share} />`}</section>`;
}
