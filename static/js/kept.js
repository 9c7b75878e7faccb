// What this device keeps in IndexedDB, and when it forgets it. Nothing lies here that can be read: an entry is its form key, its
// person's mark, its state, time and kind, and the rest is sealed (seal.js).
//
//   entry  waiting and asked: sealed to the house; draft and refused: sealed with the person's draft key, and what came back from
//          waiting to the house as well (`back`)
//          of the lock of a shared tablet (lock_drop.js), nobody's: waiting, asked, or turned where the house noted none
//   key    one draft key a person, which cannot be read out
//   typed  what stands half typed in forms that are not entries (forms.js), sealed with the same keys
//
// A person's key and everything sealed with it goes at signing out, when the device is handed to a client, when her session was
// revoked, and on a locked tablet after twelve hours. What waits never goes by that: it opens nowhere but in the house. What came back
// from waiting stays as well, in the part that is sealed to the house.

import { besideOf, canSeal, newDraftKey, openDraft, sealDraft, sealTo } from "./seal.js";

export const base = new URL(import.meta.url).pathname.split("/static/")[0];
const OPENS_WITH_KEY = ["draft", "refused"];
const STORES = [["entry", "key"], ["key", "person"], ["typed", "place"]];
// Whom this page has already forgotten: an event that comes late makes no new key.
const shut = [];

const opened = !canSeal
  ? Promise.reject(new Error("nothing can be sealed here"))
  : new Promise((done, failed) => {
      const asked = indexedDB.open(`stillroom.kept:${base}`, 1);
      asked.onupgradeneeded = () => STORES.forEach(([name, keyPath]) => asked.result.createObjectStore(name, { keyPath }));
      asked.onsuccess = () => done(asked.result);
      asked.onerror = () => failed(asked.error);
    });
opened.catch(() => {});

/** Does one thing in a store and gives its result once that is on the disk. */
export async function inStore(name, mode, what) {
  const database = await opened;
  return new Promise((done, failed) => {
    const transaction = database.transaction(name, mode, { durability: "strict" });
    const asked = what(transaction.objectStore(name));
    transaction.oncomplete = () => done(asked?.result);
    transaction.onabort = () => failed(transaction.error);
  });
}

export const all = (name = "entry") => inStore(name, "readonly", (store) => store.getAll());
export const get = (key, name = "entry") => inStore(name, "readonly", (store) => store.get(key));
export const put = (record, name = "entry") => inStore(name, "readwrite", (store) => store.put(record));
export const drop = (key, name = "entry") => inStore(name, "readwrite", (store) => store.delete(key));

const underWay = new Set();
/** Says that this is being written down, for whoever leaves the page and does not want to lose it. */
export function writingDown(writing) {
  const done = writing.catch(() => {}).then(() => underWay.delete(done));
  underWay.add(done);
  return writing;
}
/** Resolves once what is being written down now is on the disk. */
export const writtenDown = () => Promise.all(underWay);

/** A person's draft key; made where `make` is set. None once she has left this page. */
export async function draftKey(person, make) {
  if (shut.some((gone) => gone(person))) throw new Error("she has signed out");
  const there = await get(person, "key");
  if (there || !make) return there?.key;
  const fresh = { person, key: await newDraftKey(), made: Date.now() };
  let kept = fresh;
  await inStore("key", "readwrite", (store) => {
    const asked = store.get(person);
    // Another tab may have been quicker: the first one stays.
    asked.onsuccess = () => {
      kept = asked.result ?? fresh;
      if (!asked.result) store.put(fresh);
    };
    return asked;
  });
  return kept.key;
}

/** A draft's record: { key, person, state, at, kind } in the clear, `plain` sealed with her key. */
export async function asDraft(record, plain) {
  const { key, person, state, at, kind } = record;
  return { key, person, state, at, kind, ...(await sealDraft(await draftKey(person, true), besideOf(record), JSON.stringify(plain))) };
}

/** What a draft holds; nothing where its key is gone. */
export async function readDraft(record) {
  const key = await draftKey(record.person, false);
  return key ? JSON.parse(await openDraft(key, besideOf(record), record)) : undefined;
}

/** What is left of an entry that came back where its person's key goes: the part that opens in the house alone. */
export const withoutKey = ({ key, person, at, kind, back }) => ({ key, person, state: "refused", at, kind, back });

/** A waiting entry's record, sealed to the house. */
export async function asWaiting(record, plain, house) {
  const { key, person, state, at, kind } = record;
  return { key, person, state, at, kind, ...(await sealTo(house, besideOf(record), JSON.stringify({ ...plain, person, key }))) };
}

