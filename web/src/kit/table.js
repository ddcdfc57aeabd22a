// A table with a caption that sorts, and stands as cards on a phone. SPDX-License-Identifier: Apache-2.0
import { useState } from 'preact/hooks';
import { html } from './html.js';
import { language, t } from './words.js';

/** @template T @typedef {{key: string, label: string, show: (row: T) => any, sort?: (row: T) => number|string, right?: boolean, head?: boolean}} Column  right: figures; head: names the row */
/** @param {{caption: string, columns: Column<any>[], rows: any[], rowKey: (row: any) => any, empty?: any, hideCaption?: boolean, sortBy?: string, onRow?: (row: any) => string}} p
 * onRow: address of the row's page; the head cell becomes the link. */
export function Table(p) {
  const [by, setBy] = useState({ key: p.sortBy ?? '', down: false });
  const column = p.columns.find((c) => c.key === by.key);
  const rows = [...p.rows];
  if (column?.sort) {
    const value = column.sort, order = new Intl.Collator(language.value, { numeric: true });
    rows.sort((a, b) => {
      const x = value(a), y = value(b);
      return (by.down ? -1 : 1) * (typeof x === 'number' && typeof y === 'number' ? x - y : order.compare(String(x), String(y)));
    });
  }
  if (rows.length === 0 && p.empty) return p.empty;
  return html`<div class="table-place" role="region" aria-label=${p.caption} tabindex="0"><table><caption class=${p.hideCaption ? 'only-read' : ''}>${p.caption}</caption>
    <thead><tr>${p.columns.map((c) => html`<th key=${c.key} scope="col" class=${c.right ? 'right' : ''} aria-sort=${by.key === c.key ? (by.down ? 'descending' : 'ascending') : undefined}>
      ${c.sort ? html`<button type="button" onClick=${() => setBy({ key: c.key, down: by.key === c.key && !by.down })}>${c.label}<span aria-hidden="true">${by.key === c.key ? (by.down ? ' \u2193' : ' \u2191') : ''}</span><span class="only-read"> ${t('kit.sort')}</span></button>` : c.label}</th>`)}</tr></thead>
    <tbody>${rows.map((r) => html`<tr key=${p.rowKey(r)}>${p.columns.map((c) => {
      const shown = c.head && p.onRow ? html`<a href=${p.onRow(r)}>${c.show(r)}</a>` : c.show(r);
      return c.head ? html`<th key=${c.key} scope="row">${shown}</th>` : html`<td key=${c.key} data-label=${c.label} class=${c.right ? 'right' : ''}>${shown}</td>`;
    })}</tr>`)}</tbody></table></div>`;
}
