// One place for the page's building blocks: html (JSX-like, without a compiler), signals, hooks. SPDX-License-Identifier: Apache-2.0
import { h, Fragment, render } from 'preact';
import htm from 'htm';
export { h, Fragment, render };
export { signal, computed, effect, batch, useSignal, useComputed, useSignalEffect } from '@preact/signals';
export { useState, useEffect, useLayoutEffect, useRef, useMemo, useCallback, useId } from 'preact/hooks';
/** @type {(strings: TemplateStringsArray, ...values: any[]) => any} */
export const html = htm.bind(/** @type {any} */ (h));
