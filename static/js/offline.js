// The page shown where the network is away: what waits here, and the way back as soon as the house answers.

import { all, base, list } from "./kept.js";

const place = document.querySelector("[data-kept-here]");
const none = document.querySelector("[data-kept-none]");
const LOOK_EVERY_MS = 4_000;

async function show() {
  const waiting = (await all().catch(() => [])).filter(({ state }) => ["waiting", "asked"].includes(state));
  list(place, waiting);
  place.hidden = waiting.length === 0;
  none.hidden = waiting.length > 0;
}

/** The page that was wanted comes by itself; under its own address this one stays. */
async function look() {
  if (location.pathname === `${base}/offline`) return;
  try {
    const answer = await fetch(`${base}/healthz`, { cache: "no-store", signal: AbortSignal.timeout?.(3_000) });
    if (answer.ok && (await answer.text()).trim() === "alive") location.reload();
  } catch {
    // Not yet.
  }
}

show();
setInterval(show, 10_000);
addEventListener("online", look);
document.addEventListener("visibilitychange", () => document.hidden || look());
setInterval(look, LOOK_EVERY_MS);
