// The page "today". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Today(_props) {
  return html`<${Page} name="today" title=${t('pages.today')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
