// Runs as a table: what, where, how it came out. SPDX-License-Identifier: Apache-2.0
import { Empty, html, metres, t, Table, when } from '../../kit/index.js';
import { bookWord } from '../people/acting.js';

/** How a run stands or came out, in words. @param {any} r */
export const stands = (r) => (r.outcome ? `${bookWord('outcome', r.outcome)}${r.cause ? ` (${bookWord('cause', r.cause)})` : ''}` : bookWord('state', r.state));
/** @param {{caption: string, runs: any[], empty: string, withMember?: boolean}} p */
export function RunsTable({ caption, runs, empty, withMember }) {
  return html`<${Table} caption=${caption} hideCaption=${true} rows=${runs} rowKey=${(/** @type {any} */ r) => r.run} empty=${html`<${Empty} title=${empty} />`}
    columns=${[
      { key: 'run', label: t('person.run'), head: true, show: (/** @type {any} */ r) => r.run, sort: (/** @type {any} */ r) => r.run },
      { key: 'out', label: t('person.out'), show: (/** @type {any} */ r) => (r.out_ms ? when(r.out_ms) : r.reserved_ms ? when(r.reserved_ms) : '–'), sort: (/** @type {any} */ r) => r.out_ms ?? r.reserved_ms ?? 0 },
      ...(withMember ? [{ key: 'member', label: t('pages.person'), show: (/** @type {any} */ r) => html`<a href="/person/${encodeURIComponent(r.member)}">${r.member}</a>`, sort: (/** @type {any} */ r) => r.member }]
        : [{ key: 'machine', label: t('pages.machine'), show: (/** @type {any} */ r) => (r.machine ? html`<a href="/machine/${encodeURIComponent(r.machine)}">${r.machine}</a>` : '–'), sort: (/** @type {any} */ r) => r.machine ?? '' }]),
      { key: 'file', label: t('person.file'), show: (/** @type {any} */ r) => r.file ?? '–' },
      { key: 'um', label: t('person.length'), right: true, show: (/** @type {any} */ r) => metres(r.used_um ?? r.reserved_um), sort: (/** @type {any} */ r) => r.used_um ?? r.reserved_um },
      { key: 'state', label: t('person.stands'), show: (/** @type {any} */ r) => stands(r), sort: (/** @type {any} */ r) => stands(r) },
    ]} />`;
}
