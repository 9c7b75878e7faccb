// Forms that forgive. A second press is answered by the server with the first result, so nothing is ever blocked here:
// the button only says that it is sending. What was typed comes back with the back button, a reload and after a lock, together with
// the form's own key, so that sending again cannot make a second entry. It is kept for this tab alone, sealed as a draft is (kept.js),
// and gone at signing out; nothing of it lies readable on the device. Forms with data-outbox are kept by outbox.js instead.
//
// What is not kept is not sent into the void either: the house is asked first whether it answers. Where it does not, the page stays as it
// is and says so, in the place of the browser's own error page.

import { all, base, drop, draftKey, forget, get, put, writingDown, writtenDown } from "./kept.js";
import { canSeal, digest, openDraft, sealDraft } from "./seal.js";

const wait = 8_000;
const keptFor = 12 * 3_600_000;
let forgetting = false;

const forms = () => [...document.querySelectorAll('main form[method="post"]')].filter((form) => !("forget" in form.dataset || "outbox" in form.dataset));
const handed = document.body.classList.contains("handed");
const token = document.querySelector("main form [name=csrf]")?.value ?? "";
// Whose it is: the person's own mark on this device, a client's whose hands it is in, or a guest's. Somebody else finds nothing of it.
const whose = async () => document.querySelector("[data-outbox-line]")?.dataset.outboxLine ?? (handed ? "handed" : `guest:${await digest(token)}`);
const here = location.pathname + location.search;
// A shared tablet was locked over this page: whoever comes back to it finds what she typed. Only the address is written down.
const wasLocked = () => attempt(() => sessionStorage.getItem("stillroom.locked")) === here;
const kept = (control) =>
  control.name !== "" && control.name !== "csrf" && !["password", "file", "submit", "button", "image", "reset"].includes(control.type);

function attempt(what) {
  try {
    return what();
  } catch {
    return null; // Storage switched off or full: the page works as it would without this script.
  }
}

/** A name of this tab that tells nothing. */
function tab() {
  const name = sessionStorage.getItem("stillroom.tab") ?? crypto.getRandomValues(new Uint32Array(4)).join("");
  sessionStorage.setItem("stillroom.tab", name);
  return name;
}

const place = async (form, at) => digest([tab(), await whose(), here, at, form.getAttribute("action") ?? ""].join("\n"));

async function write() {
  if (!canSeal || forgetting) return;
  const [person, key] = [await whose(), forms().length > 0 && (await draftKey(await whose(), true))];
  for (const [at, form] of forms().entries()) {
    const values = [...form.elements].filter(kept).map((c) => [c.name, c.type === "checkbox" || c.type === "radio" ? c.checked : c.value]);
    const record = { place: await place(form, at), person, at: Date.now() };
    await put({ ...record, ...(await sealDraft(key, record.place, JSON.stringify(values))) }, "typed");
  }
}

async function read() {
  if (!canSeal) return;
  for (const [at, form] of forms().entries()) {
    const record = await get(await place(form, at), "typed");
    const key = record && (await draftKey(record.person, false));
    if (!key) continue;
    const values = JSON.parse(await openDraft(key, record.place, record));
    const controls = [...form.elements].filter(kept);
    // A page that has changed since is not filled with these values.
    if (values.length !== controls.length || values.some(([name], i) => name !== controls[i].name)) continue;
    controls.forEach((control, i) => {
      if (control.type === "checkbox" || control.type === "radio") control.checked = values[i][1];
      else control.value = values[i][1];
    });
    form.dispatchEvent(new CustomEvent("typed-again"));
  }
}

// What earlier versions of this house wrote down in the clear.
attempt(() => Object.keys(sessionStorage).filter((name) => name.startsWith("stillroom.typed:")).forEach((name) => sessionStorage.removeItem(name)));

/** Begins this page anew, and leaves nothing behind of tabs that were closed. */
async function begin() {
  if (!canSeal) return;
  for (const [at, form] of forms().entries()) await drop(await place(form, at), "typed");
  for (const record of await all("typed")) if (Date.now() - record.at > keptFor) await drop(record.place, "typed");
  const guests = (await all("key")).filter(({ person, made }) => person.startsWith("guest:") && Date.now() - made > keptFor);
  for (const { person } of guests) await drop(person, "key");
}

const LOOK_MS = 5_000;
const NOT_SENT = "The house cannot be reached just now. Nothing was sent, and this is not kept on the device: leave the page open, and press again when the network is back.";

// What stands before a house that is away answers so in its place.
const AWAY = [502, 503, 504];

