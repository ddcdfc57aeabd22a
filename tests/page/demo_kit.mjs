// The demo's book for tests that walk through the whole page: three weeks of an invented shop that end now. SPDX-License-Identifier: Apache-2.0
import { spawnSync } from 'node:child_process';
import { readFileSync, readdirSync, rmSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { begin, passwords } from './kit.mjs';

const demo = resolve(dirname(process.argv[2]), '../../demo');
function made(name, ...words) {
  const done = spawnSync(join(demo, name), words, { encoding: 'utf8', timeout: 60000 });
  if (done.status !== 0) throw new Error(`${name} ${words.join(' ')}: ${done.stdout}${done.stderr}`);
}
/** A house with that book, and k1, d1, d2, m1 who can sign in; the demo's jobs and parts lie in house.where. @param {{now?: string, shop?: (house: any) => void}} [o] */
export async function demoHouse({ now, shop } = {}) {
  return begin({ people: false, seed: async (house) => {
    shop?.(house);
    made('demo_jobs', house.where);
    made('demo_parts', house.where);
    for (const file of readdirSync(house.where).filter((f) => f.startsWith('book.db'))) rmSync(join(house.where, file), { recursive: true });
    if (now) house.env.PROVEOUT_CLOCK = now;
    made('seed', ...(now ? ['--now', now] : []), '--jobs', house.where, '--shop', house.env.PROVEOUT_SHOP, join(house.where, 'book.db'));
    for (const [member, role] of [['k1', 'keeper'], ['d1', 'desk'], ['d2', 'desk'], ['m1', 'member']]) {
      house.by('keeper', 'member', 'enrol', member, '--role', role);
      const done = spawnSync(resolve(process.argv[2]), ['desk', 'password', member], { cwd: house.where, env: house.env, input: `${passwords[member]}\n`, encoding: 'utf8' });
      if (done.status !== 0) throw new Error(done.stderr);
    }
  } });
}
/** A file sent and proved: its proof as the server says it. @param {any} house @param {any} desk who signed in @param {string} name in house.where */
export async function proof(house, desk, name) {
  const reply = await fetch(`${house.url}/api/1/files`, { method: 'POST', headers: { Cookie: desk.cookie, 'Content-Type': 'application/octet-stream', 'X-Proveout-Name': name, 'X-Proveout-Token': desk.token }, body: readFileSync(join(house.where, name)) });
  if (!reply.ok) throw new Error(await reply.text());
  let said = await desk.call('/api/1/proofs', { file: (await reply.json()).file });
  while (said.state === 'waits' || said.state === 'works') said = await desk.call(`/api/1/proofs/${said.proof}?wait=5`);
  return said;
}
