// The outbox: what is entered on this device is kept on it until the server has said that it has it.
//
// Every form marked `data-outbox` is written down while it is filled in (a draft, put back after a reload), and once more when it is
// sent (waiting). It goes out with fetch, under its own form key; the server gives the same key the first result again, so that sending
// twice makes one entry, and whatever is not known to have arrived is simply sent again: when the network is back, when a page is
// opened or looked at, and every twenty seconds in between.
//
//   draft    only here, not complete; sealed with a key of the browser, and only her own page opens it (kept.js)
//   waiting  complete, not sent yet; sealed to the house, so that nobody reads it on the device: the house opens it for her live page
//   asked    a send broke off; whether it arrived is not known yet, and it is asked again; sealed as what waits
//   refused  the server sent it back; a draft again, and the form holds it with the reason. Where it had waited it keeps the moment of
//            its button, and lies sealed to the house as well, so that it is there until whoever typed it leaves it
//
// Nothing counts as saved but the server's own word for it, the header `stillroom-kept`: another page may answer in its place,
// a proxy's or a guest network's. Why an entry waits is kept with it and told: no network, signed out, too much at once.
//
// An entry keeps a digest of the person who made it and goes out only under her sign-in, whoever else uses the device
// meanwhile; her name is not kept. The session's token is taken from the page that sends. Files and passphrases are
// never kept. Where nothing can be sealed nothing is kept: on plain HTTP, and without scripts, a form is sent as any other.
//
// For a page: `data-outbox="new drop"` on the form, with what it is in a word or two that tell nothing of anybody, `p::outbox()`
// beside its button, `data-outbox-drop` on a button that leaves the draft, `data-outbox-past` on a button that does not keep (a
// preview), `data-outbox-fresh="air"` on a form whose field `air` is newer from the server than from a draft,
// `data-outbox-version="seen"` where the field `seen` says what stood there when the form was opened: where it moved, both are
// shown; `data-outbox-once` on a form that is one entry and no more while its page is open; `data-outbox-meanwhile` with what is said
// while it waits, in place of "You can go on working"; `data-outbox-asked` on a hidden field that says of each question how it is asked
// ("q_lens:1a2b q_asthma:3c4d"), so that a draft fills in no answer to other words; `data-outbox-shown` on a hidden field
// whose value a person reads on the page; `data-outbox-stale="1800"` where a draft older than so many seconds says nothing of now and
// must not stand in the fields as if it did; `data-outbox-own="place"` where several forms of a page go to one address: the hidden field that
// says which of them this is; `data-outbox-leave` on a link that leaves the draft;
// `data-done` on a hidden field that is told when the button was pressed. A script that fills fields calls `keepDraft(form)`
// and listens to `outbox-restored` (fields were put back; `detail` holds all values, also those that have no field yet) and `outbox-empty` (the entry is on its way, begin the next).

import { all, asDraft, asWaiting, base, drop, inStore, list, put, readDraft, readOld, takeOver, when, withoutKey, writingDown } from "./kept.js";
import { asRead, shownIn, standAlone, standBeside, standOld } from "./back.js";
import { ofLock } from "./lock_drop.js";
import { canSeal } from "./seal.js";

const line = document.querySelector("[data-outbox-line]");
const person = line?.dataset.outboxLine ?? "";
const houseKey = { id: line?.dataset.outboxKey ?? "", point: line?.dataset.outboxPoint ?? "" };
const EVERY_MS = 20_000;
const GIVE_UP_MS = 30_000;
const DAY_MS = 24 * 3_600_000;
// Leads to an entry that came back; kept by the browser where the page it belongs to leads on to another.
const CAME_BACK = "#came-back";
// The house takes no larger form, and it must be able to take this one to open it.
const SEALED_MOST = 240_000;

const isDraft = ({ state }) => ["draft", "refused"].includes(state);
const hers = async () => (await all()).filter((record) => record.person === person);

