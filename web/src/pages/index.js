// Every page: address, name (word key pages.NAME, file NAME.js), least role. SPDX-License-Identifier: Apache-2.0
/** @type {{path: string, name: string, least: import('../kit/api.js').Role, load: () => Promise<{default: any}>}[]} */
export const pages = [
  { path: '/prove', name: 'prove', least: 'kiosk', load: () => import('./prove.js') },
  { path: '/part/:proof', name: 'part', least: 'kiosk', load: () => import('./part.js') },
  { path: '/bedful', name: 'bedful', least: 'desk', load: () => import('./bedful.js') },
  { path: '/today', name: 'today', least: 'desk', load: () => import('./today.js') },
  { path: '/round', name: 'round', least: 'desk', load: () => import('./round.js') },
  { path: '/out', name: 'out', least: 'desk', load: () => import('./out.js') },
  { path: '/back', name: 'back', least: 'desk', load: () => import('./back.js') },
  { path: '/shelf', name: 'shelf', least: 'desk', load: () => import('./shelf.js') },
  { path: '/tickets', name: 'tickets', least: 'desk', load: () => import('./tickets.js') },
  { path: '/messages', name: 'messages', least: 'desk', load: () => import('./messages.js') },
  { path: '/people', name: 'people', least: 'desk', load: () => import('./people.js') },
  { path: '/person/:member', name: 'person', least: 'desk', load: () => import('./person.js') },
  { path: '/spools', name: 'spools', least: 'desk', load: () => import('./spools.js') },
  { path: '/machines', name: 'machines', least: 'desk', load: () => import('./machines.js') },
  { path: '/machine/:machine', name: 'machine', least: 'desk', load: () => import('./machine.js') },
  { path: '/care', name: 'care', least: 'desk', load: () => import('./care.js') },
  { path: '/why', name: 'why', least: 'desk', load: () => import('./why.js') },
  { path: '/room', name: 'room', least: 'desk', load: () => import('./room.js') },
  { path: '/training', name: 'training', least: 'desk', load: () => import('./training.js') },
  { path: '/learn', name: 'learn', least: 'kiosk', load: () => import('./learn.js') },
  { path: '/paper', name: 'paper', least: 'member', load: () => import('./paper.js') },
  { path: '/book', name: 'book', least: 'desk', load: () => import('./book.js') },
  { path: '/mine', name: 'mine', least: 'member', load: () => import('./mine.js') },
  { path: '/screen', name: 'screen', least: 'kiosk', load: () => import('./screen.js') },
  { path: '/sign-in', name: 'sign-in', least: 'kiosk', load: () => import('./sign-in.js') },
  { path: '/settings', name: 'settings', least: 'kiosk', load: () => import('./settings.js') },
  { path: '/about', name: 'about', least: 'kiosk', load: () => import('./about.js') },
  { path: '/about/:finding', name: 'about', least: 'kiosk', load: () => import('./about.js') },
];
/** The way through the shop, by role; the first four stand at the foot of a phone. @type {Record<import('../kit/api.js').Role, string[]>} */
export const ways = {
  kiosk: ['prove', 'learn'],
  member: ['prove', 'mine', 'learn', 'paper'],
  desk: ['today', 'out', 'back', 'round', 'prove', 'shelf', 'tickets', 'messages', 'people', 'spools', 'machines', 'bedful', 'care', 'why', 'room', 'training', 'book'],
  keeper: ['today', 'out', 'back', 'round', 'prove', 'shelf', 'tickets', 'messages', 'people', 'spools', 'machines', 'bedful', 'care', 'why', 'room', 'training', 'book'],
};
