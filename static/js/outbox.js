// The outbox: what is entered on this device is kept on it until the server has said that it has it.
//
// Every form marked `data-outbox` is written to IndexedDB while it is filled in (a draft, put back after a reload), and
// once more when it is sent (waiting). It goes out with fetch, under its own form key; the server gives the same key the
// first result again, so that sending twice makes one entry, and whatever is not known to have arrived is simply sent
// again: when the network is back, when a page is opened or looked at, and every twenty seconds in between.
//
//   draft    only here, not complete
//   waiting  complete, kept on this device, not sent yet
//   asked    a send broke off; whether it arrived is not known yet, and it is asked again
//   refused  the server sent it back; the form holds it again with the reason
//
// Nothing counts as saved but the server's own word for it, the header `stillroom-kept`: another page may answer in its place,
// a proxy's or a guest network's. Why an entry waits is kept with it and told: no network, signed out, too much at once.
//
// An entry keeps a digest of the person who made it and goes out only under her sign-in, whoever else uses the device
// meanwhile; her name is not kept. The session's token is taken from the page that sends. Files and passphrases are
// never kept. Without IndexedDB, and without scripts, a form is sent as any other.
//
// For a page: `data-outbox` on the form, `p::outbox()` beside its button, `data-outbox-drop` on a button that leaves the
// draft, `data-outbox-past` on a button that does not keep (a preview), `data-outbox-fresh="air"` on a form whose field
// `air` is newer from the server than from a draft. A script that fills fields calls `keepDraft(form)`
// and listens to `outbox-restored` (fields were put back) and `outbox-empty` (the entry is on its way, begin the next).

const base = new URL(import.meta.url).pathname.split("/static/")[0];
const line = document.querySelector("[data-outbox-line]");
const person = line?.dataset.outboxLine ?? "";
const EVERY_MS = 20_000;
const GIVE_UP_MS = 30_000;

const opened = new Promise((done, failed) => {
  const asked = indexedDB.open(`stillroom.outbox:${base}`, 1);
  asked.onupgradeneeded = () => asked.result.createObjectStore("entry", { keyPath: "key" });
  asked.onsuccess = () => done(asked.result);
  asked.onerror = () => failed(asked.error);
});
opened.catch(() => {});

/** Does one thing with the entries and gives its result once that is on the disk. */
async function entries(mode, what) {
  const database = await opened;
  return new Promise((done, failed) => {
    const transaction = database.transaction("entry", mode, { durability: "strict" });
    const asked = what(transaction.objectStore("entry"));
    transaction.oncomplete = () => done(asked.result);
    transaction.onabort = () => failed(transaction.error);
  });
}

const put = (entry) => entries("readwrite", (store) => store.put(entry));
const drop = (key) => entries("readwrite", (store) => store.delete(key));
const get = (key) => entries("readonly", (store) => store.get(key));
const hers = async () => (await entries("readonly", (store) => store.getAll())).filter((entry) => entry.person === person);

const here = () => location.pathname + location.search;
const keyOf = (form) => form.elements.form_key;
const forms = () => [...document.querySelectorAll("form[data-outbox]")];

/** What a form holds, as it would be sent; files, passphrases, token and key apart. */
function valuesOf(form, submitter) {
  const kept = [...new FormData(form)].filter(
    ([name, value]) => typeof value === "string" && !["csrf", "form_key"].includes(name) && form.elements[name]?.type !== "password",
  );
  return submitter?.name ? [...kept, [submitter.name, submitter.value]] : kept;
}

const entryOf = (form, state, submitter) => ({
  key: keyOf(form).value,
  person,
  state,
  action: new URL(form.action).pathname,
  page: form.dataset.page ?? here(),
  values: valuesOf(form, submitter),
  note: "",
  at: Date.now(),
});

