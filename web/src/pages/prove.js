// The page "prove". SPDX-License-Identifier: Apache-2.0
import { Empty, html, Page, t } from '../kit/index.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} _props */
export default function Prove(_props) {
  return html`<${Page} name="prove" title=${t('pages.prove')}><${Empty} title=${t('kit.not_yet')} /><//>`;
}
