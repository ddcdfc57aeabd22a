// The page's weight, and both languages of its texts. SPDX-License-Identifier: Apache-2.0
import { readFileSync, readdirSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { gzipSync } from 'node:zlib';

const dist = resolve(process.argv[2]), words = resolve(dirname(fileURLToPath(import.meta.url)), '../../web/src/words');
let passed = 0, failed = 0;
const test = (name, faults) => {
  if (faults.length) { failed++; console.log(`${name}: ${faults.join('; ')}`); } else passed++;
};
const inside = JSON.parse(readFileSync(join(dist, 'inside.json'), 'utf8'));
let bytes = 0;
for (const file of readdirSync(join(dist, 'a'))) {
  if (!inside[file]?.includes('three')) bytes += gzipSync(readFileSync(join(dist, 'a', file)), { level: 9 }).length;
}
bytes += gzipSync(readFileSync(join(dist, 'index.html')), { level: 9 }).length;
console.log(`all pages, compressed, without the 3D view: ${bytes} bytes`);
test('under 300 KB', bytes < 300000 ? [] : [`${bytes} bytes`]);
const style = readdirSync(join(dist, 'a')).filter((f) => f.endsWith('.css')).map((f) => readFileSync(join(dist, 'a', f), 'utf8')).join('');
test('nothing from elsewhere', /https?:\/\//.test(style) ? ['the style names another server'] : []);

/** @param {any} v */
const places = (v) => [...new Set((typeof v === 'string' ? v : Object.values(v).join(' ')).match(/\{\w+\}/g) ?? [])].sort().join();
const faults = [];
const [english, german] = ['en', 'de'].map((l) => readdirSync(join(words, l)).filter((f) => f.endsWith('.json')));
for (const file of new Set([...english, ...german])) {
  const [e, d] = ['en', 'de'].map((l) => { try { return JSON.parse(readFileSync(join(words, l, file), 'utf8')); } catch (x) { faults.push(`${l}/${file}: ${x.message}`); return {}; } });
  for (const key of new Set([...Object.keys(e), ...Object.keys(d)])) {
    if (!(key in e) || !(key in d)) faults.push(`${file} ${key}: only in ${key in e ? 'en' : 'de'}`);
    else if (places(e[key]) !== places(d[key])) faults.push(`${file} ${key}: other placeholders`);
    else if (typeof e[key] === 'object' && !e[key].other) faults.push(`${file} ${key}: no "other"`);
  }
}
test('texts in both languages', faults);
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed ? 1 : 0);
