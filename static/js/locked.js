// On a locked tablet: how long a timer has run, or has still to run, without a name. Its own page writes down when it began. What
// somebody left unfinished waits for her for twelve hours; then it is forgotten.

import { forgetOlder } from "./kept.js";
import { canSeal } from "./seal.js";

const DRAFTS_FOR_MS = 12 * 3_600_000;

const line = document.querySelector("[data-running]");
const time = line?.querySelector("[data-running-time]");

function show() {
  let running = null;
  try {
    running = JSON.parse(localStorage.getItem("stillroom.running") ?? "null");
  } catch {
    // Storage switched off, or not ours to read.
  }
  const began = Number(running?.began);
  line.hidden = !(began > 0) || Date.now() - began > 12 * 3_600_000;
  if (line.hidden) return;
  const seconds = Math.max(0, Math.floor((Date.now() - began) / 1_000));
  time.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
}

if (line) {
  show();
  setInterval(show, 1_000);
}

if (canSeal && document.body.classList.contains("locked")) {
  const sweep = () => forgetOlder(DRAFTS_FOR_MS).catch(() => {});
  sweep();
  setInterval(sweep, 10 * 60_000);
}
