// Bundles the page: build.mjs OUT [--deps FILE]. SPDX-License-Identifier: Apache-2.0
// OUT gets index.html, a/NAME.HASH.ext and `manifest`: a line for each file (path, type, kind) and one for each page path.
import { build } from 'esbuild';
import { createHash } from 'node:crypto';
import { mkdirSync, readFileSync, readdirSync, rmSync, writeFileSync, existsSync } from 'node:fs';
import { basename, extname, join, resolve } from 'node:path';

const here = import.meta.dirname;
const out = resolve(process.argv[2] ?? join(here, 'dist'));
rmSync(out, { recursive: true, force: true });
mkdirSync(out, { recursive: true });

/** One catalogue a language, from words/LANGUAGE/PAGE.json: the key `take_off` of today.json is `today.take_off`. */
const words = {
  name: 'words',
  setup(/** @type {import('esbuild').PluginBuild} */ b) {
    b.onResolve({ filter: /^words:/ }, (a) => ({ path: a.path.slice(6), namespace: 'words' }));
    b.onLoad({ filter: /.*/, namespace: 'words' }, (a) => {
      const folder = join(here, 'src/words', a.path);
      /** @type {Record<string, unknown>} */
      const all = {};
      const files = readdirSync(folder).filter((f) => f.endsWith('.json')).sort();
      for (const file of files) {
        for (const [key, value] of Object.entries(JSON.parse(readFileSync(join(folder, file), 'utf8')))) {
          all[`${basename(file, '.json')}.${key}`] = value;
        }
      }
      return { contents: JSON.stringify(all), loader: 'json', watchFiles: files.map((f) => join(folder, f)) };
    });
  },
};

const result = await build({
  entryPoints: [{ in: join(here, 'src/app.js'), out: 'app' }, { in: join(here, 'src/style/index.css'), out: 'style' }],
  outdir: join(out, 'a'), bundle: true, format: 'esm', splitting: true, minify: true, sourcemap: false, metafile: true,
  target: ['chrome110', 'firefox115', 'safari16.4'], entryNames: '[name].[hash]', chunkNames: '[name].[hash]',
  assetNames: '[name].[hash]', legalComments: 'none', logLevel: 'warning', plugins: [words], absWorkingDir: here,
  loader: { '.svg': 'file', '.png': 'file', '.webp': 'file' }, publicPath: '/a',
});
const made = Object.keys(result.metafile.outputs).map((f) => basename(f)).filter((f) => !f.endsWith('.map')).sort();
const one = (/** @type {RegExp} */ what) => made.find((f) => what.test(f)) ?? '';
const hashed = (/** @type {string} */ name) => {
  const data = readFileSync(join(here, 'public', name));
  const hash = createHash('sha256').update(data).digest('hex').slice(0, 8);
  const file = `${basename(name, extname(name))}.${hash}${extname(name)}`;
  writeFileSync(join(out, 'a', file), data);
  made.push(file);
  return file;
};
const icon = hashed('icon.svg');
writeFileSync(join(out, 'app.webmanifest'), readFileSync(join(here, 'public/app.webmanifest'), 'utf8').replaceAll('ICON', `/a/${icon}`));
let index = readFileSync(join(here, 'public/index.html'), 'utf8')
  .replaceAll('APP.js', `/a/${one(/^app\..*\.js$/)}`).replaceAll('STYLE.css', `/a/${one(/^style\..*\.css$/)}`).replaceAll('ICON.svg', `/a/${icon}`);
const version = createHash('sha256').update(index).update(made.join()).digest('hex').slice(0, 16);
index = index.replaceAll('VERSION', version);
writeFileSync(join(out, 'index.html'), index);

const types = { '.js': 'text/javascript; charset=utf-8', '.css': 'text/css; charset=utf-8', '.svg': 'image/svg+xml', '.png': 'image/png',
  '.webp': 'image/webp', '.json': 'application/json' };
const paths = [...readFileSync(join(here, 'src/pages/index.js'), 'utf8').matchAll(/path: '([^']+)'/g)].map((m) => m[1]);
writeFileSync(join(out, 'manifest'), [
  `version\t${version}`,
  'file\t/\tindex.html\ttext/html; charset=utf-8',
  'file\t/app.webmanifest\tapp.webmanifest\tapplication/manifest+json',
  ...made.map((f) => `file\t/a/${f}\ta/${f}\t${/** @type {Record<string, string>} */ (types)[extname(f)] ?? 'application/octet-stream'}`),
  ...paths.map((p) => `page\t${p}`), ''].join('\n'));

// What counts for how heavy the page is (build.mjs's reader: the test of weight): chunks only reached through three or uPlot.
/** @type {Record<string, string[]>} */
const inside = {};
for (const [file, o] of Object.entries(result.metafile.outputs)) {
  inside[basename(file)] = Object.keys(o.inputs).filter((i) => /node_modules\/(three|uplot)\//.test(i)).map((i) => i.replace(/.*node_modules\/([^/]+)\/.*/, '$1'));
}
writeFileSync(join(out, 'inside.json'), JSON.stringify(inside));
const at = process.argv.indexOf('--deps');
if (at > 0) {
  const inputs = Object.keys(result.metafile.inputs).filter((i) => !i.startsWith('words:')).map((i) => join(here, i));
  const more = ['build.mjs', 'public/index.html', 'public/icon.svg', 'public/app.webmanifest', 'src/pages/index.js'].map((f) => join(here, f));
  for (const language of ['en', 'de']) {
    const folder = join(here, 'src/words', language);
    if (existsSync(folder)) more.push(...readdirSync(folder).map((f) => join(folder, f)));
  }
  const escape = (/** @type {string} */ f) => f.replaceAll(' ', '\\ ');
  writeFileSync(process.argv[at + 1], `${escape(process.argv[at + 2])}: ${[...new Set([...inputs, ...more])].map(escape).join(' ')}\n`);
}
