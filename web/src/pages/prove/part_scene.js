// The part on its bed, drawn with three: loaded only when a part is looked at. SPDX-License-Identifier: Apache-2.0
import { AmbientLight, BufferAttribute, BufferGeometry, Color, DirectionalLight, EdgesGeometry, Group, LineBasicMaterial, LineSegments, Matrix4, Mesh, MeshLambertMaterial,
  OrthographicCamera, Raycaster, Scene, Vector2, Vector3, WebGLRenderer } from 'three';

/** @typedef {import('./part_ask.js').Shown} Shown */
/** Bits of a triangle, as include/proveout/show.h has them, to what is drawn: 0 plain, 1 foothold, 2 hangs over, 3 thin, 4 slim, 5 edge or cut. @param {number} c */
const kindOf = (c) => (c & 224 ? 5 : c & 16 ? 3 : c & 8 ? 2 : c & 4 ? 4 : c & 1 ? 1 : 0);
const EDGES_MOST = 60000, RIGHT = Math.PI / 2;

/** Each kind has a colour and a pattern of its own on the screen: lines, crossed lines, dots. @param {MeshLambertMaterial} material @param {{ink: Color, kinds: Color[]}} look */
function patterned(material, look) {
  material.onBeforeCompile = (shader) => {
    shader.uniforms.kinds = { value: look.kinds };
    shader.uniforms.ink = { value: look.ink };
    shader.vertexShader = `attribute float kind; varying float vKind;\n${shader.vertexShader.replace('#include <begin_vertex>', '#include <begin_vertex>\n vKind = kind;')}`;
    shader.fragmentShader = `varying float vKind; uniform vec3 kinds[6]; uniform vec3 ink;\n${shader.fragmentShader.replace('#include <color_fragment>', `#include <color_fragment>
      int k = int(vKind + 0.5); vec2 p = gl_FragCoord.xy; float m = 0.0;
      if (k == 2) m = max(step(mod(p.x + p.y, 9.0), 1.6), step(mod(p.x - p.y, 9.0), 1.6));
      if (k == 3) m = step(length(mod(p, 7.0) - 3.5), 2.0);
      if (k == 4) m = step(length(mod(p, 9.0) - 4.5), 1.3);
      if (k == 5) m = step(mod(p.x - p.y, 6.0), 2.4);
      diffuseColor.rgb = mix(k == 0 ? kinds[0] : k == 1 ? kinds[1] : k == 2 ? kinds[2] : k == 3 ? kinds[3] : k == 4 ? kinds[4] : kinds[5], ink, m * 0.75);`)}`;
  };
}

/** Is there WebGL here? */
export function canDraw() {
  try { return Boolean(document.createElement('canvas').getContext('webgl2')); } catch { return false; }
}

/**
 * @param {HTMLCanvasElement} canvas @param {Shown} shown @param {{round: boolean, size_mm: number[]}} bed
 * @param {{onDrawn: (places: {x: number, y: number, seen: boolean}[]) => void, onPick: (triangle: number) => void}} on
 */
