// On a locked tablet: how long a timer has run, without a name; and New drop by one key, while a card is open. When it began stands on
// the page where the server knows it; otherwise the timer's own page has written it down. What somebody left unfinished waits for
// her for twelve hours; then it is forgotten.

import { forgetOlder } from "./kept.js";
import { canSeal } from "./seal.js";

const DRAFTS_FOR_MS = 12 * 3_600_000;

const line = document.querySelector("[data-running]");
const time = line?.querySelector("[data-running-time]");
const form = document.querySelector("[data-new-drop]");

function begun() {
  if (line.dataset.began) return Number(line.dataset.began);
  try {
    return Number(JSON.parse(localStorage.getItem("stillroom.running") ?? "null")?.began);
  } catch {
    return NaN; // Storage switched off, or not ours to read.
  }
}

function show() {
  const began = begun();
  line.hidden = !(began > 0) || Date.now() - began > 12 * 3_600_000;
  if (line.hidden) return;
  const seconds = Math.max(0, Math.floor((Date.now() - began) / 1_000));
  time.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
}

if (line) {
  show();
  setInterval(show, 1_000);
}

// A key held down, or a switch that bounces, is one drop: what is younger than five seconds stays.
document.addEventListener("keydown", (event) => {
  if (!form || event.repeat || !["Enter", "PageDown"].includes(event.key)) return;
  if (event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
  if (document.activeElement && !["BODY", "MAIN"].includes(document.activeElement.tagName)) return;
  if (Date.now() - begun() < 5_000) return;
  event.preventDefault();
  form.requestSubmit();
});

if (canSeal && document.body.classList.contains("locked")) {
  const sweep = () => forgetOlder(DRAFTS_FOR_MS).catch(() => {});
  sweep();
  setInterval(sweep, 10 * 60_000);
}
