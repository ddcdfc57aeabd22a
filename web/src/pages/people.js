// People: search by number or name, a new member, members from a file. SPDX-License-Identifier: Apache-2.0
import { Button, Choice, day, Empty, Field, go, html, Loading, may, Page, t, Table, Trouble, useAsk, useEffect, useKeys, useState } from '../kit/index.js';
import { ActDialog, bookWord } from './people/acting.js';
import { Import } from './people/import.js';
import { Lapsing } from './people/lapsing.js';

const AT_ONCE = 50;

/** @param {{query: URLSearchParams}} p */
export default function People({ query }) {
  const [typed, setTyped] = useState(query.get('search') ?? '');
  const [search, setSearch] = useState(typed.trim());
  const [state, setState] = useState(query.get('state') ?? 'active');
  const [limit, setLimit] = useState(AT_ONCE), permission = query.get('permission');
  const [open, setOpen] = useState(/** @type {'new'|'import'|null} */ (null));
  useEffect(() => { // ask when the typing rests
    const timer = setTimeout(() => { setSearch(typed.trim()); setLimit(AT_ONCE); }, 180);
    return () => clearTimeout(timer);
  }, [typed]);
  useEffect(() => { // going back from a person finds the search again
    const q = new URLSearchParams({ ...(search ? { search } : {}), ...(state !== 'active' ? { state } : {}), ...(permission ? { permission } : {}) }).toString();
    go(`/people${q ? `?${q}` : ''}`, { replace: true });
  }, [search, state]);
  const { data, error, again } = useAsk('members', { search: search || undefined, state: state === 'all' ? undefined : state, limit }, { concerns: ['member-', 'undo'] });
  useKeys([{ key: 'n', says: t('people.new'), run: () => setOpen('new') },
    { key: 's', says: t('people.search'), run: () => /** @type {HTMLElement|null} */ (document.querySelector('.page-people input[type=search]'))?.focus() }]);
  const only = data?.members.length === 1 ? data.members[0].member : null;
  const find = (/** @type {Event} */ e) => {
    e.preventDefault();
    const exact = data?.members.find((/** @type {any} */ m) => m.member === typed.trim())?.member ?? (search === typed.trim() ? only : null);
    if (exact) go(`/person/${encodeURIComponent(exact)}`);
  };
  return html`<${Page} name="people" title=${t('pages.people')} acts=${html`<${Button} onPress=${() => setOpen('import')}>${t('people.import')}<//><${Button} kind="main" hotkey="n" onPress=${() => setOpen('new')}>${t('people.new')}<//>`}>
    ${permission && html`<${Lapsing} key=${permission} permission=${permission} />`}
    <form class="find" role="search" novalidate onSubmit=${find}>
      <${Field} label=${t('people.search')} hint=${t('people.search_hint')} type="search" value=${typed} onInput=${setTyped} required />
      <${Choice} label=${t('people.who')} value=${state} onChange=${setState} options=${['active', 'suspended', 'all'].map((s) => ({ value: s, label: t(`people.who_${s}`) }))} /></form>
    <${Trouble} error=${error} onAgain=${again} />
    <p class="only-read" role="status">${data ? (data.more ? t('people.more', { n: data.members.length }) : t('kit.found', { n: data.members.length })) : ''}</p>
    ${!data && !error && html`<${Loading} />`}
    ${data && html`<${Table} caption=${t('people.list')} hideCaption=${true} rows=${data.members} rowKey=${(/** @type {any} */ m) => m.member} onRow=${(/** @type {any} */ m) => `/person/${encodeURIComponent(m.member)}`}
      empty=${html`<${Empty} title=${search ? t('people.nobody', { search }) : t('people.nobody_yet')} />`}
      columns=${[
        { key: 'member', label: t('people.number'), head: true, show: (/** @type {any} */ m) => m.member, sort: (/** @type {any} */ m) => m.member },
        { key: 'name', label: t('people.name'), show: (/** @type {any} */ m) => m.name ?? '–', sort: (/** @type {any} */ m) => m.name ?? '' },
        { key: 'contact', label: t('people.contact'), show: (/** @type {any} */ m) => m.contact ?? '–' },
        { key: 'role', label: t('people.role'), show: (/** @type {any} */ m) => bookWord('role', m.role), sort: (/** @type {any} */ m) => m.role },
        { key: 'state', label: t('people.state'), show: (/** @type {any} */ m) => html`<span class="state ${m.state}">${bookWord('member', m.state)}${m.until_ms ? ` ${t('people.until', { day: day(m.until_ms - 1) })}` : ''}</span>`, sort: (/** @type {any} */ m) => m.state },
      ]} />
      ${data.more && html`<div class="row"><p class="quiet">${t('people.more', { n: data.members.length })}</p>${limit < 1000 && html`<${Button} onPress=${() => setLimit(Math.min(1000, limit * 4))}>${t('people.show_more')}<//>`}</div>`}`}
    ${open === 'new' && html`<${NewMember} onClose=${() => setOpen(null)} />`}
    ${open === 'import' && html`<${Import} onClose=${() => setOpen(null)} />`}<//>`;
}

/** @param {{onClose: () => void}} p */
function NewMember({ onClose }) {
  return html`<${ActDialog} title=${t('people.new')} act="member-enrol" press=${t('people.new_do')} onClose=${onClose}
    says=${(/** @type {any} */ b) => t('people.new_done', { member: b.member })} onDone=${(/** @type {any} */ _d, /** @type {any} */ b) => go(`/person/${encodeURIComponent(b.member)}`)}
    fields=${[{ name: 'member', label: t('people.number'), hint: t('people.number_hint'), required: true }, { name: 'name', label: t('people.name'), hint: t('people.name_hint') }, { name: 'contact', label: t('people.contact') },
      ...(may('keeper') ? [{ name: 'role', label: t('people.role'), kind: 'choice', options: ['member', 'desk', 'keeper'].map((r) => ({ value: r, label: bookWord('role', r) })) }] : [])]} />`;
}
