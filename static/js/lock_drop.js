// New drop on a locked tablet, kept on it until the house has said that it has it. Nobody is signed in there, so an entry belongs to the
// tablet: sealed to the house, it says beside the seal when it was pressed and no more, and goes out under its own key from the lock, or
// from any page of the tablet once somebody came in. The house gives the same key its first result again.
//
//   waiting  not sent yet
//   asked    a send broke off; whether it arrived is not known yet, and it is asked again
//   turned   the house noted no drop; it stays listed until somebody says that it was read

import { all, asWaiting, base, drop, put } from "./kept.js";
import { canSeal } from "./seal.js";

/** What stands in an entry in place of a person's mark. */
export const LOCK = "lock";
const GIVE_UP_MS = 30_000;

const limit = () => AbortSignal.timeout?.(GIVE_UP_MS);

/** The entries of the lock, oldest first. */
export const ofLock = async () => (await all()).filter(({ person }) => person === LOCK).sort((one, other) => one.at - other.at);

const unsent = ({ state }) => ["waiting", "asked"].includes(state);

/**
 * Keeps a press, sealed to the house ({ id, point }), with the id of the card whose drop runs here, "" where none is known, and the mark
 * that it lay here: the drop goes to that card, whatever lies here by the time it is sent.
 */
export async function keepDrop(house, { card = "", lay = "" }) {
  const record = { key: crypto.randomUUID(), person: LOCK, state: "waiting", at: Date.now(), kind: "new drop" };
  await put(await asWaiting(record, { card, lay }, house));
}

/** Leaves what was not noted, once it was read. */
export async function leaveTurned() {
  for (const { key } of (await ofLock()).filter(({ state }) => state === "turned")) await drop(key);
}

/** Where entries go, and with which token: the lock's own page says so, whoever asks for it on this tablet. */
async function door() {
  const answer = await fetch(`${base}/tablet`, { cache: "no-store", signal: limit() });
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const { lockSends, token } = page.querySelector("[data-lock-sends]")?.dataset ?? {};
  return lockSends && { to: lockSends, token };
}

async function send(record, { to, token }) {
  const { key, kind, at, keyId, point, iv, sealed } = record;
  const fields = { form_key: key, kind, at: String(at), key_id: keyId, point, iv, sealed, csrf: token, sent: String(Date.now()) };
  let state;
  try {
    const headers = { accept: "text/html", "stillroom-outbox": "1" };
    const answer = await fetch(to, { method: "POST", body: new URLSearchParams(fields), headers, signal: limit() });
    if (answer.status === 204 && answer.headers.get("stillroom-kept")) state = "saved";
    else if (answer.status === 409) state = "turned";
    // Another page may have answered in the house's place; nothing but its own word counts.
    else state = answer.ok || answer.redirected || answer.status >= 500 ? "asked" : record.state;
  } catch {
    state = "asked";
  }
  await (state === "saved" ? drop(key) : put({ ...record, state }));
  return state;
}

async function sendAll() {
  const due = (await ofLock()).filter(unsent);
  const there = due.length > 0 && (await door().catch(() => null));
  let saved = 0;
  for (const record of there ? due : []) {
    const state = await send(record, there);
    if (state === "saved") saved += 1;
    // What did not get through is asked again later, and nothing goes past it.
    else if (state !== "turned") break;
  }
  return saved;
}

let sending = null;

/** Sends whatever waits, one tab at a time where the browser can see to that; gives how many the house has said it has. */
export function sendDrops() {
  if (!canSeal || !navigator.onLine) return Promise.resolve(0);
  sending ??= Promise.resolve(navigator.locks ? navigator.locks.request(`lock ${base}`, sendAll) : sendAll())
    .catch(() => 0)
    .finally(() => (sending = null));
  return sending;
}

/** Whether anything waits to be sent. */
export const waits = async () => (await ofLock()).some(unsent);
