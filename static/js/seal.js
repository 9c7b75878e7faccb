// Sealing on this device. A waiting entry is sealed to the house: a key pair of the moment meets the house's public key (ECDH on
// P-256), HKDF-SHA-256 makes a key of what they have in common, AES-GCM closes the entry, and the pair is thrown away; nothing on the
// device opens it again. A draft is sealed with a key that the browser keeps and never shows to anybody, not even to this script.
// Knows no page and no storage.

const INFO = "stillroom outbox 1 ";
const subtle = globalThis.crypto?.subtle;
const bytes = (text) => new TextEncoder().encode(text);

/** Whether anything can be sealed here: browsers do so only for pages that came over HTTPS, or from this machine. */
export const canSeal = subtle !== undefined;

/** Bytes as base64url, without a string as long as they are on the way. */
export function toText(buffer) {
  const all = new Uint8Array(buffer);
  let text = "";
  for (let at = 0; at < all.length; at += 0x8000) text += String.fromCharCode(...all.subarray(at, at + 0x8000));
  return btoa(text).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
}

const toBytes = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (letter) => letter.charCodeAt(0));

/** What stands beside a sealed entry in the clear and is bound to it. */
export const besideOf = ({ key, kind, at }) => `${key}\n${kind}\n${at}`;

/** Seals text to the house ({ id, point }); `beside` is bound to it. */
export async function sealTo(house, beside, text) {
  const curve = { name: "ECDH", namedCurve: "P-256" };
  const theirs = await subtle.importKey("raw", toBytes(house.point), curve, false, []);
  const pair = await subtle.generateKey(curve, false, ["deriveBits"]);
  const point = await subtle.exportKey("raw", pair.publicKey);
  const shared = await subtle.deriveBits({ name: "ECDH", public: theirs }, pair.privateKey, 256);
  const common = await subtle.importKey("raw", shared, "HKDF", false, ["deriveKey"]);
  const how = { name: "HKDF", hash: "SHA-256", salt: point, info: bytes(INFO + house.id) };
  const key = await subtle.deriveKey(how, common, { name: "AES-GCM", length: 256 }, false, ["encrypt"]);
  const iv = crypto.getRandomValues(new Uint8Array(12));
  const sealed = await subtle.encrypt({ name: "AES-GCM", iv, additionalData: bytes(beside) }, key, bytes(text));
  return { keyId: house.id, point: toText(point), iv: toText(iv), sealed: toText(sealed) };
}

/** A fresh key for drafts, which cannot be read out of the browser. */
export const newDraftKey = () => subtle.generateKey({ name: "AES-GCM", length: 256 }, false, ["encrypt", "decrypt"]);

/** Seals text with such a key. */
export async function sealDraft(key, beside, text) {
  const iv = crypto.getRandomValues(new Uint8Array(12));
  const sealed = await subtle.encrypt({ name: "AES-GCM", iv, additionalData: bytes(beside) }, key, bytes(text));
  return { iv: toText(iv), sealed: toText(sealed) };
}

/** Opens what was sealed so; throws for anything else. */
export async function openDraft(key, beside, { iv, sealed }) {
  const plain = await subtle.decrypt({ name: "AES-GCM", iv: toBytes(iv), additionalData: bytes(beside) }, key, toBytes(sealed));
  return new TextDecoder().decode(plain);
}

/** A name that tells nothing of what it stands for. */
export const digest = async (text) => toText(await subtle.digest("SHA-256", bytes(text)));
