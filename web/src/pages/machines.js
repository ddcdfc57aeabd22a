// The page "machines". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Machines(_props) {
  return html`<${Page} name="machines" title=${t('pages.machines')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
