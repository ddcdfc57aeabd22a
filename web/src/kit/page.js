// The frame of one page: its heading, its title, its acts. SPDX-License-Identifier: Apache-2.0
import { useEffect } from 'preact/hooks';
import { shop } from './api.js';
import { waiting } from './day.js';
import { html } from './html.js';

/** title: the h1 and the window's; acts: buttons beside it; name: the class its css hangs on (page-NAME).
 * @param {{title: string, name: string, lead?: any, acts?: any, children?: any}} p */
export function Page(p) {
  const house = shop.value?.name ?? 'Proveout';
  const n = waiting.value; // lines that wait for somebody at the desk
  useEffect(() => { document.title = `${n ? `(${n}) ` : ''}${p.title} \u2013 ${house}`; }, [p.title, house, n]);
  return html`<div class="page page-${p.name}"><header class="page-head"><div><h1 tabindex="-1">${p.title}</h1>${p.lead && html`<p class="lead">${p.lead}</p>`}</div>${p.acts && html`<div class="acts">${p.acts}</div>`}</header>${p.children}</div>`;
}