/** Forgets what people left unfinished, and the keys it was sealed with: those for whom `gone` holds, by their marks. */
export async function forget(gone) {
  shut.push(gone);
  await sweep(gone);
}

async function sweep(gone) {
  const clear = (name, which, left = () => undefined) =>
    inStore(name, "readwrite", (store) => {
      const asked = store.openCursor();
      asked.onsuccess = () => {
        const cursor = asked.result;
        if (!cursor) return;
        const stays = which(cursor.value) && left(cursor.value);
        if (stays) cursor.update(stays);
        else if (which(cursor.value)) cursor.delete();
        cursor.continue();
      };
    });
  // The keys first: without them the rest is dark already.
  await clear("key", ({ person }) => gone(person));
  await clear("entry", ({ person, state }) => gone(person) && OPENS_WITH_KEY.includes(state), (entry) => entry.back && withoutKey(entry));
  await clear("typed", ({ person }) => gone(person));
}

/** On a locked tablet: forgets what is older than this, and the keys of people who have nothing younger. */
export async function forgetOlder(ms) {
  const limit = Date.now() - ms;
  const unfinished = [...(await all()).filter(({ state }) => OPENS_WITH_KEY.includes(state)), ...(await all("typed"))];
  const young = new Set(unfinished.filter(({ at }) => at > limit).map(({ person }) => person));
  for (const record of unfinished.filter(({ at }) => at <= limit)) {
    if (record.place) await drop(record.place, "typed");
    else await (record.back ? put(withoutKey(record)) : drop(record.key));
  }
  const fresh = new Set((await all("key")).filter(({ made }) => made > limit).map(({ person }) => person));
  await sweep((person) => !young.has(person) && !fresh.has(person));
}

/** What an older version of this house kept here in the clear: { entries, remove, close }; nothing where there is none. */
export async function readOld() {
  const old = await new Promise((done, failed) => {
    const asked = indexedDB.open(`stillroom.outbox:${base}`);
    // It is not made where it is not there.
    asked.onupgradeneeded = () => asked.transaction.abort();
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => (asked.error?.name === "AbortError" ? done(null) : failed(asked.error));
  });
  if (!old) return null;
  const within = (mode, what) =>
    new Promise((done, failed) => {
      const asked = what(old.transaction("entry", mode).objectStore("entry"));
      asked.onsuccess = () => done(asked.result);
      asked.onerror = () => failed(asked.error);
    });
  const entries = await within("readonly", (store) => store.getAll());
  return { entries, remove: (key) => within("readwrite", (store) => store.delete(key)), close: () => old.close() };
}

/** Seals that, each as what it is, and leaves nothing of it in the clear. */
export async function takeOver(house) {
  const old = await readOld();
  if (!old) return;
  try {
    for (const { key, person, state, at, action, page, values, note } of old.entries) {
      const record = { key, person, state, at, kind: "entry" };
      const plain = { action, page, values, note };
      await put(OPENS_WITH_KEY.includes(state) ? await asDraft(record, plain) : await asWaiting(record, plain, house));
    }
  } finally {
    old.close();
  }
  indexedDB.deleteDatabase(`stillroom.outbox:${base}`);
}

const HOUR = 3_600_000;

/** When something was written down: the hour today, the day as well before that. */
export function when(at) {
  const time = new Date(at).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  if (new Date(at).toDateString() === new Date().toDateString()) return time;
  return `${new Date(at).toLocaleDateString("en-GB", { weekday: "short", day: "numeric", month: "short" })} ${time}`;
}

const STATE = { draft: "draft", refused: "came back", waiting: "waiting", asked: "not known yet; asking again", saved: "saved", turned: "not noted" };

// Lines of the list; whoever keeps more than this here is told how many more there are.
const LINES = 12;

/** Lists entries in a place made for it, the newest first: state, time and kind, and no more. */
export function list(place, entries) {
  const newest = [...entries].sort((a, b) => b.at - a.at);
  place.replaceChildren(
    ...newest.slice(0, LINES).map(({ state, at, kind }) => {
      const long = ["waiting", "asked"].includes(state) && Date.now() - at > 24 * HOUR;
      const words = `${STATE[state]}${long ? "; more than a day old" : ""}`;
      const cell = (text, tag) => Object.assign(document.createElement(tag), { textContent: text });
      const line = document.createElement("li");
      line.append(cell(when(at), "span"), cell(`${kind}: ${words}`, "span"));
      return line;
    }),
  );
  const more = newest.length - LINES;
  if (more > 0) place.append(Object.assign(document.createElement("li"), { textContent: `and ${more} more` }));
}