/** Writes the form down as it stands; resolves when that is on the disk. */
export async function keepDraft(form) {
  const entry = entryOf(form, "draft");
  let kept = false;
  await entries("readwrite", (store) => {
    const asked = store.get(entry.key);
    asked.onsuccess = () => {
      // What is on its way already is not called a draft again by a late event.
      kept = !asked.result || ["draft", "refused"].includes(asked.result.state);
      if (kept) store.put(entry);
    };
    return asked;
  });
  if (!kept) return;
  tell(form, "draft", "draft");
  showDrop(form, true);
}

/** Puts back what was filled in here before, unless the server just did so itself. */
async function restore(form) {
  form.dataset.page = here();
  const mine = await hers();
  const sentBack = mine.find((entry) => entry.key === keyOf(form).value);
  if (sentBack) {
    // The page that came back belongs to the page it was sent from.
    form.dataset.page = sentBack.page;
    await put({ ...entryOf(form, "draft"), page: sentBack.page });
    tell(form, "draft", "draft");
    showDrop(form, true);
    return;
  }
  const action = new URL(form.action).pathname;
  const draft = mine
    .filter((entry) => ["draft", "refused"].includes(entry.state) && entry.page === here() && entry.action === action)
    .sort((a, b) => b.at - a.at)[0];
  if (!draft) return;
  fill(form, draft.values);
  keyOf(form).value = draft.key;
  tell(form, draft.note ? "near" : "draft", draft.note || "draft");
  showDrop(form, true);
  form.dispatchEvent(new CustomEvent("outbox-restored"));
}

/** Puts values into the fields; those the form names in `data-outbox-fresh` stay as the server has just filled them in. */
function fill(form, values) {
  const fresh = (form.dataset.outboxFresh ?? "").split(" ");
  const byName = new Map();
  for (const [name, value] of values) byName.set(name, [...(byName.get(name) ?? []), value]);
  for (const control of form.elements) {
    if (!control.name || fresh.includes(control.name) || ["csrf", "form_key"].includes(control.name) || ["submit", "button", "file", "password"].includes(control.type)) continue;
    const held = byName.get(control.name) ?? [];
    if (["checkbox", "radio"].includes(control.type)) control.checked = held.includes(control.value);
    else if (held.length) control.value = held[0];
  }
}

/** Shows one state with its words in a place made for it; none hides them all. */
function show(place, kind, words) {
  for (const one of place?.querySelectorAll("[data-kept]") ?? []) {
    one.hidden = one.dataset.kept !== kind;
    if (one.dataset.kept === kind) one.querySelector("[data-words]").textContent = words;
  }
}

const tell = (form, kind, words) => show(form.querySelector("[data-outbox-state]"), kind, words);

function showDrop(form, shown) {
  for (const button of form.querySelectorAll("[data-outbox-drop]")) button.hidden = !shown;
}

const clock = () => new Date().toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });

/** What the standing line says of everything that is not sent yet. */
async function tellLine(saved = "") {
  if (!line) return;
  const mine = await hers();
  const of = (state) => mine.filter((entry) => entry.state === state);
  const back = of("refused")[0];
  line.querySelector("a")?.remove();
  const waiting = of("waiting");
  const why = (one) => waiting.some((entry) => entry.why === one);
  if (of("asked").length) show(line, "waiting", "not known yet; asking again");
  else if (why("signedOut")) {
    show(line, "waiting", "");
    const href = `${base}/sign-in?next=${encodeURIComponent(here().slice(base.length))}`;
    const link = Object.assign(document.createElement("a"), { href, textContent: `${waiting.length} waiting: sign in again` });
    line.querySelector("[data-kept=waiting] [data-words]").replaceChildren(link);
  } else if (why("busy")) show(line, "waiting", `${waiting.length} waiting: asked to wait a moment`);
  else if (waiting.length) show(line, "waiting", `${waiting.length} waiting`);
  else if (back && back.page !== here()) {
    show(line, "near", "");
    const link = Object.assign(document.createElement("a"), { href: back.page, textContent: "an entry came back" });
    line.querySelector("[data-kept=near] [data-words]").replaceChildren(link);
  } else show(line, saved ? "saved" : "", saved);
}

let token = document.querySelector("input[name=csrf]")?.value ?? "";

