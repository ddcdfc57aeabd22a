// A part looked at: on the bed's outline with its trouble spots, turned, stood on a face, mended. SPDX-License-Identifier: Apache-2.0
import { Button, has, html, Loading, number, t, Trouble, useEffect, useMemo, useRef, useState } from '../../kit/index.js';
import { askClasses, askMesh, askPart, askPose, turnText, viewAddress } from './part_ask.js';
import { PartFacts } from './part_facts.js';
import { PartWays } from './part_ways.js';

/** @typedef {import('./part_ask.js').Part} Part @typedef {import('./part_ask.js').Posed} Posed @typedef {import('./part_ask.js').Spot} Spot */
const AS_IS = [1, 0, 0, 0, 1, 0, 0, 0, 1], STEP = Math.PI / 12;

/** What a spot is, in words. @param {Spot} s */
export function spotWords(s) {
  const kind = has(`part.spot_${s.finding.replaceAll('-', '_')}`) ? t(`part.spot_${s.finding.replaceAll('-', '_')}`) : s.finding;
  const more = s.mm !== null && s.mm2 !== null ? t('part.spot_thick', { mm: number(s.mm, 2), mm2: number(s.mm2) }) : s.mm2 !== null ? t('part.spot_area', { mm2: number(s.mm2, s.mm2 < 10 ? 1 : 0) })
    : s.mm !== null ? t('part.spot_length', { mm: number(s.mm, s.mm < 10 ? 1 : 0) }) : '';
  return { kind, more, where: t('part.spot_at', { x: number(s.at[0], 1), y: number(s.at[1], 1), z: number(s.at[2], 1) }) };
}
/** Which side lies on the bed. @param {string} down */
export const sideWords = (down) => t(`part.down_${down}`);

/** The drawing itself; without WebGL the server's pictures.
 * @param {{proof: string, which: Record<string, any>, part: Part, turn: number[], spots: Spot[], chosen: number, classesOf: number[]|null, says: string, picking: boolean,
 *   onPick: (triangle: number) => void, onTip: (degrees: number[]) => void, onHandle: (h: any) => void, onMesh: (m: any) => void}} p */
function Picture(p) {
  const canvas = useRef(null), numbers = useRef(/** @type {HTMLElement|null} */ (null)), scene = useRef(/** @type {any} */ (null));
  const [able, setAble] = useState(/** @type {boolean|null} */ (null)), [error, setError] = useState(/** @type {Error|null} */ (null));
  const now = useRef(p);
  now.current = p;
  useEffect(() => {
    const stop = new AbortController();
    (async () => {
      try {
        const three = await import('./part_scene.js');
        if (!three.canDraw()) { setAble(false); return; }
        const shown = await askMesh(p.proof, p.which, stop.signal);
        if (stop.signal.aborted || !canvas.current) return;
        p.onMesh(shown);
        scene.current = three.drawPart(canvas.current, shown, p.part.bed, {
          onPick: (triangle) => now.current.onPick(triangle),
          onDrawn: (places) => places.forEach((at, i) => {
            const label = /** @type {HTMLElement|undefined} */ (numbers.current?.children[i]);
            if (!label) return;
            label.style.transform = `translate(${at.x}px, ${at.y}px)`;
            label.classList.toggle('behind', !at.seen);
          }),
        });
        p.onHandle(scene.current);
        setAble(true);
      } catch (e) {
        if (!stop.signal.aborted) { setError(/** @type {Error} */ (e)); setAble(false); }
      }
    })();
    return () => { stop.abort(); scene.current?.end(); scene.current = null; p.onHandle(null); };
  }, [p.proof, JSON.stringify(p.which)]);
  useEffect(() => { scene.current?.setTurn(p.turn); }, [able, turnText(p.turn)]);
  useEffect(() => { scene.current?.setSpots(p.spots); }, [able, p.spots]);
  useEffect(() => {
    if (!able || !scene.current) return undefined;
    if (!p.classesOf) { scene.current.setClasses(null); return undefined; }
    const stop = new AbortController();
    askClasses(p.proof, { ...p.which, turn: turnText(p.classesOf) }, stop.signal).then((c) => scene.current?.setClasses(c)).catch((e) => { if (!stop.signal.aborted) setError(e); });
    return () => stop.abort();
  }, [able, p.classesOf && turnText(p.classesOf)]);

  const keys = (/** @type {KeyboardEvent} */ e) => {
    const s = scene.current;
    if (!s || e.ctrlKey || e.altKey || e.metaKey) return;
    /** @type {Record<string, () => void>} */
    const ways = e.shiftKey ? { ArrowLeft: () => p.onTip(s.tip('left')), ArrowRight: () => p.onTip(s.tip('right')), ArrowUp: () => p.onTip(s.tip('away')), ArrowDown: () => p.onTip(s.tip('near')) }
      : { ArrowLeft: () => s.orbit(-STEP, 0), ArrowRight: () => s.orbit(STEP, 0), ArrowUp: () => s.orbit(0, STEP), ArrowDown: () => s.orbit(0, -STEP), Home: () => s.whole() };
    const act = ways[e.key] ?? { '+': () => s.nearer(1.25), '-': () => s.nearer(.8) }[e.key];
    if (!act) return;
    e.preventDefault();
    act();
  };
  if (able === false) {
    return html`<div class="part-flat"><${Trouble} error=${error} /><p class="quiet">${t('part.flat')}</p>
      ${['above', 'below'].map((from) => html`<figure key=${from}><img src=${viewAddress(p.proof, { ...p.which, turn: turnText(p.turn), from })} alt=${`${t(`part.from_${from}`)} ${p.says}`} />
        <figcaption>${t(`part.from_${from}`)}</figcaption></figure>`)}</div>`;
  }
  return html`<div class="part-picture ${p.picking ? 'picking' : ''}"><${Trouble} error=${error} />
    <div class="part-stage"><canvas ref=${canvas} tabindex="0" role="application" aria-label=${p.says} aria-describedby="part-keys" onKeyDown=${keys}></canvas>
      <div class="part-numbers" ref=${numbers} aria-hidden="true">${p.spots.map((s, i) => html`<span key=${i} class="spot ${s.grade} ${i === p.chosen ? 'chosen' : ''}"><b>${s.number}</b><i>${spotWords(s).kind}</i></span>`)}</div>
      ${able === null && html`<${Loading} what=${t('part.draws')} />`}</div>
    <p id="part-keys" class="quiet">${t('part.keys')}</p></div>`;
}

