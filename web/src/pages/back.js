// The page "back". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Back(_props) {
  return html`<${Page} name="back" title=${t('pages.back')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
