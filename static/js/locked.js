// On a locked tablet: the house is told of the lock where it does not know yet; how long a timer has run, without a name; and New drop,
// by its button or one key, while a card is open. When a drop began stands on the page where the server knows it; otherwise the timer's
// own page has written it down. What somebody left unfinished waits for her for twelve hours; then it is forgotten.

import { base, forgetOlder, list } from "./kept.js";
import { keepDrop, leaveTurned, ofLock, sendDrops, waits } from "./lock_drop.js";
import { canSeal } from "./seal.js";

const DRAFTS_FOR_MS = 12 * 3_600_000;
const FORGOTTEN_MS = 12 * 3_600_000;
const BOUNCE_MS = 5_000;
const LOOK_EVERY_MS = 4_000;
const UNTOLD = "stillroom.lock";
const RUNNING = "stillroom.running";

const line = document.querySelector("[data-running]");
const time = line?.querySelector("[data-running-time]");
// A form where the house can be reached, a button alone on the page for no network.
const taker = document.querySelector("[data-new-drop]");
const bed = document.querySelector("[data-lock-seal]");
const said = document.querySelector("[data-lock-said]");
const there = document.querySelector("[data-lock-sends]");

const attempt = (what) => {
  try {
    return what();
  } catch {
    return null; // Storage switched off, or not ours to read.
  }
};
const running = () => attempt(() => JSON.parse(localStorage.getItem(RUNNING) ?? "null")) ?? {};
const begun = () => Number(line?.dataset.began || (running().began ?? NaN));
const isOld = (began) => !(began > 0) || Date.now() - began > FORGOTTEN_MS;

function show() {
  const began = begun();
  line.hidden = isOld(began);
  if (line.hidden) return;
  const seconds = Math.max(0, Math.floor((Date.now() - began) / 1_000));
  time.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
}

/** The page for no network is everybody's; it offers a drop where it stands in for the lock of a tablet with a card open on it. */
function offer() {
  const entry = document.querySelector("[data-lock-bed]");
  if (!entry) return;
  const locked = location.pathname === `${base}/tablet` || attempt(() => localStorage.getItem(UNTOLD)) !== null;
  const { began, card } = running();
  entry.hidden = !(canSeal && locked && card) || isOld(began);
}

/** The time begins anew here, too; the page that comes once it was sent says so in the house's words. */
function beginAnew() {
  const began = Date.now();
  attempt(() => localStorage.setItem(RUNNING, JSON.stringify({ ...running(), began })));
  if (!line) return;
  line.dataset.began = String(began);
  line.querySelector("[data-running-said]")?.replaceChildren("New drop taken here: ");
  show();
}

/** A key held down, a switch that bounces or a second finger is one drop: what is younger than five seconds stays. */
function bounces() {
  const age = Date.now() - begun();
  return age >= 0 && age < BOUNCE_MS;
}

async function tell() {
  const kept = await ofLock();
  const place = document.querySelector("[data-lock-list]");
  if (place) {
    list(place, kept);
    place.hidden = kept.length === 0;
  }
  const turned = kept.some(({ state }) => state === "turned");
  const read = document.querySelector("[data-lock-read]");
  if (read) read.hidden = !turned;
  if (!said) return;
  if (kept.some(({ state }) => state !== "turned")) said.textContent = "The new drop is kept on this tablet with the time at which it was pressed, and is sent when the network is back.";
  else said.textContent = turned ? "A new drop was not noted. Unlock the tablet and look at the card." : "";
}

/** Sends what waits; the lock as the house has it by then takes this page's place. */
async function sendAll() {
  if (!there) return;
  const saved = await sendDrops();
  await tell();
  if (saved > 0 && said && !(await waits())) location.reload();
}

async function press() {
  if (bounces()) return;
  const before = attempt(() => localStorage.getItem(RUNNING));
  beginAnew();
  try {
    await keepDrop({ id: bed.dataset.lockSeal, point: bed.dataset.point }, JSON.parse(before ?? "null") ?? {});
  } catch {
    if (there) HTMLFormElement.prototype.submit.call(taker);
    else if (said) said.textContent = "The new drop could not be kept on this tablet. Write down the time.";
    return;
  }
  await tell();
  await back();
}

// Where nothing can be sealed the form is sent as without this script.
taker?.addEventListener(taker.localName === "form" ? "submit" : "click", (event) => {
  if (!canSeal || !bed?.dataset.point) return;
  event.preventDefault();
  press().catch(() => {});
});

document.addEventListener("keydown", (event) => {
  if (!taker || taker.closest("[hidden]") || event.repeat || !["Enter", "PageDown"].includes(event.key)) return;
  if (event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
  if (document.activeElement && !["BODY", "MAIN"].includes(document.activeElement.tagName)) return;
  if (bounces()) return;
  event.preventDefault();
  taker.querySelector("button").click();
});

document.querySelector("[data-lock-read]")?.addEventListener("click", () => leaveTurned().then(tell, () => {}));

let telling = null;

/** Tells the house of a lock it has not heard of, before anything else is sent. False while it could not be told. */
async function tellLock() {
  const { stillIn, stillToken } = there?.dataset ?? {};
  if (attempt(() => localStorage.getItem(UNTOLD)) === null) return true;
  if (stillIn) {
    const body = new URLSearchParams({ csrf: stillToken, next: "/" });
    // Whatever it answers, it has heard of it, or of a lock before.
    telling ??= fetch(stillIn, { method: "POST", body, redirect: "manual", signal: AbortSignal.timeout?.(10_000) });
    const heard = await telling.then((answer) => answer.type === "opaqueredirect" || answer.status < 500, () => false);
    telling = null;
    if (!heard) return false;
  }
  attempt(() => localStorage.removeItem(UNTOLD));
  return true;
}

/** The network is back, as far as is known: the lock first, then what waits. */
async function back() {
  if (there && (await tellLock())) await sendAll();
}

if (line) {
  show();
  setInterval(show, 1_000);
}
offer();

if (there || bed) {
  tell().catch(() => {});
  back().catch(() => {});
  addEventListener("online", () => back().catch(() => {}));
  document.addEventListener("visibilitychange", () => document.hidden || back().catch(() => {}));
  setInterval(() => back().catch(() => {}), LOOK_EVERY_MS);
}

if (canSeal && document.body.classList.contains("locked")) {
  const sweep = () => forgetOlder(DRAFTS_FOR_MS).catch(() => {});
  sweep();
  setInterval(sweep, 10 * 60_000);
}
