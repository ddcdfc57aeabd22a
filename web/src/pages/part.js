// The page "part": one proved part looked at. SPDX-License-Identifier: Apache-2.0
import { html, Page, t } from '../kit/index.js';
import { PartView } from './prove/part_view.js';

/** @param {{params: Record<string, string>, query: URLSearchParams}} p */
export default function PartPage({ params, query }) {
  const solid = Number(query.get('solid') ?? 0);
  return html`<${Page} name="part" title=${t('part.title')} lead=${t('part.lead')}><${PartView} proof=${params.proof} machine=${query.get('machine') ?? undefined} solid=${Number.isInteger(solid) && solid >= 0 ? solid : 0} /><//>`;
}
