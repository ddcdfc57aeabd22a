// The page "person". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Person(_props) {
  return html`<${Page} name="person" title=${t('pages.person')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
