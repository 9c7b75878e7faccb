// Pages that stay open keep up. An element marked data-live="air" is fetched anew with its page when that topic rises, and
// the one of the same id is put in its place: what has focus keeps it, what was typed stays. Without this script the page is
// as it was when it was made.

// A page that came back with mistakes has the address of its form, under which there is no page to look at again.
const marked = () => (document.querySelector(".mistakes") ? [] : [...document.querySelectorAll("[data-live][id]")]);
const topics = (place) => place.dataset.live.split(" ").filter(Boolean);
const again = 30_000;
const minute = 60_000;
// Whoever only passes through opens no stream; what rises meanwhile is told when it opens.
const settled = 1_500;

let source = null;
// When the page that is shown was asked for, on the clock that began with it.
let asked = 0;
let waiting = 0;
let out = false;
// What is still to be looked at: topics, or null for all of them. One look at a time, so that no older page overtakes a newer one.
let due = new Set();
let looking = null;
const later = [2_000, 5_000, 15_000];

function listen() {
  clearTimeout(waiting);
  const names = new Set(marked().flatMap(topics));
  if (out || source !== null || names.size === 0 || document.hidden) return;
  const address = new URL("../../../live", import.meta.url);
  for (const name of names) address.searchParams.append("topic", name);
  address.searchParams.set("age", String(Math.ceil(performance.now() - asked)));
  source = new EventSource(address);
  source.addEventListener("open", () => refresh(new Set()));
  source.addEventListener("risen", (event) => refresh(new Set(event.data.split(" "))));
  source.addEventListener("error", () => {
    if (source?.readyState !== EventSource.CLOSED) return;
    // Refused rather than cut off: too many pages are open, or nobody is signed in any more.
    hush();
    waiting = setTimeout(() => refresh(null).then(listen), again);
  });
}

function hush() {
  source?.close();
  source = null;
}

/** Looks anew at what these topics concern (null: at everything); resolves when nothing is left to look at. */
function refresh(risen) {
  due = both(due, risen);
  looking ??= lookAgain().finally(() => (looking = null));
  return looking;
}

const both = (some, more) => (some === null || more === null ? null : new Set([...some, ...more]));

async function lookAgain() {
  for (let failed = 0; due === null || due.size > 0; ) {
    const risen = due;
    due = new Set();
    if (await look(risen)) {
      failed = 0;
      continue;
    }
    // A house too busy to answer just now has news all the same; one that is away tells of it when its stream comes back.
    due = both(due, risen);
    if (failed === later.length) return;
    await new Promise((done) => setTimeout(done, later[failed]));
    failed += 1;
  }
}

/** Fetches the page and puts what these topics concern in place; tells whether there was an answer to go by. */
async function look(risen) {
  const concerned = marked().filter((place) => risen === null || topics(place).some((name) => risen.has(name)));
  if (concerned.length === 0) return true;
  const at = performance.now();
  try {
    const answer = await fetch(location.href, { headers: { "x-unattended": "1" }, cache: "no-store" });
    if (answer.redirected) out = true;
    if (!answer.ok || answer.redirected) return answer.status < 500 && answer.status !== 429;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const since = String(Date.now());
    const said = [];
    for (const place of concerned) {
      const fresh = page.getElementById(place.id);
      if (fresh && place.isConnected) said.push(...swap(place, document.importNode(fresh, true), since));
    }
    asked = at;
    if (said.length > 0) say(said.join(" "));
    return true;
  } catch {
    return false;
  }
}

// Puts the fresh element in place; gives the warnings that were not there before.
function swap(place, fresh, since) {
  // A form on its way is left alone, and so is one that somebody is in the middle of and that is no longer there.
  if (place.querySelector("[data-sent], form[data-waits], form[aria-busy=true]")) return [];
  const focused = place.contains(document.activeElement) ? document.activeElement : null;
  const heir = focused && twin(focused, place, fresh);
  if (focused && !heir) {
    place.addEventListener("focusout", () => refresh(null), { once: true });
    return [];
  }
  for (const ago of fresh.querySelectorAll("[data-ago]")) ago.dataset.since = since;
  for (const control of place.querySelectorAll("input, select, textarea")) hand(control, twin(control, place, fresh));
  for (const details of place.querySelectorAll("details")) {
    const other = twin(details, place, fresh);
    if (other) other.open = details.open;
  }
  const before = new Set(warnings(place));
  const caret = focused && "selectionStart" in focused ? [focused.selectionStart, focused.selectionEnd] : null;
  place.replaceWith(fresh);
  document.dispatchEvent(new CustomEvent("live-swapped", { detail: fresh }));
  heir?.focus({ preventScroll: true });
  if (heir && caret && caret[0] !== null) heir.setSelectionRange(...caret);
  return warnings(fresh).filter((words) => !before.has(words));
}

// The element that stands for another in the fresh copy: by its id, else the same one of its kind, by name or address.
function twin(element, place, fresh) {
  if (element.id) return fresh.id === element.id ? fresh : fresh.querySelector(`#${CSS.escape(element.id)}`);
  const sign = (one) => [one.localName, one.form?.getAttribute("action"), one.getAttribute("name"), one.getAttribute("href"), one.value].join("\n");
  const kin = (inside) => [...inside.querySelectorAll(element.localName)];
  if (element.localName === "details") return kin(fresh)[kin(place).indexOf(element)] ?? null;
  const typed = ["input", "select", "textarea"].includes(element.localName) && !["radio", "checkbox"].includes(element.type);
  const same = typed
    ? (one) => one.name === element.name && one.form?.getAttribute("action") === element.form?.getAttribute("action")
    : (one) => sign(one) === sign(element);
  const nth = kin(place).filter(same).indexOf(element);
  return kin(fresh).filter(same)[nth] ?? null;
}

function hand(control, other) {
  if (!other || control.type === "hidden" || control.type === "file") return;
  if (control.type === "checkbox" || control.type === "radio") {
    if (control.checked !== control.defaultChecked) other.checked = control.checked;
  } else if (control.localName === "select") {
    if ([...control.options].some((option) => option.selected !== option.defaultSelected)) other.value = control.value;
  } else if (control.value !== control.defaultValue) other.value = control.value;
}

// A warning's attribute says it in words that do not change with the minutes.
const warnings = (place) => [...place.querySelectorAll("[data-live-warning]")].map((warning) => warning.dataset.liveWarning);

// Only warnings are spoken; everything else changes quietly.
function say(words) {
  let line = document.querySelector("[data-live-said]");
  if (!line) {
    line = document.createElement("p");
    line.className = "vh";
    line.dataset.liveSaid = "";
    line.setAttribute("role", "status");
    document.body.append(line);
  }
  line.textContent = words;
}

// What waited on this device is there now: parts that stood still meanwhile are looked at again.
document.addEventListener("outbox-saved", () => refresh(null));
document.addEventListener("visibilitychange", () => {
  if (document.hidden) hush();
  else listen();
});
addEventListener("pagehide", hush);
addEventListener("pageshow", (event) => {
  if (event.persisted) refresh(null);
  waiting = setTimeout(listen, settled);
});

// What counts minutes changes without anything rising: how long until a deadline, and that it is over.
setInterval(() => {
  if (!document.hidden && !out && document.querySelector("[data-live-clock]")) refresh(null);
}, minute);
