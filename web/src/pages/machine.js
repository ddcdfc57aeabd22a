// The page "machine". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Machine(_props) {
  return html`<${Page} name="machine" title=${t('pages.machine')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
