// The page "spools". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Spools(_props) {
  return html`<${Page} name="spools" title=${t('pages.spools')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
