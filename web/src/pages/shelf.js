// The page "shelf". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Shelf(_props) {
  return html`<${Page} name="shelf" title=${t('pages.shelf')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
