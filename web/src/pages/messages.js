// The page "messages". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Messages(_props) {
  return html`<${Page} name="messages" title=${t('pages.messages')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
