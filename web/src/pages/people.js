// The page "people". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function People(_props) {
  return html`<${Page} name="people" title=${t('pages.people')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
