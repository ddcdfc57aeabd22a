// The slip: its code large, to be read or scanned; printed or saved. SPDX-License-Identifier: Apache-2.0
import { Button, html, query, shop, t } from '../../kit/index.js';

/** @param {{answer: any, machine: string}} p */
export function Slip({ answer, machine }) {
  const at = `/api/1/proofs/${answer.proof}`, days = shop.value?.files?.keep_days;
  return html`<div class="slip"><img class="squares" src="${at}/picture.svg?picture=code" alt=${t('prove.code_squares', { code: answer.slip })} width="150" height="150" />
    <div class="stack"><p class="code"><span class="only-read">${t('prove.code')} </span>${answer.slip}</p>
      <p>${t('prove.code_says')}${days ? ` ${t('prove.code_days', { n: days })}` : ''}</p>
      ${answer.file_kept === false && html`<p class="quiet">${t('prove.file_gone')}</p>`}
      <div class="row"><a class="button plain" href="${at}/slip.html" target="_blank" rel="noopener">${t('prove.slip_open')}</a>
        <a class="button plain" href="${at}/slip.pdf${query({ machine, save: true })}">${t('prove.slip_pdf', { machine })}</a>
        <a class="button quiet" href="${at}/slip.txt${query({ machine, save: true })}">${t('prove.slip_text')}</a>
        <${Button} kind="quiet" onPress=${() => window.print()}>${t('kit.print')}<//></div></div></div>`;
}
