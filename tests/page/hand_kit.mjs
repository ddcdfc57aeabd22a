// What tests of hand-out and take-back share: jobs of our own, folders as sticks. SPDX-License-Identifier: Apache-2.0
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

/** A square tube of three wall loops of 0.45 mm in layers of 0.2 mm; as tube() of tests/desk_kit.py. Lengths by the bead's area, w h - h^2 (1 - pi / 4). */
export function tube({ size = 30, height = 20, x = 120, y = 100, nozzle = 235, bed = 75, fan = 90 } = {}) {
  const layer = 0.2, width = 0.45, each = (width * layer - layer ** 2 * (1 - Math.PI / 4)) / (Math.PI / 4 * 1.75 ** 2);
  const out = ['; a square tube', 'G21', 'G90', 'M83', `M140 S${bed}`, `M104 T0 S${nozzle}`, `M190 S${bed}`, `M109 T0 S${nozzle}`, 'G28', 'G29', 'T0', 'G92 E0', 'G1 X10 Y4 Z0.25 F3000', 'G1 X60 Y4 E2.2 F900', 'G1 E-0.9 F2100'];
  for (let n = 0; n < Math.round(height / layer); n++) {
    if (n === 3) out.push(`M106 S${fan}`);
    for (let k = 0; k < 3; k++) {
      const half = size / 2 - width / 2 - k * (width - layer * (1 - Math.PI / 4)), side = 2 * half;
      out.push(`G1 X${(x - half).toFixed(3)} Y${(y - half).toFixed(3)} Z${((n + 1) * layer).toFixed(3)} F9000`);
      if (k === 0) out.push('G1 E0.9 F2100');
      for (const [dx, dy] of [[1, -1], [1, 1], [-1, 1], [-1, -1]]) out.push(`G1 X${(x + dx * half).toFixed(3)} Y${(y + dy * half).toFixed(3)} E${(side * each).toFixed(5)} F${n === 0 ? 1200 : 1500}`);
    }
    out.push('G1 E-0.9 F2100');
  }
  return [...out, `G1 Z${(height + 10).toFixed(2)} F600`, 'G1 X5 Y190 F6000', 'M104 S0', 'M140 S0', 'M107', 'M84', ''].join('\n');
}
/** The next Tuesday or Thursday that the shop file does not close: later than what the house booked of its people today, for a book never goes back. */
function nextOpenDay(shop) {
  const closed = [...shop.matchAll(/"(\d{4}-\d\d-\d\d)(?:\/(\d{4}-\d\d-\d\d))?"/g)].map(([, from, to]) => [from, to ?? from]);
  for (let ms = Date.now() + 86400000; ; ms += 86400000) {
    const day = new Date(ms), name = day.toISOString().slice(0, 10);
    if ([2, 4].includes(day.getUTCDay()) && !closed.some(([from, to]) => name >= from && name <= to)) return name;
  }
}
/** The house's shop file with folders of its own as sticks, and a clock within desk hours; the folders by name. */
export function shopWithSticks(house) {
  const folders = {};
  let text = readFileSync(house.env.PROVEOUT_SHOP, 'utf8');
  for (const name of ['a1', 'b1', 'c1', 'd1', 'e1']) {
    folders[name] = join(house.where, name);
    mkdirSync(folders[name]);
    text = text.replace(`mount: /media/${name}`, `mount: ${folders[name]}`);
  }
  house.env.PROVEOUT_SHOP = join(house.where, 'shop.yaml');
  writeFileSync(house.env.PROVEOUT_SHOP, text);
  house.env.PROVEOUT_CLOCK = `${nextOpenDay(text)}T11:00`;
  return folders;
}