/** Who is signed in here by now: the mark of a person, "" for nobody. */
let whoIsHere = person;

/** A page opened in another tab may have begun a new session: its token is fetched, if the same person holds it. */
async function fetchToken() {
  const page = new DOMParser().parseFromString(await (await fetch(here(), { cache: "no-store" })).text(), "text/html");
  whoIsHere = page.querySelector("[data-outbox-line]")?.dataset.outboxLine ?? "";
  if (whoIsHere !== person) return false;
  const fresh = page.querySelector("input[name=csrf]")?.value ?? "";
  const other = fresh !== "" && fresh !== token;
  token = fresh || token;
  return other;
}

const post = (entry) =>
  fetch(entry.action, {
    method: "POST",
    body: new URLSearchParams([...entry.values, ["csrf", token], ["form_key", entry.key]]),
    headers: { accept: "text/html", "stillroom-outbox": "1" },
    signal: AbortSignal.timeout?.(GIVE_UP_MS),
  });

/** What is told of an entry that waits, by why it does. */
const WHY = {
  away: "The network is away. Your entry is kept on this device and will be sent when it is back. You can go on working.",
  broke: "The network went while sending: not known yet; asking again. Your entry is kept on this device. You can go on working.",
  signedOut: "You are signed out. Your entry is kept on this device: sign in again, and it will be sent.",
  another: "Somebody else is signed in here by now. Your entry is kept on this device and will be sent when you sign in again.",
  busy: "Too much came at once, and the house asked to wait. Your entry is kept on this device and will be sent in a moment. You can go on working.",
  trouble: "The house could not answer just now: not known yet; asking again. Your entry is kept on this device. You can go on working.",
  stranger: "Another page answered in the house’s place: not known yet; asking again. Your entry is kept on this device. Look whether the network wants a sign-in of its own.",
};

/** Sends one entry and keeps what became of it. Gives { state, to, note, why }: state is saved, waiting, asked or refused. */
async function send(entry) {
  let outcome;
  try {
    let answer = await post(entry);
    if (answer.status === 403 && (await fetchToken())) answer = await post(entry);
    // Somebody else is signed in by now, or nobody: it waits for whoever made it.
    const left = answer.status === 403 && whoIsHere !== person;
    outcome = left ? { state: "waiting", why: whoIsHere ? "another" : "signedOut" } : await meaning(answer);
  } catch {
    // A browser that knows it is offline has sent nothing.
    outcome = navigator.onLine ? { state: "asked", why: "broke" } : { state: "waiting", why: "away" };
  }
  if (outcome.state === "saved") await drop(entry.key);
  else await put({ ...entry, state: outcome.state, note: outcome.note ?? "", why: outcome.why ?? "", after: Date.now() + (outcome.waitMs ?? 0) });
  return outcome;
}

/** Seconds an answer asks to wait, as milliseconds; five seconds where it does not say, a minute at most. */
function waitMs(answer) {
  const seconds = Number(answer.headers.get("retry-after") ?? NaN);
  return 1_000 * Math.min(60, seconds > 0 ? seconds : 5);
}

async function meaning(answer) {
  const kept = answer.headers.get("stillroom-kept");
  if (answer.status === 204 && kept) return { state: "saved", to: kept };
  if (answer.status === 401 || new URL(answer.url).pathname === `${base}/sign-in`) return { state: "waiting", why: "signedOut" };
  if (answer.status === 429) return { state: "waiting", why: "busy", waitMs: waitMs(answer) };
  if (answer.status >= 500) return { state: "asked", why: "trouble" };
  if (answer.ok || answer.redirected) return { state: "asked", why: "stranger" };
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const said = page.querySelector(".mistakes li") ?? page.querySelector("main p");
  return { state: "refused", note: said?.textContent.trim() ?? "" };
}

let flushing = false;

