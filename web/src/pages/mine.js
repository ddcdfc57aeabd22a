// The page "mine". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Mine(_props) {
  return html`<${Page} name="mine" title=${t('pages.mine')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
