// What is asked before an act of today is booked: the start check, a poor first layer, a note. SPDX-License-Identifier: Apache-2.0
import { act, Button, Caution, Check, Choice, Dialog, errorAt, errorElsewhere, Field, go, html, t, Trouble, useDirty, useState } from '../../kit/index.js';
import { failedOf, lineText } from './line.js';

/** @typedef {import('../../kit/day.js').Due} Due */
const points = ['heated', 'stream_steady', 'bed_clean', 'gap_good', 'spool_right'];

/** Each point is seen to be so, one by one. @param {{d: Due, onClose: () => void, book: (body: any) => Promise<any>}} p */
export function StartCheck({ d, onClose, book }) {
  const [seen, setSeen] = useState(/** @type {Record<string, boolean>} */ ({}));
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  const all = points.every((p) => seen[p]);
  const send = async () => {
    if (!all) return setError(new Error(t('today.start_all')));
    try { await book({ run: d.about.run, ...seen }); } catch (e) { setError(/** @type {Error} */ (e)); }
    return undefined;
  };
  return html`<${Dialog} title=${t('today.start_title', { machine: d.about.machine })} onClose=${onClose} onSubmit=${send} acts=${html`<${Button} kind="main" type="submit">${t('today.start_do')}<//>`}>
    <${Trouble} error=${error} /><p>${t('today.start_lead')}</p>
    <div class="points">${points.map((p) => html`<${Check} key=${p} label=${t(`today.start_${p}`)} value=${!!seen[p]} onChange=${(/** @type {boolean} */ on) => setSeen({ ...seen, [p]: on })} />`)}</div>
    <${Caution} about=${['hot', 'moving']} /><//>`;
}

const symptoms = ['loose', 'gap_wide', 'gap_tight', 'corner', 'strings', 'none', 'other'];
/** What was seen of a poor first layer, and whether it goes on. @param {{d: Due, onClose: () => void, book: (body: any) => Promise<any>}} p */
export function PoorLayer({ d, onClose, book }) {
  const [symptom, setSymptom] = useState('loose');
  const [note, setNote] = useState('');
  const [stopped, setStopped] = useState(false);
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  useDirty(note !== '');
  const send = async () => {
    const words = [symptom === 'other' ? '' : t(`today.symptom_${symptom}`), note.trim()].filter(Boolean).join('; ');
    try {
      await book({ run: d.about.run, first_layer: 'poor', ...(words ? { note: words } : {}) });
      if (stopped) go(/** @type {string} */ (failedOf(d)));
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  return html`<${Dialog} title=${t('today.poor_title', { machine: d.about.machine })} onClose=${onClose} onSubmit=${send} acts=${html`<${Button} kind="main" type="submit">${t(stopped ? 'today.poor_stopped_do' : 'today.poor_do')}<//>`}>
    <${Trouble} error=${errorElsewhere(error, ['note'])} />
    <${Choice} label=${t('today.symptom')} value=${symptom} onChange=${setSymptom} stack options=${symptoms.map((s) => ({ value: s, label: t(`today.symptom_${s}`), hint: t(`today.remedy_${s}`) }))} />
    <${Field} label=${t('today.poor_note')} value=${note} onInput=${setNote} error=${errorAt(error, 'note')} maxlength=${500} />
    <${Choice} label=${t('today.poor_then')} value=${stopped} onChange=${setStopped} options=${[{ value: false, label: t('today.poor_goes_on') }, { value: true, label: t('today.poor_stopped') }]} />
    <${Caution} about=${['hot', 'moving']} /><//>`;
}

/** A word for whoever comes next. @param {{onClose: () => void, booked: (event: number) => void}} p */
export function NoteDialog({ onClose, booked }) {
  const [text, setText] = useState('');
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  useDirty(text !== '');
  const send = async () => {
    try {
      const done = await act('note-leave', { text: text.trim() });
      booked(done.event);
      onClose();
    } catch (e) { setError(/** @type {Error} */ (e)); }
  };
  return html`<${Dialog} title=${t('today.note_leave')} onClose=${onClose} onSubmit=${send} acts=${html`<${Button} kind="main" type="submit">${t('today.note_do')}<//>`}>
    <${Trouble} error=${errorElsewhere(error, ['text'])} /><${Field} label=${t('today.note_text')} hint=${t('today.note_hint')} value=${text} onInput=${setText} rows=${4} maxlength=${900} error=${errorAt(error, 'text')} required autofocus /><//>`;
}
export { lineText };
