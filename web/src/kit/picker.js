// A field that searches a list: members, machines, spools (the combobox of ARIA 1.2). SPDX-License-Identifier: Apache-2.0
import { useEffect, useId, useRef, useState } from 'preact/hooks';
import { html } from './html.js';
import { t } from './words.js';

/** @typedef {{value: string, label: string, more?: string}} Option */
/** find: options for what was typed (also ''), at once or later; onPick: one of them; free: Enter hands on what was typed.
 * @param {{label: string, value?: Option|null, find: (typed: string) => Option[]|Promise<Option[]>, onPick: (option: Option|null) => void, hint?: string, error?: string, autofocus?: boolean, free?: (typed: string) => void, inputmode?: string}} p */
export function Picker(p) {
  const id = useId();
  const [typed, setTyped] = useState(p.value?.label ?? '');
  const [open, setOpen] = useState(false);
  const [options, setOptions] = useState(/** @type {Option[]} */ ([]));
  const [at, setAt] = useState(-1);
  const turn = useRef(0);
  useEffect(() => { setTyped(p.value?.label ?? ''); }, [p.value?.value]);
  const search = async (/** @type {string} */ text) => {
    const mine = ++turn.current;
    const found = await p.find(text.trim());
    if (mine !== turn.current) return;
    setOptions(found.slice(0, 50));
    setAt(found.length === 1 || (found.length > 0 && text) ? 0 : -1);
  };
  const pick = (/** @type {Option} */ o) => { setTyped(o.label); setOpen(false); p.onPick(o); };
  const key = (/** @type {KeyboardEvent} */ e) => {
    const n = options.length;
    if (e.key === 'ArrowDown' || e.key === 'ArrowUp') {
      e.preventDefault();
      if (!open) { setOpen(true); void search(p.value?.label === typed ? '' : typed); }
      else if (n) setAt((at + (e.key === 'ArrowDown' ? 1 : at < 0 ? 0 : -1) + n) % n);
    } else if (e.key === 'Enter' && open && at >= 0) { e.preventDefault(); pick(options[at]); }
    else if (e.key === 'Enter' && p.free && typed.trim()) { e.preventDefault(); setOpen(false); p.free(typed.trim()); }
    else if (e.key === 'Escape' && open) { e.preventDefault(); e.stopPropagation(); setOpen(false); }
  };
  useEffect(() => { if (open && at >= 0) document.getElementById(`${id}o${at}`)?.scrollIntoView({ block: 'nearest' }); }, [at, open]);
  return html`<div class="field picker ${p.error ? 'faulty' : ''}"><label for=${id}>${p.label}</label>${p.hint && html`<p class="hint" id="${id}h">${p.hint}</p>`}
    <input id=${id} role="combobox" type="text" autocomplete="off" autocapitalize="off" spellcheck=${false} inputmode=${p.inputmode} value=${typed} data-autofocus=${p.autofocus ? '' : undefined}
      aria-expanded=${open ? 'true' : 'false'} aria-controls="${id}l" aria-autocomplete="list" aria-activedescendant=${open && at >= 0 ? `${id}o${at}` : undefined}
      aria-describedby=${[p.hint && `${id}h`, p.error && `${id}e`].filter(Boolean).join(' ') || undefined} aria-invalid=${p.error ? 'true' : undefined}
      onKeyDown=${key} onFocus=${(/** @type {any} */ e) => e.currentTarget.select()} onBlur=${() => setTimeout(() => setOpen(false), 150)}
      onInput=${(/** @type {any} */ e) => { setTyped(e.currentTarget.value); setOpen(true); if (p.value) p.onPick(null); void search(e.currentTarget.value); }} />
    <ul id="${id}l" role="listbox" aria-label=${p.label} hidden=${!open}>${options.map((o, i) => html`<li key=${o.value} id="${id}o${i}" role="option" aria-selected=${i === at ? 'true' : 'false'}
      onMouseDown=${(/** @type {Event} */ e) => { e.preventDefault(); pick(o); }}><span>${o.label}</span>${o.more && html`<small>${o.more}</small>`}</li>`)}</ul>
    <p class="only-read" role="status">${open ? t('kit.found', { n: options.length }) : ''}</p>
    ${open && options.length === 0 && typed && html`<p class="hint">${t('kit.found', { n: 0 })}</p>`}
    ${p.error && html`<p class="error" id="${id}e">${p.error}</p>`}</div>`;
}
