// A file on its way: sent with progress, proved, waited for, cancelled. SPDX-License-Identifier: Apache-2.0
import { signal } from '@preact/signals';
import { Away, get, post, Problem, session, shop, t } from '../../kit/index.js';

/** @typedef {{machine?: string, materials?: string[], recipe?: string}} Settings */
/** @typedef {{step: 'sends'|'waits'|'works'|'done'|'failed'|'cancelled', share?: number, position?: number, waiting?: number, doing?: string, answer?: any, says?: string}} State */
/** @typedef {{name: string, bytes: number, hash?: string, kind?: 'job'|'part'|'neither', state: import('@preact/signals').Signal<State>, key: number, stop: AbortController, blob: Blob|null}} Sent */

let made = 0;
/** @param {File} file @returns {Sent} */
export const sent = (file) => ({ name: file.name, bytes: file.size, blob: file, key: ++made, stop: new AbortController(), state: signal(/** @type {State} */ ({ step: 'sends', share: 0 })) });

/** The bytes, with their progress; fetch can't tell it. @param {Sent} one @returns {Promise<any>} */
function bytes(one) {
  return new Promise((done, failed) => {
    const x = new XMLHttpRequest();
    x.open('POST', '/api/1/files');
    x.setRequestHeader('Content-Type', 'application/octet-stream');
    x.setRequestHeader('X-Proveout-Name', encodeURIComponent(one.name.slice(-80)));
    if (session.value?.token) x.setRequestHeader('X-Proveout-Token', session.value.token);
    x.upload.onprogress = (e) => { one.state.value = { step: 'sends', share: e.total ? e.loaded / e.total : 0 }; };
    x.onload = () => {
      let body;
      try { body = JSON.parse(x.responseText); } catch { body = undefined; }
      if (x.status === 200) done(body);
      else failed(new Problem(x.status, body));
    };
    x.onerror = () => failed(new Away());
    x.onabort = () => failed(new DOMException('', 'AbortError'));
    one.stop.signal.addEventListener('abort', () => x.abort());
    x.send(one.blob);
  });
}

/** Sends a file without proving it: what the server keeps of it. @param {Sent} one @returns {Promise<{file: string, kind: string}>} */
export const sendBytes = (one) => bytes(one);

/** Asks for a proof and follows it to its end. @param {string} file @param {Settings} settings @param {AbortSignal} stop @param {(state: State) => void} tell */
export async function follow(file, settings, stop, tell) {
  let at = await post('/api/1/proofs', { file, ...settings }, { plain: true, signal: stop });
  const leave = () => { post(`/api/1/proofs/${at.proof}/cancel`, {}, { plain: true }).catch(() => {}); };
  stop.addEventListener('abort', leave);
  try {
    for (;;) {
      if (at.state === 'done' && !at.result) at = await get(`/api/1/proofs/${at.proof}`, { plain: true, signal: stop });
      if (at.state === 'waits') tell({ step: 'waits', position: at.position, waiting: at.waiting });
      else if (at.state === 'works') tell({ step: 'works', share: at.progress, doing: at.doing });
      else if (at.state === 'failed') { tell({ step: 'failed', says: at.no_job ? t('prove.no_job') : at.says }); return null; }
      else if (at.state === 'cancelled') { tell({ step: 'cancelled' }); return null; }
      else { tell({ step: 'done', answer: at }); return at; }
      at = await get(`/api/1/proofs/${at.proof}?wait=1`, { plain: true, signal: stop, background: true });
    }
  } finally {
    stop.removeEventListener('abort', leave);
  }
}

/** From the bytes to the proof; what goes wrong ends as its state. @param {Sent} one @param {Settings} settings */
export async function sendAndProve(one, settings) {
  const tell = (/** @type {State} */ state) => { one.state.value = state; };
  const most = shop.value?.files?.most_bytes ?? Infinity;
  try {
    if (one.bytes > most) throw new Problem(413, { detail: t('prove.too_large', { mb: Math.floor(most / 1e6) }) });
    if (one.bytes === 0) throw new Problem(422, { detail: t('prove.empty') });
    if (!one.hash) {
      const kept = await bytes(one);
      one.hash = kept.file;
      one.kind = kept.kind;
      one.blob = null;
    }
    await follow(/** @type {string} */ (one.hash), settings, one.stop.signal, tell);
  } catch (e) {
    if (one.stop.signal.aborted) tell({ step: 'cancelled' });
    else tell({ step: 'failed', says: e instanceof Problem ? e.detail : e instanceof Away ? t('prove.cut') : String(e) });
  }
}