/** Whether the house answers. A network too slow to tell is let try: the form itself is waited for as long as the browser waits. */
const answers = () =>
  fetch(`${base}/healthz`, { cache: "no-store", signal: AbortSignal.timeout?.(LOOK_MS) }).then(
    ({ status }) => !AWAY.includes(status),
    (cause) => cause?.name === "TimeoutError",
  );

const said = new WeakMap();
/** Says beside the button that nothing was sent, or takes that away. */
function tellNotSent(form, submitter, there) {
  said.get(form)?.remove();
  if (there) return;
  const place = Object.assign(document.createElement("p"), { className: "note near", textContent: NOT_SENT });
  place.setAttribute("role", "alert");
  said.set(form, place);
  const acts = submitter?.closest(".acts");
  if (acts) acts.after(place);
  else form.append(place);
}

/** Says on the button that it is sending; what comes back takes that away. */
function sending(button) {
  if (!button?.matches(".act, .keep")) return () => {};
  const words = [...button.childNodes];
  button.dataset.sent = "";
  button.replaceChildren("Sending …");
  return () => {
    delete button.dataset.sent;
    button.replaceChildren(...words);
  };
}

const looking = new WeakSet();
const sure = new WeakSet();
/** Sends a form once the house has answered; pressed again meanwhile it is the same press. */
async function lookFirst(form, submitter) {
  if (looking.has(form)) return;
  looking.add(form);
  const back = sending(submitter);
  const there = await answers();
  looking.delete(form);
  back();
  tellNotSent(form, submitter, there);
  if (!there) return;
  // A page that keeps up may have put another form in its place meanwhile; what was pressed counts.
  if (!form.isConnected) document.body.append(Object.assign(form, { hidden: true }));
  sure.add(form);
  form.requestSubmit(submitter);
}

/** Leaves with everything of hers forgotten first; a device whose storage is slow is not waited for longer than this. */
async function leave(form) {
  const person = await whose();
  const gone = forget((one) => one === person).catch(() => {});
  await Promise.race([gone, new Promise((done) => setTimeout(done, 1_500))]);
  HTMLFormElement.prototype.submit.call(form);
}

document.addEventListener("submit", (event) => {
  if (event.defaultPrevented) return;
  if (filling && forms().includes(event.target)) {
    const { target, submitter } = event;
    event.preventDefault();
    filling.then(() => target.requestSubmit(submitter));
    return;
  }
  if (event.target.matches('main form[method="post"]') && !sure.delete(event.target)) {
    event.preventDefault();
    lookFirst(event.target, event.submitter);
    return;
  }
  if ("forgetAll" in event.target.dataset) {
    forgetting = true;
    if (!canSeal) return;
    event.preventDefault();
    leave(event.target);
    return;
  }
  const back = sending(event.submitter);
  setTimeout(back, wait);
  addEventListener("pageshow", back, { once: true });
});

const [entry] = performance.getEntriesByType("navigation");
const comesBack = wasLocked() || ["back_forward", "reload"].includes(entry?.type);
attempt(() => comesBack && sessionStorage.removeItem("stillroom.locked"));
// A form that is filled again from storage is not sent before it is: its key comes back with it.
let filling = (comesBack ? read() : begin()).catch(() => {}).then(() => (filling = null));

// What is typed while the page is still being filled is written down after that, not swept away by it.
let writing = filling;
let due = 0;
/** Writes down what is typed, a moment after it was; keys of a pad change fields without saying so. */
function soon() {
  clearTimeout(due);
  due = setTimeout(now, 150);
}
function now() {
  clearTimeout(due);
  writing = writingDown(writing.then(write).catch(() => {}));
}
/** Writes down what is typed right now, here and in the outbox's forms; resolves once that is on the disk. */
export function written() {
  now();
  return writtenDown();
}

for (const what of ["input", "change", "click"]) document.querySelector("main")?.addEventListener(what, soon);
document.addEventListener("submit", now);
document.addEventListener("visibilitychange", () => document.hidden && now());

// The sign-in this browser still holds a cookie of was ended by somebody: what was left here unfinished goes.
const revoked = document.body.dataset.outboxRevoked;
if (revoked && canSeal) forget((one) => one === revoked).catch(() => {});
// What a client had half typed goes with her.
if (!handed && canSeal) forget((one) => one === "handed").catch(() => {});

// A device that was handed to a client shows nothing but her form: pages opened before ask the server anew, which refuses them.
if (!handed) {
  attempt(() => localStorage.removeItem("stillroom.handed"));
  attempt(() => new BroadcastChannel("stillroom.handed").addEventListener("message", () => location.reload()));
}
addEventListener("pageshow", (event) => {
  const inHands = attempt(() => localStorage.getItem("stillroom.handed")) !== null;
  if (event.persisted && inHands !== handed) location.reload();
});

document.querySelector("[data-take-focus]")?.focus();