/** Sends whatever of hers waits. One tab at a time, where the browser can see to that; else the form keys do. */
async function flush() {
  if (flushing || !person || !navigator.onLine) return;
  flushing = true;
  try {
    const sendAll = async () => {
      let saved = 0;
      for (const entry of await hers()) {
        const due = ["waiting", "asked"].includes(entry.state) && (entry.after ?? 0) <= Date.now();
        if (!due) continue;
        const outcome = await send(entry);
        if (outcome.state === "saved") saved += 1;
        // Whoever is asked to wait is not asked again with the next entry.
        if (outcome.why === "busy") break;
      }
      await tellLine(saved ? `saved ${clock()}` : "");
      if (saved) document.dispatchEvent(new CustomEvent("outbox-saved"));
    };
    await (navigator.locks ? navigator.locks.request(`outbox ${base}`, sendAll) : sendAll());
  } catch {
    // Storage that fails now is asked again later; what is in it stays.
  } finally {
    flushing = false;
  }
}

/** Sends a form as a browser without this script would: the page that answers is shown. */
function sendPlainly(form, submitter) {
  if (submitter?.name) {
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name: submitter.name, value: submitter.value }));
  }
  HTMLFormElement.prototype.submit.call(form);
}

const freshKey = () => [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");

/** Keeps what was submitted while the entry before it was still on its way; the same values again are a double click. */
async function submittedMeanwhile(form, submitter) {
  const entry = { ...entryOf(form, "waiting", submitter), key: freshKey() };
  if (JSON.stringify(entry.values) === form.dataset.sending) return;
  form.dataset.sending = JSON.stringify(entry.values);
  await put(entry);
  await tellLine();
}

async function submitted(form, submitter) {
  const entry = entryOf(form, "waiting", submitter);
  form.setAttribute("aria-busy", "true");
  form.dataset.sending = JSON.stringify(entry.values);
  try {
    await put(entry);
  } catch {
    sendPlainly(form, submitter);
    return;
  }
  tell(form, "waiting", "sending");
  const outcome = await send(entry);
  // Saved, the form stays busy until the page that answers is there: what is submitted meanwhile is another entry.
  if (outcome.state !== "saved") form.removeAttribute("aria-busy");
  if (outcome.state === "saved") {
    tell(form, "saved", `saved ${clock()}`);
    location.assign(outcome.to);
  } else if (outcome.state === "refused") {
    // The answer is shown as the page it is; a refused form has not used up its key.
    await put({ ...entry, state: "draft" });
    sendPlainly(form, submitter);
  } else {
    keyOf(form).value = freshKey();
    form.reset();
    showDrop(form, false);
    form.dispatchEvent(new CustomEvent("outbox-empty"));
    tell(form, "waiting", WHY[outcome.why]);
    await tellLine();
    if (outcome.waitMs) setTimeout(flush, outcome.waitMs + 100);
    if (form.dataset.sending !== JSON.stringify(entry.values)) await flush();
  }
}

function watch(form) {
  form.addEventListener("submit", (event) => {
    if (event.defaultPrevented || "outboxPast" in (event.submitter?.dataset ?? {})) return;
    event.preventDefault();
    if (form.getAttribute("aria-busy") === "true") submittedMeanwhile(form, event.submitter).catch(() => {});
    else submitted(form, event.submitter);
  });
  const typed = (event) => {
    if (event.target.type !== "file") keepDraft(form).catch(() => {});
  };
  form.addEventListener("input", typed);
  form.addEventListener("change", typed);
  for (const button of form.querySelectorAll("[data-outbox-drop]")) {
    button.addEventListener("click", async () => {
      await drop(keyOf(form).value).catch(() => {});
      location.assign(form.dataset.page ?? here());
    });
  }
}

/** Resolves once every form of the page holds what was kept of it. */
export const restored = (async () => {
  if (!person) return;
  forms().forEach(watch);
  for (const form of forms()) await restore(form).catch(() => {});
  await tellLine().catch(() => {});
  addEventListener("online", flush);
  addEventListener("pageshow", (event) => event.persisted && forms().forEach((form) => form.removeAttribute("aria-busy")));
  document.addEventListener("visibilitychange", () => document.hidden || flush());
  setInterval(flush, EVERY_MS);
  flush();
})();
