// A book with something on the shelf, in the outbox and waiting, for tests of the desk's pages. SPDX-License-Identifier: Apache-2.0

/** Members m1 and m2 may use all; a job is proved on each machine. {desk, keeper, names, out, shelved}. */
export async function busy(house) {
  const sha = 'ab'.repeat(32), keeper = await house.signIn('k1'), desk = await house.signIn('d1'), now = Date.now();
  await keeper.act('term-open', { term: 'now', from: now - 86400000, until: now + 86400000 * 60, allowance_um: 500000000 });
  const shop = await (await fetch(`${house.url}/api/1/shop`)).json(), names = shop.machines.map((m) => m.name);
  for (const member of ['m1', 'm2']) for (const p of shop.permissions) await desk.act('permit-grant', { member, permission: p.name }).catch(() => {});
  await desk.act('spool-add', { spool: 'P1', material: 'petg', diameter_um: 1750, density_mg_cm3: 1270, tare_mg: 230000, gross_mg: 1230000 });
  for (const machine of names) {
    await desk.act('proof-keep', { sha256: sha, machine, verdict: 'clear', um: 20000000, seconds: 4100, file: 'hook.gcode', by_height: [[10000, 4000000, 1000], [30000, 12500000, 3000], [40000, 20000000, 4100]] });
  }
  const out = async (machine, member = 'm1') => {
    const { event: run } = await keeper.act('run-hand-out', { member, machine, um: 20000000, seconds: 4100, sha256: sha, file: 'hook.gcode', spool: 'P1' });
    await desk.act('run-start', { run, heated: true, stream_steady: true, bed_clean: true, gap_good: true, spool_right: true });
    return run;
  };
  /** A run that ended and whose part lies on a place; kept: ms from now. */
  const shelved = async (machine, place, { member = 'm1', kept = 3 * 86400000, message } = {}) => {
    const run = await out(machine, member);
    await desk.act('run-ended', { run });
    await desk.act('run-off', { run, to: 'shelf', place, kept_until: Date.now() + kept, ...(message ? { message } : {}) });
    await desk.act('run-take-back', { run, figure: 'proof' });
    await desk.act('run-outcome', { run, outcome: 'good', counts: true });
    return run;
  };
  return { keeper, desk, names, out, shelved };
}