/** Her drafts with what they hold; one that no longer opens is nobody's. */
async function drafts() {
  const opened = [];
  for (const record of (await hers()).filter(isDraft)) {
    try {
      const plain = (record.sealed && (await readDraft(record))) || (record.back && (await openBack(record)));
      if (plain) opened.push({ ...record, ...plain });
    } catch (problem) {
      // Sealed with a key that is gone: it opens never again, or only in the house. Any other trouble passes.
      if (problem.name === "OperationError") await (record.back ? put(withoutKey(record)) : drop(record.key));
    }
  }
  return opened;
}

/** What came back from waiting, sealed to the house as well: her key goes when she signs out, and this must not go with it. */
async function asBack(record, plain) {
  const anew = await asWaiting(record, plain, houseKey);
  // With the reason, where the house takes that much.
  const { kind, at, keyId, point, iv, sealed } = anew.sealed.length > SEALED_MOST ? record : anew;
  return { kind, at, keyId, point, iv, sealed };
}

// What the house could not open is not asked for again by this page.
const closed = new Set();

/** Has the house open what came back before her key went, and seals it with the one she has now. Nothing where it cannot for now. */
async function openBack(record) {
  if (closed.has(record.key)) return undefined;
  const opened = await openAtHouse({ ...record, ...record.back }).catch(() => ({}));
  if (opened.why === "closed") closed.add(record.key);
  if (!opened.plain) return undefined;
  const plain = { ...opened.plain, waited: true };
  await put({ ...(await asDraft(record, plain)), back: record.back });
  return plain;
}

const here = () => location.pathname + location.search;
const keyOf = (form) => form.elements.form_key;
const isBusy = (form) => form.getAttribute("aria-busy") === "true";
const doneOf = (form) => form.querySelector("[data-done]");
const forms = () => [...document.querySelectorAll("form[data-outbox]")];

/** True for the form that an entry was sent from, or for the same one on a page made since. */
function isOf(form, { action, values }) {
  const own = (form.dataset.outboxOwn ?? "").split(" ").filter(Boolean);
  const says = (name) => values.find(([held]) => held === name)?.[1] === form.elements[name]?.value;
  return action === new URL(form.action).pathname && own.every(says);
}

