// The page "tickets". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Tickets(_props) {
  return html`<${Page} name="tickets" title=${t('pages.tickets')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
