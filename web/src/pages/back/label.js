// A part's label: the only thing of this page that goes on paper. SPDX-License-Identifier: Apache-2.0
import { html, longDay, t } from '../../kit/index.js';

/** @param {{done: {run: number, member: string, file?: string|null, place: number, kept_until_ms?: number|null}}} p */
export function Label({ done }) {
  return html`<section class="paper-label" aria-label=${t('back.label')}><p class="place">${done.place}</p><p class="whose">${t('back.label_member', { member: done.member })}</p>
    <p>${t('back.label_run', { run: done.run })} ${done.file ?? ''}</p>${done.kept_until_ms ? html`<p>${t('back.label_until', { day: longDay(done.kept_until_ms - 1) })}</p>` : ''}</section>`;
}
