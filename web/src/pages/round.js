// The page "round". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Round(_props) {
  return html`<${Page} name="round" title=${t('pages.round')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