export function drawPart(canvas, shown, bed, on) {
  const renderer = new WebGLRenderer({ canvas, antialias: true, alpha: true });
  const scene = new Scene(), camera = new OrthographicCamera(), part = new Group(), bedLines = new Group();
  const calm = matchMedia('(prefers-reduced-motion: reduce)');
  const n = shown.corners.length / 3;
  const soup = new Float32Array(9 * n), kinds = new Float32Array(3 * n);
  for (let i = 0; i < 3 * n; i++) soup.set(shown.xyz.subarray(3 * shown.corners[i], 3 * shown.corners[i] + 3), 3 * i);
  const shape = new BufferGeometry();
  shape.setAttribute('position', new BufferAttribute(soup, 3));
  shape.setAttribute('kind', new BufferAttribute(kinds, 1));
  shape.computeVertexNormals();
  const look = { ink: new Color(), kinds: Array.from({ length: 6 }, () => new Color()) };
  const material = new MeshLambertMaterial({ side: 2, polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1 });
  patterned(material, look);
  const mesh = new Mesh(shape, material);
  part.add(mesh);
  const line = new LineBasicMaterial(), rule = new LineBasicMaterial({ transparent: true, opacity: .55 }), edge = new LineBasicMaterial();
  if (n <= EDGES_MOST) part.add(new LineSegments(new EdgesGeometry(shape, 25), line));
  scene.add(part, bedLines, new AmbientLight(0xffffff, 1.6));
  const lamp = new DirectionalLight(0xffffff, 2.2);
  scene.add(lamp);

  /** @type {number[]} */ let turn = [1, 0, 0, 0, 1, 0, 0, 0, 1];
  /** @type {{at: number[], normal: number[]}[]} */ let spots = [];
  let az = -.56, el = .47, zoom = 1, radius = 10, middle = new Vector3(), due = 0, over = 0, width = 0, height = 0;

  function colours() {
    const style = getComputedStyle(canvas), of = (/** @type {string} */ name) => style.getPropertyValue(name).trim();
    const dark = style.getPropertyValue('color-scheme').includes('dark');
    look.ink.set(of('--ink'));
    [dark ? '#8d989e' : '#d3d9db', dark ? '#6f8f86' : '#b4ccc4', dark ? '#c98d6a' : '#eab795', dark ? '#d2756a' : '#e29a92', dark ? '#a99bc4' : '#cdc3e2', dark ? '#e05a4e' : '#d6564c'].forEach((c, i) => look.kinds[i].set(c));
    if (dark) look.ink.set('#101314');
    line.color.set(dark ? '#15181a' : '#3b464d');
    edge.color.set(of('--ink'));
    rule.color.set(of('--edge'));
    draw();
  }
  function draw() {
    if (!due) due = requestAnimationFrame(paint);
  }
  function paint() {
    due = 0;
    if (!width || !height) return;
    const eye = new Vector3(Math.sin(az) * Math.cos(el), -Math.cos(az) * Math.cos(el), Math.sin(el));
    const half = radius * 1.12 / zoom, wide = width / height;
    camera.left = -half * Math.max(1, wide); camera.right = half * Math.max(1, wide);
    camera.top = half * Math.max(1, 1 / wide); camera.bottom = -camera.top;
    if (wide > 1) { camera.top = half; camera.bottom = -half; camera.left = -half * wide; camera.right = half * wide; }
    camera.near = -radius * 12; camera.far = radius * 24;
    camera.up.set(0, 0, 1);
    camera.position.copy(middle).addScaledVector(eye, radius * 4);
    camera.lookAt(middle);
    camera.updateProjectionMatrix();
    camera.updateMatrixWorld();
    lamp.position.copy(eye).multiplyScalar(100).add(new Vector3(Math.cos(az) * -60, Math.sin(az) * -60, 90));
    renderer.render(scene, camera);
    on.onDrawn(spots.map((s) => {
      const p = place(s.at), d = p.clone().project(camera), facing = direction(s.normal);
      return { x: (d.x + 1) / 2 * width, y: (1 - d.y) / 2 * height, seen: facing.lengthSq() < .5 || facing.dot(eye) > -.05 };
    }));
  }
  /** A place of the part on the bed. @param {number[]} at */
  const place = (at) => new Vector3(at[0] - shown.origin[0], at[1] - shown.origin[1], at[2] - shown.origin[2]).applyMatrix4(part.matrixWorld);
  /** @param {number[]} v */
  const direction = (v) => new Vector3(v[0] * turn[0] + v[1] * turn[3] + v[2] * turn[6], v[0] * turn[1] + v[1] * turn[4] + v[2] * turn[7], v[0] * turn[2] + v[1] * turn[5] + v[2] * turn[8]);

  /** The bed as a ruled drawing: its edge, a line each 50 mm, a notch at the front. @param {number} reach */
  function ruleBed(reach) {
    for (const old of [...bedLines.children]) { bedLines.remove(old); /** @type {any} */ (old).geometry.dispose(); }
    const [w, d] = bed.size_mm, half = [w / 2, d / 2], rim = [], rules = [], far = Math.max(reach * 1.6, 30);
    if (bed.round) for (let i = 0; i < 96; i++) for (const k of [i, i + 1]) rim.push(half[0] * Math.cos(k * Math.PI / 48), half[0] * Math.sin(k * Math.PI / 48), 0);
    else for (const [a, b] of [[[-1, -1], [1, -1]], [[1, -1], [1, 1]], [[1, 1], [-1, 1]], [[-1, 1], [-1, -1]]]) rim.push(a[0] * half[0], a[1] * half[1], 0, b[0] * half[0], b[1] * half[1], 0);
    const step = far > 60 ? 50 : 10;
    const endOf = (/** @type {number} */ v, /** @type {number} */ k) => Math.min(far, bed.round ? Math.sqrt(Math.max(0, half[0] ** 2 - v * v)) : half[k]);
    for (let v = 0; v <= Math.min(far, Math.max(...half)); v += step) for (const s of v ? [-v, v] : [0]) {
      if (v < half[0]) rules.push(s, -endOf(v, 1), 0, s, endOf(v, 1), 0);
      if (v < half[1]) rules.push(-endOf(v, 0), s, 0, endOf(v, 0), s, 0);
    }
    for (const [points, m] of /** @type {[number[], LineBasicMaterial][]} */ ([[rim, edge], [rules, rule]])) {
      const g = new BufferGeometry();
      g.setAttribute('position', new BufferAttribute(new Float32Array(points), 3));
      bedLines.add(new LineSegments(g, m));
    }
  }
  /** @param {number[]} t */
  function setTurn(t) {
    turn = t;
    const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity], p = shown.xyz;
    for (let i = 0; i < p.length; i += 3) for (let k = 0; k < 3; k++) {
      const v = p[i] * t[k] + p[i + 1] * t[3 + k] + p[i + 2] * t[6 + k];
      if (v < low[k]) low[k] = v;
      if (v > high[k]) high[k] = v;
    }
    part.matrixAutoUpdate = false;
    part.matrix.copy(new Matrix4().set(t[0], t[3], t[6], -(low[0] + high[0]) / 2, t[1], t[4], t[7], -(low[1] + high[1]) / 2, t[2], t[5], t[8], -low[2], 0, 0, 0, 1));
    part.updateMatrixWorld(true);
    middle = new Vector3(0, 0, (high[2] - low[2]) / 2);
    radius = Math.max(Math.hypot(high[0] - low[0], high[1] - low[1], high[2] - low[2]) / 2, .05);
    ruleBed(radius);
    draw();
  }
  /** Of the part's triangles in the way up that is shown; null: as they came with the mesh. @param {Uint8Array|null} classes */
  function setClasses(classes) {
    for (let t = 0; t < n; t++) kinds.fill(kindOf(classes ? classes[shown.from[t]] : shown.classes[t]), 3 * t, 3 * t + 3);
    shape.getAttribute('kind').needsUpdate = true;
    draw();
  }
  /** Turns the view there, at once where less motion is wanted. @param {number} a @param {number} e @param {number} [z] */
  function turnView(a, e, z = zoom) {
    cancelAnimationFrame(over);
    let way = (a - az) % (4 * RIGHT);
    way = way > 2 * RIGHT ? way - 4 * RIGHT : way < -2 * RIGHT ? way + 4 * RIGHT : way;
    const from = [az, el, zoom], begun = performance.now(), lasts = calm.matches ? 0 : 260;
    const step = () => {
      const s = lasts ? Math.min(1, (performance.now() - begun) / lasts) : 1, soft = s * s * (3 - 2 * s);
      az = from[0] + way * soft; el = from[1] + (e - from[1]) * soft; zoom = from[2] + (z - from[2]) * soft;
      draw();
      if (s < 1) over = requestAnimationFrame(step);
    };
    step();
  }
  const tilt = (/** @type {number} */ e) => Math.max(-1.5, Math.min(1.5, e));
  const watch = new ResizeObserver(() => {
    width = canvas.clientWidth; height = canvas.clientHeight;
    renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
    renderer.setSize(width, height, false);
    draw();
  });
  watch.observe(canvas);
  const themes = new MutationObserver(colours), dark = matchMedia('(prefers-color-scheme: dark)');
  themes.observe(document.documentElement, { attributes: true, attributeFilter: ['data-theme'] });
  dark.addEventListener('change', colours);

  /** @type {{x: number, y: number, moved: boolean}|null} */ let held = null;
  const down = (/** @type {PointerEvent} */ e) => { held = { x: e.clientX, y: e.clientY, moved: false }; canvas.setPointerCapture(e.pointerId); };
  const move = (/** @type {PointerEvent} */ e) => {
    if (!held) return;
    const dx = e.clientX - held.x, dy = e.clientY - held.y;
    if (!held.moved && Math.hypot(dx, dy) < 5) return;
    held = { x: e.clientX, y: e.clientY, moved: true };
    az -= dx * .008; el = tilt(el + dy * .008);
    draw();
  };
  const up = (/** @type {PointerEvent} */ e) => {
    if (held && !held.moved) {
      const box = canvas.getBoundingClientRect(), ray = new Raycaster();
      ray.setFromCamera(new Vector2((e.clientX - box.left) / box.width * 2 - 1, 1 - (e.clientY - box.top) / box.height * 2), camera);
      const hit = ray.intersectObject(mesh)[0];
      if (hit?.faceIndex !== undefined && hit.faceIndex !== null) on.onPick(shown.from[hit.faceIndex]);
    }
    held = null;
  };
  canvas.addEventListener('pointerdown', down);
  canvas.addEventListener('pointermove', move);
  canvas.addEventListener('pointerup', up);
  colours();
  setClasses(null);
  setTurn(turn);

  return {
    setTurn, setClasses,
    /** @param {{at: number[], normal: number[]}[]} list */
    setSpots(list) { spots = list; draw(); },
    /** By how many radians to the right and up. @param {number} right @param {number} above */
    orbit(right, above) { turnView(az + right, tilt(el + above)); },
    /** @param {number} by */
    nearer(by) { turnView(az, el, Math.max(.08, Math.min(12, zoom * by))); },
    whole() { turnView(-.56, .47, 1); },
    /** Looks at a spot from outside. @param {number} i */
    lookAt(i) {
      const d = direction(spots[i].normal);
      if (d.lengthSq() < .5) return;
      const flat = Math.hypot(d.x, d.y);
      turnView(flat > .05 ? Math.atan2(d.x, -d.y) + .25 : az, tilt(Math.atan2(d.z, flat) * .85 + (Math.abs(d.z) < .3 ? .2 : 0)));
    },
    /** Degrees about the bed's x, y, z that tip the part by a right angle as seen from here. @param {'away'|'near'|'left'|'right'} way @returns {number[]} */
    tip(way) {
      const quarter = ((Math.round(az / RIGHT) % 4) + 4) % 4, r = [[1, 0], [0, 1], [-1, 0], [0, -1]][quarter], f = [-r[1], r[0]];
      const [axis, by] = way === 'away' ? [r, -90] : way === 'near' ? [r, 90] : way === 'right' ? [f, 90] : [f, -90];
      return [axis[0] * by + 0, axis[1] * by + 0, 0];
    },
    end() {
      cancelAnimationFrame(due); cancelAnimationFrame(over);
      watch.disconnect(); themes.disconnect(); dark.removeEventListener('change', colours);
      canvas.removeEventListener('pointerdown', down); canvas.removeEventListener('pointermove', move); canvas.removeEventListener('pointerup', up);
      shape.dispose(); material.dispose(); renderer.dispose();
    },
  };
}
