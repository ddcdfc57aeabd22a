// Settings, about and sign-in in all sizes and both themes. SPDX-License-Identifier: Apache-2.0
import { begin, end, everyLook, test } from './kit.mjs';

const house = await begin();
await test('how it looks', async () => {
  await everyLook(house, '/settings', { as: 'desk', name: 'settings' });
  await everyLook(house, '/about', { name: 'about' });
  await everyLook(house, '/sign-in', { name: 'sign-in' });
});
await end();
