// The page "screen". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Screen(_props) {
  return html`<${Page} name="screen" title=${t('pages.screen')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
