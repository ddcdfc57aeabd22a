// A field for codes: a USB scanner that types, or the camera where the browser can read codes. SPDX-License-Identifier: Apache-2.0
import { useEffect, useRef, useState } from 'preact/hooks';
import { Dialog } from './dialog.js';
import { html } from './html.js';
import { Button, Field, Trouble } from './parts.js';
import { t } from './words.js';

/** onScan: the code, without blanks at its ends; by Enter, which scanners send. @param {{label: string, onScan: (code: string) => any, hint?: string, error?: string, autofocus?: boolean}} p */
export function ScanField(p) {
  const [typed, setTyped] = useState('');
  const [camera, setCamera] = useState(false);
  const give = (/** @type {string} */ code) => { setTyped(''); if (code.trim()) void p.onScan(code.trim()); };
  const form = useRef(/** @type {HTMLFormElement|null} */ (null));
  useEffect(() => { // a scanner types into what has the focus: without it the digits of a code would be keys of the page
    if (p.autofocus && !document.querySelector('dialog[open]')) form.current?.querySelector('input')?.focus({ preventScroll: true });
  }, []);
  const can = 'BarcodeDetector' in globalThis && navigator.mediaDevices;
  return html`<form class="scan" ref=${form} novalidate onSubmit=${(/** @type {Event} */ e) => { e.preventDefault(); give(typed); }}>
    <${Field} label=${p.label} value=${typed} onInput=${setTyped} hint=${p.hint} error=${p.error} autofocus=${p.autofocus} required />
    <${Button} type="submit" kind="plain">${t('kit.take')}<//>
    ${can && html`<${Button} kind="quiet" onPress=${() => setCamera(true)}>${t('kit.camera')}<//>`}
    ${camera && html`<${Camera} label=${p.label} onClose=${() => setCamera(false)} onCode=${(/** @type {string} */ c) => { setCamera(false); give(c); }} />`}</form>`;
}
/** @param {{label: string, onClose: () => void, onCode: (code: string) => void}} p */
function Camera(p) {
  /** @type {{current: HTMLVideoElement|null}} */
  const at = useRef(null);
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  useEffect(() => {
    /** @type {MediaStream|undefined} */ let stream;
    let over = false;
    void (async () => {
      try {
        stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: 'environment' } });
        const video = at.current, reads = new BarcodeDetector({ formats: ['qr_code', 'code_128', 'code_39', 'ean_13'] });
        if (over || !video) { stream.getTracks().forEach((k) => k.stop()); return; }
        video.srcObject = stream;
        await video.play();
        while (!over) {
          const [one] = await reads.detect(video);
          if (one && !over) return p.onCode(one.rawValue);
          await new Promise((r) => setTimeout(r, 150));
        }
      } catch { if (!over) setError(new Error(t('kit.no_camera'))); }
      return undefined;
    })();
    return () => { over = true; stream?.getTracks().forEach((k) => k.stop()); };
  }, []);
  return html`<${Dialog} title=${p.label} onClose=${p.onClose}><${Trouble} error=${error} /><video ref=${at} class="camera" muted playsinline></video><//>`;
}
