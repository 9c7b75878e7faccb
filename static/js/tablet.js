// A tablet several people use locks three minutes after the last touch, and when its page is put away. The server counts as well; this
// only makes it sooner and leads to the names. A running timer goes on: what runs is kept by its own page (locked.js shows it). A lock
// that the house may not have heard of is written down: the lock's page tells it, and until then no other is shown (stays_locked.js).

import { written } from "./forms.js";
import { sendDrops } from "./lock_drop.js";

const locksAfter = 3 * 60_000;
const tellsEvery = 20_000;
const form = document.querySelector("[data-lock]");
let touched = Date.now();
let told = Date.now();
// A camera or a chooser of files covers the page; coming back from it is not coming back to a page put away.
let choosing = false;

const here = location.pathname + location.search;
const inside = (path) => path.slice(new URL(form.dataset.lock, location.href).pathname.length - "/tablet".length);

for (const what of ["pointerdown", "keydown", "input"]) {
  addEventListener(what, () => (touched = Date.now()), { capture: true, passive: true });
}
addEventListener("click", (event) => (choosing = Boolean(event.target.closest?.("input[type=file]"))), true);
addEventListener("focus", () => (choosing = false));

function remember() {
  try {
    sessionStorage.setItem("stillroom.locked", here);
    localStorage.setItem("stillroom.lock", JSON.stringify({ next: inside(here) }));
  } catch {
    // Storage switched off: what was typed is gone with the page, as it would be without this script.
  }
  form.elements.next.value = inside(here);
}

let locking = false;

async function lock() {
  if (locking) return;
  locking = true;
  remember();
  const body = new URLSearchParams({ csrf: form.elements.csrf.value, next: inside(here) });
  // It outlives this page, and is told again by the lock's where it does not get through.
  const heard = fetch(form.action, { method: "POST", body, keepalive: true, redirect: "manual" }).catch(() => {});
  for (const part of document.body.children) part.hidden = true;
  // What is half typed is sealed first: nothing is seen of it meanwhile, and a slow disk is given its time. The house's answer is not.
  const atMost = (ms, what) => Promise.race([what, new Promise((done) => setTimeout(done, ms))]);
  const slow = setTimeout(() => document.body.append(Object.assign(document.createElement("p"), { className: "note", textContent: "Locking …" })), 500);
  await Promise.all([atMost(5_000, written().catch(() => {})), atMost(500, heard)]);
  clearTimeout(slow);
  location.replace(`${form.dataset.lock}?${new URLSearchParams({ next: inside(here) })}`);
}

// A form sent without network would leave the browser's own page here, and the tablet open behind it.
form.addEventListener("submit", (event) => {
  event.preventDefault();
  lock();
});
// A page that is left for the next one is hidden, too, after it was told so: going on is not putting away.
let leaving = false;
addEventListener("pagehide", () => (leaving = true));
addEventListener("pageshow", () => (leaving = false));
document.addEventListener("visibilitychange", () => {
  if (document.hidden && !choosing && !leaving) lock();
});
setInterval(() => {
  const now = Date.now();
  if (now - touched >= locksAfter) lock();
  else if (touched > told && now - told >= tellsEvery) {
    told = now;
    fetch(`${form.dataset.lock}/here`, { cache: "no-store" }).catch(() => {});
  }
}, 2_000);

// Kept awake where the browser can: asked anew whenever the page comes back, since it is lost with a page put away.
async function stayAwake() {
  if (document.hidden || !document.querySelector("[data-awake]")) return;
  await navigator.wakeLock?.request("screen").catch(() => {});
}
document.addEventListener("visibilitychange", stayAwake);
stayAwake();

// What was pressed on the lock without network goes out from here as well, where the lock was left too soon.
sendDrops();
addEventListener("online", sendDrops);
setInterval(sendDrops, tellsEvery);