const freshKey = () => [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");

/** Forms that share the key of their page, as the rows of a list do, are told apart by the house; here each needs one of its own. */
function ownKeys() {
  const shared = forms().filter((form) => forms().some((other) => other !== form && keyOf(other).value === keyOf(form).value));
  for (const form of shared) form.dataset.pageKey = keyOf(form).value;
  for (const form of shared) keyOf(form).value = freshKey();
}

/** What a form holds, as it would be sent; files, passphrases, token and key apart. */
function valuesOf(form, submitter) {
  const kept = [...new FormData(form)].filter(
    ([name, value]) => typeof value === "string" && !["csrf", "form_key"].includes(name) && form.elements[name]?.type !== "password",
  );
  return submitter?.name ? [...kept, [submitter.name, submitter.value]] : kept;
}

const recordOf = (form, state) => ({ key: keyOf(form).value, person, state, at: Date.now(), kind: form.dataset.outbox || "entry" });
const plainOf = (form, submitter) => ({
  action: new URL(form.action).pathname,
  page: form.dataset.page ?? here(),
  values: valuesOf(form, submitter),
  // As she read it, for the day on which its form is no longer there.
  shown: asRead(form),
  // It waited and came back: it happened when its button was pressed first, however often it is pressed again.
  waited: "waited" in form.dataset,
});

/** An entry that waited and came back keeps the moment of its button in the form that holds it now. */
function keepMoment(form, { waited, values }) {
  const done = doneOf(form);
  const at = values.find(([name]) => name === done?.name)?.[1];
  if (!waited || !at) return "";
  form.dataset.waited = "";
  done.value = at;
  return `It is dated ${when(Number(at))}, when its button was pressed.`;
}

/** What was typed so long ago that it says nothing of now, in a form where that matters. */
function isOld(form, { at, state, waited }) {
  const seconds = Number(form.dataset.outboxStale ?? Infinity);
  return state === "draft" && !waited && Date.now() - at > seconds * 1_000;
}

/** Shows it as what it is; used, it is dated when it was typed. */
function offerOld(form, draft) {
  const use = () => {
    fill(form, draft.values);
    keyOf(form).value = draft.key;
    form.dataset.waited = "";
    if (doneOf(form)) doneOf(form).value = String(draft.at);
    tell(form, "near", `It is dated ${when(draft.at)}, when it was typed.`);
    showDrop(form, true);
    form.dispatchEvent(new CustomEvent("outbox-restored", { detail: draft.values }));
    keepDraft(form).catch(() => {});
  };
  standOld(form, when(draft.at), draft, use, () => leave(draft, draft.page));
}

/** The next entry in this form is another: it happens when its own button is pressed. */
function loseMoment(form) {
  delete form.dataset.waited;
  if (doneOf(form)) doneOf(form).value = "";
}

/** Seals a complete entry and writes it down; throws where it cannot be kept. */
async function keepWaiting(record, plain) {
  const sealed = await asWaiting(record, plain, houseKey);
  if (sealed.sealed.length > SEALED_MOST) throw new Error("larger than the house takes");
  await put(sealed);
  askToStay();
  return sealed;
}

/** Asks the browser once not to clear away what is kept here. */
async function askToStay() {
  try {
    if (localStorage.getItem("stillroom.stays")) return;
    localStorage.setItem("stillroom.stays", "asked");
    await navigator.storage?.persist?.();
  } catch {
    // Storage switched off: what is kept stays for as long as the browser likes.
  }
}

const queues = new WeakMap();
// Writings that have not begun: whatever is typed until they do goes with them.
const toCome = new WeakMap();

/**
 * Writes the form down as it stands; resolves when that is on the disk. One after the other, so that the last word stays the last, and
 * never more than one to come: keys pressed quickly on a slow disk do not queue up behind each other.
 */
export function keepDraft(form) {
  if (!canSeal || !person) return Promise.resolve();
  if (toCome.has(form)) return toCome.get(form);
  const next = (queues.get(form) ?? Promise.resolve()).then(() => {
    toCome.delete(form);
    return writeDraft(form);
  });
  toCome.set(form, next);
  queues.set(form, next.catch(() => {}));
  return writingDown(next);
}

async function writeDraft(form) {
  const sealed = await asDraft(recordOf(form, "draft"), plainOf(form));
  let kept = false;
  await inStore("entry", "readwrite", (store) => {
    const asked = store.get(sealed.key);
    asked.onsuccess = () => {
      // What is on its way already is not called a draft again by a late event.
      kept = !asked.result || isDraft(asked.result);
      // As it came back it stays until she leaves it, also when her key goes.
      if (kept) store.put(asked.result?.back ? { ...sealed, back: asked.result.back } : sealed);
    };
    return asked;
  });
  if (!kept) return;
  askToStay();
  // What is begun now is another entry than the one that waits.
  delete form.dataset.waits;
  tell(form, "draft", "draft");
  showDrop(form, true);
  tellList();
}

// Entries that came back and stand on this page, by their keys.
const taken = new Set();

/** Puts back what was filled in here before, unless the server just did so itself. */
async function restore(form) {
  form.dataset.page = here();
  const mine = await drafts();
  // Sent meanwhile: what it held then is what she means.
  if (isBusy(form)) return;
  const { pageKey } = form.dataset;
  const sentBack = mine.find((entry) => (pageKey ? entry.key === pageKey && isOf(form, entry) : entry.key === keyOf(form).value));
  if (sentBack) {
    taken.add(sentBack.key);
    keyOf(form).value = sentBack.key;
    // The page that came back belongs to the page it was sent from.
    form.dataset.page = sentBack.page;
    const dated = keepMoment(form, sentBack);
    const again = await asDraft(recordOf(form, "draft"), plainOf(form));
    if (isBusy(form)) return;
    await put({ ...again, back: sentBack.back });
    tell(form, "draft", dated ? `draft. ${dated}` : "draft");
    showDrop(form, true);
    return;
  }
  const draft = mine.filter((entry) => entry.page === here() && isOf(form, entry)).sort((a, b) => b.at - a.at)[0];
  if (!draft) return;
  if (isOld(form, draft)) {
    offerOld(form, draft);
    return;
  }
  taken.add(draft.key);
  const version = form.dataset.outboxVersion;
  const stood = draft.values.find(([name]) => name === version)?.[1];
  const moved = stood !== undefined && form.elements[version] && stood !== form.elements[version].value;
  // An entry that only adds stands against nothing.
  const now = version && (moved || draft.conflict) ? shownIn(form) : null;
  // What was typed while this looked for the draft is newer than it.
  const otherwise = fill(form, draft.values, typedBy(form));
  if (now) standBeside(form, now, () => leave(draft, draft.page));
  keyOf(form).value = draft.key;
  const dated = keepMoment(form, draft);
  const why = draft.note || (otherwise ? "questions were changed since: answer those that stand empty" : "");
  const note = [why, dated].filter(Boolean).join(" ");
  tell(form, note ? "near" : "draft", note || "draft");
  showDrop(form, true);
  form.dispatchEvent(new CustomEvent("outbox-restored", { detail: draft.values }));
}

/** Forgets a draft and goes on. */
async function leave({ key }, to) {
  await drop(key).catch(() => {});
  location.assign(to);
}

/** Shows an entry that came back and has no form to stand in any more, on the page it belongs to or where that led. */
async function showAlone() {
  // One whose form is here waits for its turn in it.
  const formless = (entry) => !forms().some((form) => isOf(form, entry));
  const left = (await drafts()).filter((entry) => entry.state === "refused" && !taken.has(entry.key) && formless(entry));
  const back = left.sort((a, b) => b.at - a.at);
  const entry = back.find(({ page }) => page === here()) ?? (location.hash === CAME_BACK ? back[0] : undefined);
  if (!entry) return;
  taken.add(entry.key);
  standAlone({ ...entry, shown: entry.shown?.length ? entry.shown : entry.values }, () => leave(entry, here()));
}

/** Questions asked otherwise now than when the draft was begun, by the names of their fields. */
function askedOtherwise(form, byName) {
  const now = form.querySelector("[data-outbox-asked]");
  if (!now) return new Set();
  const then = new Set((byName.get(now.name)?.[0] ?? "").split(" "));
  return new Set(now.value.split(" ").filter((one) => !then.has(one)).map((one) => one.split(":")[0]));
}

const isTicked = ({ type }) => ["checkbox", "radio"].includes(type);
const standing = (control) => (isTicked(control) ? String(control.checked) : control.value);
// As the page came: what a hidden field says is its default as well, so that is looked at when the form is taken in.
const came = new WeakMap();
const asItCame = (control) => {
  if (control.type === "hidden") return control.value;
  if (isTicked(control)) return String(control.defaultChecked);
  if (control.localName !== "select") return control.defaultValue;
  const options = [...control.options];
  return (options.find(({ defaultSelected }) => defaultSelected) ?? options[0])?.value;
};

/** The fields in which something else stands by now than the page came with. */
const typedBy = (form) => new Set([...form.elements].filter((one) => one.name && came.has(one) && came.get(one) !== standing(one)).map(({ name }) => name));

/**
 * Puts values into the fields but for those of `stay`; those the form names in `data-outbox-fresh` stay as the server has just filled them in.
 * Tells whether a choice was left out because its question is another by now.
 */
function fill(form, values, stay = new Set()) {
  const fresh = (form.dataset.outboxFresh ?? "").split(" ");
  const byName = new Map();
  for (const [name, value] of values) byName.set(name, [...(byName.get(name) ?? []), value]);
  const otherwise = askedOtherwise(form, byName);
  for (const control of form.elements) {
    // The same place in the list may be another answer by now. Own words are read again.
    if (control.type === "radio" && otherwise.has(control.name)) continue;
    if (!control.name || stay.has(control.name) || fresh.includes(control.name) || ["csrf", "form_key"].includes(control.name) || ["submit", "button", "file", "password"].includes(control.type)) continue;
    const held = byName.get(control.name) ?? [];
    if (isTicked(control)) control.checked = held.includes(control.value);
    else if (held.length) control.value = held[0];
  }
  return otherwise.size > 0;
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

const savedHere = [];

/** The list at the foot of the page: time and kind of whatever is kept here, and what was saved while it was open. */
async function tellList() {
  const place = document.querySelector("[data-outbox-list]");
  if (!place) return;
  const entries = [...(await hers().catch(() => [])), ...(await ofLock().catch(() => [])), ...savedHere];
  place.hidden = entries.length === 0;
  list(place.querySelector("[data-kept-here]"), entries);
}

/** What the standing line says of everything that is not sent yet. */
async function tellLine(saved = "") {
  if (!line) return;
  await tellList();
  const mine = await hers();
  const of = (state) => mine.filter((entry) => entry.state === state);
  line.querySelector("a")?.remove();
  const waiting = of("waiting");
  const unsent = [...waiting, ...of("asked")];
  const why = (one) => unsent.some((entry) => entry.why === one);
  const oldest = Math.min(...unsent.map(({ at }) => at));
  if (why("signedOut")) {
    show(line, "waiting", "");
    const href = `${base}/sign-in?next=${encodeURIComponent(here().slice(base.length))}`;
    const link = Object.assign(document.createElement("a"), { href, textContent: `${unsent.length} waiting: sign in again` });
    line.querySelector("[data-kept=waiting] [data-words]").replaceChildren(link);
  } else if (why("closed")) show(line, "near", `${unsent.length} waiting: the house cannot open them, tell the owner`);
  else if (of("asked").length) show(line, "waiting", `not known yet; asking again${since(oldest)}`);
  else if (why("busy")) show(line, "waiting", `${waiting.length} waiting: asked to wait a moment`);
  else if (waiting.length) show(line, since(oldest) ? "near" : "waiting", `${waiting.length} waiting${since(oldest)}`);
  else {
    const back = (await drafts()).find((entry) => entry.state === "refused" && !taken.has(entry.key));
    if (back) {
      show(line, "near", "");
      const link = Object.assign(document.createElement("a"), { href: back.page + CAME_BACK, textContent: "an entry came back" });
      // Where it belongs to this page already, the page begins anew with it.
      link.addEventListener("click", (event) => {
        if (back.page !== here()) return;
        event.preventDefault();
        location.reload();
      });
      line.querySelector("[data-kept=near] [data-words]").replaceChildren(link);
    } else show(line, saved ? "saved" : "", saved);
  }
}

/** Words for an entry that has waited for more than a day. */
const since = (at) => (Date.now() - at > DAY_MS ? `, since ${when(at)}: more than a day` : "");

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

const headers = { accept: "text/html", "stillroom-outbox": "1" };
/** What this device's clock says while it sends: the house counts only how long an entry waited by it. */
const nowHere = () => ["sent", String(Date.now())];
const sent = (to, pairs) =>
  fetch(to, { method: "POST", body: new URLSearchParams([...pairs, ["csrf", token]]), headers, signal: AbortSignal.timeout?.(GIVE_UP_MS) });

/** Posts; a token that is no longer the session's is fetched anew, once. */
async function post(to, pairs) {
  const answer = await sent(to, pairs);
  return answer.status === 403 && (await fetchToken()) ? sent(to, pairs) : answer;
}

/** What is told of an entry that waits, by why it does. */
const WHY = {
  away: "The network is away. Your entry is kept on this device and will be sent when it is back.",
  broke: "The network went while sending: not known yet; asking again. Your entry is kept on this device.",
  signedOut: "You are signed out. Your entry is kept on this device: sign in again, and it will be sent.",
  another: "Somebody else is signed in here by now. Your entry is kept on this device and will be sent when you sign in again.",
  busy: "Too much came at once, and the house asked to wait. Your entry is kept on this device and will be sent in a moment.",
  trouble: "The house could not answer just now: not known yet; asking again. Your entry is kept on this device.",
  stranger: "Another page answered in the house’s place: not known yet; asking again. Your entry is kept on this device. Look whether the network wants a sign-in of its own.",
  closed: "The house cannot open this entry just now. It is kept on this device: tell the owner.",
};

const GOES_ON = ["away", "broke", "busy", "trouble"];

/** The same with what it means for the work meanwhile: where something hangs on this entry, its form has other words. */
function whyOf(form, why) {
  const meanwhile = form.dataset.outboxMeanwhile ?? (GOES_ON.includes(why) ? "You can go on working." : "");
  return [WHY[why], meanwhile].filter(Boolean).join(" ");
}

/** A form that still shows what waited is told what became of it. */
function tellForms({ key }, kind, words) {
  for (const form of forms().filter((one) => one.dataset.waits === key)) {
    delete form.dataset.waits;
    tell(form, kind, words);
  }
}

/** Somebody else is signed in by now, or nobody: it waits for whoever made it. */
const left = (answer) => answer.status === 403 && whoIsHere !== person && { state: "waiting", why: whoIsHere ? "another" : "signedOut" };

/** Has the house open an entry for this page. Gives { plain }, or { why } it did not. */
async function openAtHouse(record) {
  const { key, kind, at, keyId, point, iv, sealed } = record;
  const pairs = Object.entries({ form_key: key, kind, at: String(at), key_id: keyId, point, iv, sealed });
  const answer = await post(`${base}/outbox/open`, pairs);
  if (answer.status === 200) {
    const plain = await answer.json().catch(() => ({}));
    return plain.key === key ? { plain } : { why: "stranger" };
  }
  const gone = left(answer);
  if (gone) return gone;
  if (answer.status === 401 || new URL(answer.url).pathname === `${base}/sign-in`) return { why: "signedOut" };
  if (answer.status === 429) return { why: "busy", waitMs: waitMs(answer) };
  return { why: answer.status >= 500 ? "trouble" : "closed" };
}

/**
 * Sends one entry and keeps what became of it. `plain` is what it holds, where this page still knows it; else the house opens it
 * first. Gives { state, to, note, why }: state is saved, waiting, asked or refused.
 */
async function send(record, plain) {
  const waited = !plain;
  let outcome;
  try {
    const opened = plain ? { plain } : await openAtHouse(record);
    plain = opened.plain;
    if (plain) {
      const answer = await post(plain.action, [...plain.values, ["form_key", record.key], nowHere()]);
      outcome = left(answer) || (await meaning(answer));
    } else outcome = { ...opened, state: record.state };
  } catch {
    // A browser that knows it is offline has sent nothing; nor has one that could not even have the entry opened.
    const nothingSent = !navigator.onLine || !plain;
    outcome = nothingSent ? { state: record.state, why: record.state === "asked" ? "broke" : "away" } : { state: "asked", why: "broke" };
  }
  if (outcome.state === "saved") {
    await drop(record.key);
    savedHere.push({ kind: record.kind, state: "saved", at: Date.now() });
    tellForms(record, "saved", `saved ${clock()}`);
    await tellList();
  } else if (outcome.state === "refused") {
    const { action, page, values, shown } = plain;
    const held = { action, page, values, shown, note: outcome.note, conflict: outcome.conflict, waited: waited || plain.waited };
    const draft = await asDraft({ ...record, state: "refused" }, held);
    await put(held.waited ? { ...draft, back: await asBack(record, held) } : draft);
    tellForms(record, "near", `came back: ${outcome.note}`);
  } else await put({ ...record, state: outcome.state, why: outcome.why ?? "", after: Date.now() + (outcome.waitMs ?? 0) });
  return { ...outcome, plain };
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
  const said = page.querySelector(".mistakes li") ?? page.querySelector("main .entry p");
  return { state: "refused", note: said?.textContent.trim() ?? "", conflict: answer.status === 409 };
}

let flushing = false;

/** Sends whatever of hers waits. One tab at a time, where the browser can see to that; else the form keys do. */
async function flush() {
  if (flushing || !person || !navigator.onLine) return;
  flushing = true;
  try {
    const sendAll = async () => {
      let saved = 0;
      for (const entry of (await hers()).sort((one, other) => one.at - other.at)) {
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
  const isDated = form.querySelector("[data-done], [data-at]") !== null;
  const more = [...(submitter?.name ? [[submitter.name, submitter.value]] : []), ...(isDated ? [nowHere()] : [])];
  for (const [name, value] of more) form.append(Object.assign(document.createElement("input"), { type: "hidden", name, value }));
  HTMLFormElement.prototype.submit.call(form);
}

/** What a form says, but for the moment it was sent: the same again at once is a double click. */
function saying(form, { values }) {
  const moment = doneOf(form)?.name;
  return JSON.stringify(values.filter(([name]) => name !== moment));
}

/** Keeps what was submitted while the entry before it was still on its way; the same values again are a double click. */
async function submittedMeanwhile(form, submitter) {
  const plain = plainOf(form, submitter);
  if (saying(form, plain) === form.dataset.sending || "outboxOnce" in form.dataset) return;
  form.dataset.sending = saying(form, plain);
  await keepWaiting({ ...recordOf(form, "waiting"), key: freshKey() }, plain);
  await tellLine();
}

async function submitted(form, submitter) {
  const [record, plain] = [recordOf(form, "waiting"), plainOf(form, submitter)];
  form.setAttribute("aria-busy", "true");
  form.dataset.sending = saying(form, plain);
  let kept;
  try {
    // What is still being written down as a draft comes first, not after it.
    await queues.get(form);
    kept = await keepWaiting(record, plain);
  } catch {
    sendPlainly(form, submitter);
    return;
  }
  tell(form, "waiting", "sending");
  // What was just typed is still here; the house opens it only for a page that no longer has it.
  const outcome = await send(kept, plain);
  // Saved, the form stays busy until the page that answers is there: what is submitted meanwhile is another entry.
  if (outcome.state !== "saved") form.removeAttribute("aria-busy");
  if (outcome.state === "saved") {
    tell(form, "saved", `saved ${clock()}`);
    location.assign(outcome.to);
  } else if (outcome.state === "refused") {
    // The answer is shown as the page it is; a refused form has not used up its key.
    sendPlainly(form, submitter);
  } else {
    form.dataset.waits = record.key;
    showDrop(form, false);
    if ("outboxOnce" in form.dataset) stay(form);
    else {
      keyOf(form).value = freshKey();
      form.reset();
      loseMoment(form);
      form.dispatchEvent(new CustomEvent("outbox-empty"));
    }
    tell(form, "waiting", whyOf(form, outcome.why));
    await tellLine();
    if (outcome.waitMs) setTimeout(flush, outcome.waitMs + 100);
    if (form.dataset.sending !== saying(form, plain)) await flush();
  }
}

/** An entry that waits stands in its form as it was sent, and is not sent from there as another. */
function stay(form) {
  for (const control of form.elements) control.disabled = true;
}

function watch(form) {
  for (const control of form.elements) came.set(control, asItCame(control));
  form.addEventListener("submit", (event) => {
    if (event.defaultPrevented || "outboxPast" in (event.submitter?.dataset ?? {})) return;
    event.preventDefault();
    // When the button was pressed, for an entry that may come late.
    if (doneOf(form) && !("waited" in form.dataset)) doneOf(form).value = String(Date.now());
    if (isBusy(form)) submittedMeanwhile(form, event.submitter).catch(() => {});
    else submitted(form, event.submitter);
  });
  const typed = (event) => {
    if (event.target.type !== "file") keepDraft(form).catch(() => {});
  };
  form.addEventListener("input", typed);
  form.addEventListener("change", typed);
  for (const button of form.querySelectorAll("[data-outbox-drop], [data-outbox-leave]")) {
    button.addEventListener("click", async (event) => {
      event.preventDefault();
      // What waits is no draft: it is sent whatever is pressed here.
      if (form.dataset.waits) return void location.assign(button.href || here());
      await queues.get(form);
      await leave({ key: keyOf(form).value }, button.href || (form.dataset.page ?? here()));
    });
  }
}

/** Forms of a part of the page that was put in place anew. */
function takeIn(place) {
  ownKeys();
  for (const form of forms().filter((one) => place.contains(one))) {
    watch(form);
    restoreAfter(Promise.resolve(), form);
  }
}

/** Restores a form; what is typed meanwhile is written down after that, as the same draft. What is sent waits for no draft. */
function restoreAfter(before, form) {
  const done = before.then(() => (isBusy(form) ? undefined : restore(form))).catch(() => {});
  const sending = new Promise((go) => form.addEventListener("submit", go, { once: true }));
  queues.set(form, Promise.race([done, sending]));
  return done;
}

/** Where nothing can be sealed nothing is kept, and the page says so, once. What an older version kept here in the clear is sent. */
async function keepNothing() {
  const place = forms()[0]?.querySelector("[data-outbox-state]");
  show(place, "near", "On this address nothing can be kept through a lost network: browsers seal only for pages that came over HTTPS. What you enter is sent as you send it, and is gone if that fails.");
  const old = await readOld().catch(() => null);
  if (!old) return;
  for (const entry of old.entries.filter((one) => isDraft(one) || one.person === person)) {
    const saved = isDraft(entry) || (await post(entry.action, [...entry.values, ["form_key", entry.key], nowHere()]).then(meaning, () => ({}))).state === "saved";
    if (saved) await old.remove(entry.key);
  }
  old.close();
}

/** The worker that shows a page where the network is away; browsers have one only for pages that came over HTTPS. */
function registerWorker() {
  if (!isSecureContext || !navigator.serviceWorker) return;
  const version = new URL(import.meta.url).pathname.split("/static/")[1].split("/")[0];
  navigator.serviceWorker.register(`${base}/worker.js?v=${version}`, { scope: base || "/", updateViaCache: "none" }).catch(() => {});
}

/** Resolves once every form of the page holds what was kept of it. */
export const restored = (async () => {
  if (!person) return;
  registerWorker();
  if (!canSeal) {
    await keepNothing();
    return;
  }
  // A button pressed while this page still looks at what is kept must not go past it.
  ownKeys();
  forms().forEach(watch);
  await forms().reduce(restoreAfter, takeOver(houseKey).catch(() => {}));
  await showAlone().catch(() => {});
  await tellLine().catch(() => {});
  document.addEventListener("live-swapped", ({ detail }) => takeIn(detail));
  addEventListener("online", flush);
  addEventListener("pageshow", (event) => event.persisted && forms().forEach((form) => form.removeAttribute("aria-busy")));
  document.addEventListener("visibilitychange", () => document.hidden || flush());
  setInterval(flush, EVERY_MS);
  flush();
})();
