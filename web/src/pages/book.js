// The page "book". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Book(_props) {
  return html`<${Page} name="book" title=${t('pages.book')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
