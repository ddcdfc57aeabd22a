// Dialogs: the browser's own, so focus is held inside and comes back. SPDX-License-Identifier: Apache-2.0
import { useEffect, useId, useRef } from 'preact/hooks';
import { html } from './html.js';
import { t } from './words.js';

/** Shown while it is rendered. onClose: Escape, the cross, or a press beside it. acts: buttons at the foot.
 * @param {{title: any, onClose: () => void, children?: any, acts?: any, wide?: boolean, onSubmit?: () => any}} p */
export function Dialog(p) {
  const id = useId();
  /** @type {{current: HTMLDialogElement|null}} */
  const at = useRef(null);
  useEffect(() => {
    const d = at.current;
    const before = document.activeElement;
    d?.showModal();
    /** @type {HTMLElement|null|undefined} */ (d?.querySelector('[data-autofocus]') ?? d?.querySelector('.inside :is(input, select, textarea):not([disabled])') ?? d?.querySelector('.acts .button'))?.focus(); // never the cross: Enter would close it
    return () => {
      d?.close();
      if (before instanceof HTMLElement && before.isConnected) before.focus();
    };
  }, []);
  const body = html`<div class="inside">${p.children}</div>${p.acts && html`<div class="acts">${p.acts}</div>`}`;
  return html`<dialog ref=${at} class=${p.wide ? 'wide' : ''} aria-labelledby=${id}
    onCancel=${(/** @type {Event} */ e) => { e.preventDefault(); p.onClose(); }}
    onClick=${(/** @type {MouseEvent} */ e) => { if (e.target === at.current) p.onClose(); }}>
    <div class="sheet"><header><h2 id=${id}>${p.title}</h2><button type="button" class="close" aria-label=${t('kit.close')} onClick=${p.onClose}>\u00d7</button></header>
    ${p.onSubmit ? html`<form novalidate onSubmit=${(/** @type {Event} */ e) => { e.preventDefault(); p.onSubmit?.(); }}>${body}</form>` : body}</div></dialog>`;
}