/** The list is the way in: pressing a row turns the view to it. @param {{spots: Spot[], all: number, chosen: number, onChoose: (i: number) => void}} p */
function SpotList({ spots, all, chosen, onChoose }) {
  if (spots.length === 0) return html`<p class="quiet">${t('part.no_spots')}</p>`;
  return html`<ol class="part-spots">${spots.map((s, i) => {
    const w = spotWords(s);
    return html`<li key=${s.number}><button type="button" aria-pressed=${i === chosen ? 'true' : 'false'} onClick=${() => onChoose(i)}><span class="spot ${s.grade}"><b>${s.number}</b></span>
      <span><strong>${w.kind}</strong> ${w.more}<small>${w.where}</small></span></button></li>`;
  })}</ol>${all > spots.length && html`<p class="quiet">${t('part.more_spots', { n: all - spots.length })}</p>`}`;
}

/** @param {{proof: string, machine?: string, solid?: number}} p */
export function PartView({ proof, machine, solid: first }) {
  const [solid, setSolid] = useState(first ?? 0), [part, setPart] = useState(/** @type {Part|null} */ (null)), [posed, setPosed] = useState(/** @type {Posed|null} */ (null));
  const [error, setError] = useState(/** @type {Error|null} */ (null)), [works, setWorks] = useState(false), [chosen, setChosen] = useState(-1), [picking, setPicking] = useState(false);
  const [mesh, setMesh] = useState(/** @type {any} */ (null)), [said, setSaid] = useState('');
  const handle = useRef(/** @type {any} */ (null)), asked = useRef(0), current = useRef(AS_IS);
  const which = useMemo(() => ({ machine, solid }), [machine, solid]);
  useEffect(() => {
    const stop = new AbortController();
    setPart(null); setPosed(null); setError(null); setChosen(-1); setMesh(null);
    current.current = AS_IS;
    askPart(proof, which, stop.signal).then((p) => { setPart(p); if (p.lies) void lay({ turn: turnText(AS_IS) }, true); }).catch((e) => { if (!stop.signal.aborted) setError(e); });
    return () => { stop.abort(); asked.current++; };
  }, [proof, which]);

  /** Asks for a way up; an answer that was overtaken is left. @param {Record<string, any>} how @param {boolean} [quiet] */
  async function lay(how, quiet) {
    const mine = ++asked.current;
    setWorks(true); setError(null);
    try {
      const answer = await askPose(proof, { ...which, ...how });
      if (mine !== asked.current) return;
      current.current = answer.pose.turn;
      setPosed(answer); setChosen(-1); setPicking(false);
      if (!quiet) setSaid(t('part.now', { side: sideWords(answer.pose.down), says: poseSays(answer) }));
    } catch (e) {
      if (mine === asked.current) setError(/** @type {Error} */ (e));
    } finally {
      if (mine === asked.current) setWorks(false);
    }
  }
  const turnBy = (/** @type {number[]} */ degrees) => lay({ turn: turnText(current.current), degrees: degrees.join(',') });

  if (!part) return html`<div class="part"><${Trouble} error=${error} />${!error && html`<${Loading} what=${t('part.measures')} />`}</div>`;
  const spots = posed ? posed.spots : part.spots, turn = posed?.pose.turn ?? AS_IS, moved = turnText(turn) !== turnText(AS_IS);
  const says = t('part.sees', { side: sideWords(posed?.pose.down ?? 'bottom'), n: spots.length });
  const pick = (/** @type {boolean} */ on) => {
    setPicking(on);
    if (on) document.querySelector('.part-stage')?.scrollIntoView({ block: 'center' });
  };
  const choose = (/** @type {number} */ i) => { setChosen(i); handle.current?.lookAt(i); };
  return html`<div class="part" aria-busy=${works ? 'true' : undefined}>
    ${part.solids.length > 1 && html`<div class="field part-solid"><label for="part-solid">${t('part.solid')}</label><select id="part-solid" value=${solid} onChange=${(/** @type {any} */ e) => setSolid(Number(e.currentTarget.value))}>
      ${part.solids.map((s) => html`<option key=${s.solid} value=${s.solid}>${s.name ?? t('part.solid_n', { n: s.solid + 1 })}${s.times > 1 ? ` \u00d7 ${s.times}` : ''}</option>`)}</select></div>`}
    <${Trouble} error=${error} />
    <p class="only-read" role="status" aria-live="polite">${works ? t('part.works') : said}</p>
    <div class="part-top">
      <section class="card part-see" aria-label=${t('part.see')}>
        <${Picture} proof=${proof} which=${which} part=${part} turn=${turn} spots=${spots} chosen=${chosen} classesOf=${moved ? turn : null} says=${says} picking=${picking}
          onPick=${(/** @type {number} */ triangle) => { if (picking) void lay({ turn: turnText(AS_IS), face: triangle }); }} onTip=${turnBy} onHandle=${(/** @type {any} */ h) => { handle.current = h; }} onMesh=${setMesh} />
        <div class="row">
          ${mesh && html`<${Button} kind="quiet" onPress=${() => handle.current?.nearer(1.25)}>${t('part.nearer')}<//>
          <${Button} kind="quiet" onPress=${() => handle.current?.nearer(.8)}>${t('part.farther')}<//>
          <${Button} kind="quiet" onPress=${() => handle.current?.whole()}>${t('part.whole')}<//>`}
          ${moved && html`<${Button} kind="quiet" onPress=${() => lay({ turn: turnText(AS_IS) })}>${t('part.as_drawn')}<//>`}
          ${works && html`<span class="quiet">${t('part.works')}</span>`}</div>
        <ul class="part-key" aria-label=${t('part.key')}>${['foothold', 'hangs', 'thin', 'slim', 'edge'].map((k) => html`<li key=${k}><i class="swatch ${k}" aria-hidden="true"></i>${t(`part.key_${k}`)}</li>`)}</ul>
        ${mesh?.cell > 0 && html`<p class="quiet">${t(mesh.keptAll ? 'part.thinned' : 'part.thinned_more', { shown: number(mesh.corners.length / 3), whole: number(mesh.whole) })}</p>`}
      </section>
      <section class="card" aria-labelledby="part-spots-h"><h2 id="part-spots-h">${t('part.spots')}</h2>
        <${SpotList} spots=${spots} all=${posed ? posed.spots_all : part.spots_all} chosen=${chosen} onChoose=${choose} /></section>
    </div>
    <${PartWays} proof=${proof} which=${which} part=${part} turn=${turn} picking=${picking} onPicking=${pick} onLay=${lay} onTurn=${turnBy} canPick=${Boolean(mesh)} />
    ${posed && html`<${PartFacts} proof=${proof} which=${which} part=${part} posed=${posed} />`}</div>`;
}
/** One way up in a line: grams, time, support. @param {Posed} p */
export function poseSays(p) {
  const e = p.estimates[p.judged], hold = p.pose.support_mm3 > 0 && p.pose.support_mm2 > 1 ? t('part.support', { cm2: number(p.pose.support_mm2 / 100, 1) }) : t('part.no_support');
  const words = e ? [`${number(e.filament_g, e.filament_g < 10 ? 1 : 0)}\u202fg`, hours(e.seconds), hold] : [hold];
  return [...words, ...(p.pose.stands ? [] : [t('part.falls')]), ...(p.pose.brim && p.pose.stands ? [t('part.brim')] : [])].join(', ');
}
/** @param {number} seconds */
export function hours(seconds) {
  const m = Math.round(seconds / 60);
  return m < 60 ? `${Math.max(1, m)}\u202fmin` : `${Math.floor(m / 60)}\u202fh\u00a0${String(m % 60).padStart(2, '0')}`;
}
export default PartView;
