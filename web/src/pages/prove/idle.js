// The kiosk's screen is cleared when nobody does anything, after a word of warning. SPDX-License-Identifier: Apache-2.0
import { useEffect, useRef, useState } from '../../kit/index.js';

export const IDLE_S = 240, WARN_S = 30;

/** Seconds until it is cleared, once that is near; else null. @param {boolean} on @param {() => void} clear @param {number} [idle] seconds */
export function useIdle(on, clear, idle = IDLE_S) {
  const [left, setLeft] = useState(/** @type {number|null} */ (null));
  const last = useRef(Date.now());
  useEffect(() => {
    if (!on) { setLeft(null); return undefined; }
    last.current = Date.now();
    const touched = () => { last.current = Date.now(); setLeft(null); };
    const kinds = ['pointerdown', 'keydown', 'wheel', 'touchstart', 'dragover'];
    kinds.forEach((k) => addEventListener(k, touched, { passive: true }));
    const timer = setInterval(() => {
      const rest = idle - (Date.now() - last.current) / 1000;
      if (rest <= 0) clear();
      else setLeft(rest <= WARN_S ? Math.ceil(rest) : null);
    }, 1000);
    return () => { clearInterval(timer); kinds.forEach((k) => removeEventListener(k, touched)); };
  }, [on, idle]);
  return left;
}
