// The page "bedful": parts laid out on as few beds as can be, the best so far to be seen while it is searched for. SPDX-License-Identifier: Apache-2.0
import { Away, Button, Caution, Check, Choice, errorAt, errorElsewhere, Field, get, html, number, Page, post, Problem, shop, t, Trouble, useEffect, useKeys, useMemo, useRef, useState } from '../kit/index.js';
import { sendBytes, sent } from './prove/send.js';
import { Layout } from './bedful/layout.js';

/** @typedef {import('./prove/send.js').Sent} Sent */
/** @typedef {{key: number, name: string, copies: string, hash?: string, sending: Sent|null, says: string}} Row */

/** @param {any} m */
const bedWords = (m) => (m.round_bed ? t('bedful.round', { w: number(m.bed_mm[0]) }) : t('bedful.bed', { w: number(m.bed_mm[0]), d: number(m.bed_mm[1]) }));

/** The parts, each with how many of it. @param {{rows: Row[], error: Error|null, onFiles: (files: File[]) => void, onCopies: (key: number, copies: string) => void, onRemove: (key: number) => void}} p */
function Parts({ rows, error, onFiles, onCopies, onRemove }) {
  const input = useRef(/** @type {HTMLInputElement|null} */ (null)), [over, setOver] = useState(false);
  useKeys([{ key: 'o', says: t('bedful.choose'), run: () => input.current?.click() }]);
  return html`<section class="card stack ${over ? 'over' : ''}" aria-labelledby="bedful-parts" onDragOver=${(/** @type {DragEvent} */ e) => { e.preventDefault(); setOver(true); }} onDragLeave=${() => setOver(false)}
      onDrop=${(/** @type {DragEvent} */ e) => { e.preventDefault(); setOver(false); onFiles([...(e.dataTransfer?.files ?? [])]); }}>
    <h2 id="bedful-parts">${t('bedful.parts')}</h2>
    ${rows.length === 0 && html`<p class="quiet">${t('bedful.none')}</p>`}
    <ul class="bedful-parts">${rows.map((r) => html`<li key=${r.key}><span class="name">${r.name}${r.says && html`<small class="error">${r.says}</small>`}${r.sending && !r.says && html`<small>${t('bedful.sends')}</small>`}</span>
      <label>${t('bedful.copies')}<input type="text" inputmode="numeric" value=${r.copies} aria-invalid=${/^[1-9]\d{0,4}$/.test(r.copies) ? undefined : 'true'} onInput=${(/** @type {any} */ e) => onCopies(r.key, e.currentTarget.value.trim())} /><span class="only-read">${r.name}</span></label>
      <${Button} kind="quiet" label=${t('bedful.remove_one', { name: r.name })} onPress=${() => onRemove(r.key)}>${t('bedful.remove')}<//></li>`)}</ul>
    <${Trouble} error=${errorAt(error, 'files') || errorAt(error, 'copies') ? error : null} />
    <div><${Button} kind=${rows.length ? 'plain' : 'main'} hotkey="o" onPress=${() => input.current?.click()}>${t('bedful.choose')}<//></div>
    <input ref=${input} type="file" multiple accept=".stl,.3mf" class="only-read" tabindex="-1" aria-label=${t('bedful.choose')} onChange=${(/** @type {any} */ e) => { onFiles([...e.currentTarget.files]); e.currentTarget.value = ''; }} /></section>`;
}

const FRESH = { machine: '', turns: 'free', clearance: '', seconds: '20', finish: false, pose: false, holes: false };

export default function Bedful() {
  const [rows, setRows] = useState(/** @type {Row[]} */ ([])), [how, setHow] = useState(FRESH), [at, setAt] = useState(/** @type {any} */ (null)), [error, setError] = useState(/** @type {Error|null} */ (null));
  const follow = useRef(/** @type {AbortController|null} */ (null)), machines = shop.value?.machines ?? [], machine = how.machine || machines[0]?.name;
  const change = (/** @type {Partial<typeof FRESH>} */ more) => setHow({ ...how, ...more });
  const edit = (/** @type {number} */ key, /** @type {Partial<Row>} */ more) => setRows((all) => all.map((r) => (r.key === key ? { ...r, ...more } : r)));
  const take = useMemo(() => (/** @type {File[]} */ files) => {
    const fresh = files.slice(0, 64).map((f) => { const s = sent(f); return { key: s.key, name: s.name, copies: '1', sending: s, says: '' }; });
    setRows((all) => [...all, ...fresh].slice(0, 64));
    void (async () => {
      for (const r of fresh) { // one after another: the line is for all
        try {
          const kept = await sendBytes(/** @type {Sent} */ (r.sending));
          edit(r.key, kept.kind === 'part' ? { hash: kept.file, sending: null } : { sending: null, says: t('bedful.no_part') });
        } catch (e) {
          edit(r.key, { sending: null, says: e instanceof Problem ? e.detail : e instanceof Away ? t('kit.away') : String(e) });
        }
      }
    })();
  }, []);
  useEffect(() => () => follow.current?.abort(), []);

  const works = at && (at.state === 'waits' || at.state === 'works');
  const ready = rows.filter((r) => r.hash && /^[1-9]\d{0,4}$/.test(r.copies)), whole = rows.length > 0 && ready.length === rows.length;
  const clearance = how.clearance.trim() === '' ? undefined : Number(how.clearance.replace(',', '.')), seconds = Number(how.seconds);
  const lay = async () => {
    follow.current?.abort();
    const mine = follow.current = new AbortController();
    setError(null);
    try {
      let now = await post('/api/1/bedfuls', { machine, files: ready.map((r) => r.hash), copies: ready.map((r) => Number(r.copies)), turns: how.turns, seconds, clearance_um: clearance === undefined ? undefined : Math.round(clearance * 1000),
        finish_each: how.finish || undefined, find_pose: how.pose || undefined, keep_holes_free: how.holes || undefined });
      for (;;) {
        if (mine.signal.aborted) return;
        setAt(now);
        if (now.state !== 'waits' && now.state !== 'works') return;
        now = await get(`/api/1/bedfuls/${now.bedfuls}?wait=1`, { signal: mine.signal, background: true });
      }
    } catch (e) {
      if (mine.signal.aborted) return;
      setError(/** @type {Error} */ (e));
      setAt(null);
    }
  };
  const stop = async () => { try { await post(`/api/1/bedfuls/${at.bedfuls}/stop`); } catch (e) { setError(/** @type {Error} */ (e)); } };
  const can = whole && machine && !works && (clearance === undefined || (clearance >= 0 && clearance <= 100)) && seconds >= 1 && seconds <= 300;
  useKeys(works ? [{ key: 'x', says: t('bedful.stop'), run: stop }] : can ? [{ key: 'l', says: t('bedful.lay'), run: lay }] : []);
  const beds = at?.result?.bedfuls.length ?? 0;
  const said = !at ? '' : at.state === 'waits' ? t('bedful.waits', { n: at.position }) : at.state === 'works' ? (at.result ? t('bedful.so_far', { n: beds }) : t(`bedful.doing_${at.doing}`)) : at.state === 'done' ? t('bedful.done', { n: beds }) : at.says;
  return html`<${Page} name="bedful" title=${t('pages.bedful')} lead=${t('bedful.lead')}>
    <${Trouble} error=${errorElsewhere(error, ['files', 'copies', 'clearance_um', 'finish_each', 'seconds'])} />
    <div class="bedful-ask"><${Parts} rows=${rows} error=${error} onFiles=${take} onCopies=${(/** @type {number} */ key, /** @type {string} */ copies) => edit(key, { copies })} onRemove=${(/** @type {number} */ key) => { rows.find((r) => r.key === key)?.sending?.stop.abort(); setRows(rows.filter((r) => r.key !== key)); }} />
    <section class="card stack" aria-labelledby="bedful-how"><h2 id="bedful-how">${t('bedful.how')}</h2>
      <${Choice} label=${t('bedful.on')} value=${machine} onChange=${(/** @type {string} */ v) => change({ machine: v })} options=${machines.map((/** @type {any} */ m) => ({ value: m.name, label: m.name, hint: bedWords(m) }))} />
      <${Choice} label=${t('bedful.turns')} value=${how.turns} onChange=${(/** @type {string} */ v) => change({ turns: v })} options=${['free', 'quarter', 'fixed'].map((v) => ({ value: v, label: t(`bedful.turns_${v}`) }))} />
      <${Field} label=${t('bedful.clearance')} hint=${t('bedful.clearance_hint')} inputmode="decimal" unit="mm" value=${how.clearance} onInput=${(/** @type {string} */ v) => change({ clearance: v })} error=${errorAt(error, 'clearance_um') ?? (clearance !== undefined && !(clearance >= 0 && clearance <= 100) ? t('bedful.clearance_bad') : undefined)} />
      <${Check} label=${t('bedful.finish')} hint=${t('bedful.finish_hint')} value=${how.finish} onChange=${(/** @type {boolean} */ v) => change({ finish: v })} />
      ${errorAt(error, 'finish_each') && html`<p class="error" role="alert">${errorAt(error, 'finish_each')}</p>`}
      <${Check} label=${t('bedful.pose')} value=${how.pose} onChange=${(/** @type {boolean} */ v) => change({ pose: v })} />
      <${Check} label=${t('bedful.holes')} value=${how.holes} onChange=${(/** @type {boolean} */ v) => change({ holes: v })} />
      <${Field} label=${t('bedful.seconds')} hint=${t('bedful.seconds_hint')} inputmode="numeric" unit="s" required=${true} value=${how.seconds} onInput=${(/** @type {string} */ v) => change({ seconds: v })} error=${errorAt(error, 'seconds') ?? (seconds >= 1 && seconds <= 300 ? undefined : t('bedful.seconds_bad'))} />
      ${how.finish && html`<${Caution} about=${['moving', 'hot']} />`}
      <div><${Button} kind="main" hotkey="l" disabled=${!can} onPress=${lay}>${t('bedful.lay')}<//></div></section></div>
    <p class="only-read" role="status">${said}</p>
    ${at && html`<${Layout} at=${at} said=${said} works=${works} onStop=${stop} />`}
  <//>`;
}
