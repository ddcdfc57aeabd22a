// The page "out". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Out(_props) {
  return html`<${Page} name="out" title=${t('pages.out')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
