// Members from a file: what it would change is shown first, then all of it is booked, or nothing. SPDX-License-Identifier: Apache-2.0
import { Button, day, Dialog, html, notice, post, t, Trouble, useDirty, useId, useState } from '../../kit/index.js';
import { bookWord } from './acting.js';

const MOST = 900000; // bytes of the server's limit for one request

/** @param {{onClose: () => void}} p */
export function Import({ onClose }) {
  const id = useId();
  const [file, setFile] = useState(/** @type {{name: string, csv: string}|null} */ (null));
  const [found, setFound] = useState(/** @type {any} */ (null));
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  useDirty(file !== null);
  const look = async (/** @type {File|undefined} */ chosen) => {
    setFound(null);
    setError(null);
    setFile(null);
    if (!chosen) return;
    if (chosen.size > MOST) {
      setError(new Error(t('people.import_large')));
      return;
    }
    const csv = new TextDecoder('utf-8', { ignoreBOM: true }).decode(await chosen.arrayBuffer());
    setFile({ name: chosen.name, csv });
    try { setFound(await post('/api/1/import/members', { csv })); } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  const book = async () => {
    if (!file) return;
    try {
      const done = await post('/api/1/import/members', { csv: file.csv, book: true });
      if (done.n_faults > 0) { setFound(done); return; } // the book changed meanwhile
      notice(t('people.import_done', { n: done.new + done.changed + done.granted }));
      onClose();
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  const changes = found ? found.lines.length : 0;
  return html`<${Dialog} wide title=${t('people.import')} onClose=${onClose} acts=${html`<${Button} onPress=${onClose}>${t('people.leave')}<//>${found && found.n_faults === 0 && changes > 0 && html`<${Button} kind="main" onPress=${book}>${t('people.import_do', { n: changes })}<//>`}`}>
    <p>${t('people.import_lead')}</p><p class="quiet"><code>member,name,contact,role,permissions,until</code></p>
    <div class="field"><label for=${id}>${t('people.import_file')}</label><input id=${id} type="file" accept=".csv,text/csv,text/plain" data-autofocus onChange=${(/** @type {any} */ e) => void look(e.currentTarget.files?.[0])} /></div>
    <${Trouble} error=${error} />
    <div role="status">${found && html`<p><strong>${found.n_faults > 0 ? t('people.import_faults', { n: found.n_faults }) : changes === 0 ? t('people.import_nothing') : t('people.import_would', { new: found.new, changed: found.changed, granted: found.granted, same: found.unchanged })}</strong></p>`}</div>
    ${found && found.n_faults > 0 && html`<ul class="faults">${found.faults.map((/** @type {any} */ f) => html`<li key="${f.line}/${f.column}"><strong>${t('people.import_at', { line: f.line, column: f.column })}</strong> ${f.says}</li>`)}</ul>`}
    ${found && found.n_faults === 0 && changes > 0 && html`<div class="table-place preview" role="region" tabindex="0" aria-label=${t('people.import_changes')}><table><caption class="only-read">${t('people.import_changes')}</caption><thead><tr><th scope="col">${t('people.line')}</th><th scope="col">${t('people.number')}</th><th scope="col">${t('people.changes')}</th></tr></thead>
      <tbody>${found.lines.map((/** @type {any} */ l) => html`<tr key=${l.line}><td data-label=${t('people.line')}>${l.line}</td><th scope="row">${l.member}</th><td data-label=${t('people.changes')}>${changed(l)}</td></tr>`)}</tbody></table></div>`}<//>`;
}
/** @param {any} l */
function changed(l) {
  return [l.new && t('people.is_new'), !l.new && l.name && t('people.is_name'), !l.new && l.contact && t('people.is_contact'), l.role && t('people.is_role', { role: bookWord('role', l.role) }),
    ...l.granted.map((/** @type {any} */ g) => (g.until_ms ? t('people.is_permit_until', { permission: g.permission, day: day(g.until_ms - 1) }) : t('people.is_permit', { permission: g.permission })))].filter(Boolean).join('; ');
}
