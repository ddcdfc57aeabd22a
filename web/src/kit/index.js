// The kit in one import. SPDX-License-Identifier: Apache-2.0
export * from './html.js';
export * from './api.js';
export { useAsk, useNow, onNews, line } from './live.js';
export { t, has, language, store } from './words.js';
export * from './when.js';
export { useKeys } from './keys.js';
export { go, place } from './router.js';
export * from './parts.js';
export { Dialog } from './dialog.js';
export { Picker } from './picker.js';
export { Table } from './table.js';
export { Strip } from './strip.js';
export { ScanField } from './scan.js';
export { Chart } from './chart.js';
export { Page } from './page.js';
