// Bundles the page and writes it as C: embed.mjs OUT.c DEPFILE FOLDER. SPDX-License-Identifier: Apache-2.0
// Each file is kept as gzip made it at its best; the server sends that, or inflates it for whoever does not take it.
import { readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { gzipSync } from 'node:zlib';

const [outC, dep, folder] = process.argv.slice(2).map((p) => resolve(p));
const target = process.argv[2];
process.argv = [process.argv[0], 'build.mjs', folder, '--deps', dep, target];
await import('./build.mjs');
const rows = readFileSync(join(folder, 'manifest'), 'utf8').trim().split('\n').map((l) => l.split('\t'));
const parts = ['/* Made by web/embed.mjs: the page. */\n#include "desk/page_files.h"\n\n'];
const files = [], pages = [];
for (const [kind, path, file, type] of rows) {
  if (kind === 'page') pages.push(path);
  if (kind !== 'file') continue;
  const data = readFileSync(join(folder, file)), zipped = gzipSync(data, { level: 9 });
  const bytes = [];
  for (let i = 0; i < zipped.length; i += 40) bytes.push(zipped.subarray(i, i + 40).join(','));
  parts.push(`static const unsigned char file_${files.length}[] = {\n${bytes.join(',\n')}};\n`);
  files.push(`    {"${path}", "${type}", file_${files.length}, ${zipped.length}, ${data.length}},\n`);
}
const version = rows.find(([kind]) => kind === 'version')?.[1];
parts.push(`\nstatic const desk_page_file files[] = {\n${files.join('')}};\n`, `static const char *const paths[] = {\n${pages.map((p) => `    "${p}",\n`).join('')}};\n`,
  `\nconst desk_page_set desk_page_files = {files, ${files.length}, paths, ${pages.length}, "W/\\"${version}\\""};\n`);
writeFileSync(outC, parts.join(''));
