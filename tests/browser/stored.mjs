// What a browser has stored for the house, as whoever looks through the device would find it; and waits for what is still being stored.
import { isDeepStrictEqual } from 'node:util';
import { until } from './until.mjs';

/** Everything this browser has stored for the house: names of databases and stores, and every value of each as text. */
export const stored = (page) =>
  page.evaluate(async () => {
    const all = [];
    for (const { name } of await indexedDB.databases()) {
      const database = await new Promise((done, failed) => {
        const asked = indexedDB.open(name);
        asked.onsuccess = () => done(asked.result);
        asked.onerror = () => failed(asked.error);
      });
      for (const store of database.objectStoreNames) {
        const values = await new Promise((done, failed) => {
          const asked = database.transaction(store).objectStore(store).getAll();
          asked.onsuccess = () => done(asked.result);
          asked.onerror = () => failed(asked.error);
        });
        const plain = (_, value) => {
          if (value instanceof CryptoKey) return `key, extractable: ${value.extractable}`;
          if (value instanceof ArrayBuffer || ArrayBuffer.isView(value)) return new TextDecoder('latin1').decode(value);
          return value;
        };
        all.push({ database: name, store, values: JSON.parse(JSON.stringify(values, plain)) });
      }
      database.close();
    }
    return { all, local: { ...localStorage }, session: { ...sessionStorage } };
  });

/** The entries kept there. */
export const entries = async (page) => (await stored(page)).all.filter(({ store }) => store === 'entry').flatMap(({ values }) => values);

/** How each of them stands. */
export const states = async (page) => (await entries(page)).map(({ state }) => state).sort();

/** Waits until they stand so and no otherwise. */
export const standAs = (page, wanted) => until(`the entries are ${JSON.stringify(wanted)}`, () => states(page), (there) => isDeepStrictEqual(there, wanted));

/** Leaves nothing of all that, for whoever types next in the same browser. */
export const forget = (page) =>
  page.evaluate(async () => {
    for (const { name } of await indexedDB.databases()) {
      await new Promise((done) => {
        const asked = indexedDB.open(name);
        asked.onsuccess = () => {
          const database = asked.result;
          if (!database.objectStoreNames.contains('entry')) return database.close(), done();
          const clearing = database.transaction('entry', 'readwrite');
          clearing.objectStore('entry').clear();
          clearing.oncomplete = () => (database.close(), done());
        };
      });
    }
  });

/** Makes everything stored look as if it had been written down earlier. */
export const age = (page, hours) =>
  page.evaluate(async (ms) => {
    const [{ name }] = (await indexedDB.databases()).filter((one) => one.name.startsWith('stillroom.kept:'));
    const database = await new Promise((done) => (indexedDB.open(name).onsuccess = (event) => done(event.target.result)));
    for (const store of ['entry', 'key', 'typed']) {
      const changing = database.transaction(store, 'readwrite');
      const done = new Promise((done) => (changing.oncomplete = done));
      const inside = changing.objectStore(store);
      const values = await new Promise((done) => (inside.getAll().onsuccess = (event) => done(event.target.result)));
      for (const value of values) {
        for (const when of ['at', 'made']) if (value[when]) value[when] -= ms;
        inside.put(value);
      }
      await done;
    }
    database.close();
  }, hours * 3_600_000);

/** Waits until the outbox has the forms of this page in hand. */
export const inHand = async (page, form) => {
  await page.waitForSelector(form, { state: 'attached' });
  await page.evaluate(async () => (await import([...document.scripts].find(({ src }) => src.endsWith('/outbox.js')).src)).restored);
};

/**
 * Waits until a form of the outbox lies on the disk with all that stands in it, opened as her own page opens it. The word "draft" is no
 * sign of that: it stands there from the first letter on.
 */
export async function drafted(page, form = 'form[data-outbox]') {
  await inHand(page, form);
  const isWritten = async (place) => {
    const form = document.querySelector(place);
    const outbox = [...document.scripts].find(({ src }) => src.endsWith('/outbox.js')).src;
    const { all, readDraft } = await import(outbox.replace(/outbox\.js$/, 'kept.js'));
    const record = (await all()).find(({ key }) => key === form.elements.form_key.value);
    if (!['draft', 'refused'].includes(record?.state) || !record.sealed) return false;
    const apart = ([name, value]) => typeof value !== 'string' || ['csrf', 'form_key'].includes(name) || form.elements[name]?.type === 'password';
    const stands = [...new FormData(form)].filter((field) => !apart(field));
    return JSON.stringify((await readDraft(record))?.values) === JSON.stringify(stands);
  };
  await until(`what stands in ${form} is written down`, () => page.evaluate(isWritten, form));
}

/** Waits until nothing that was typed in a form of the outbox is still on its way to the disk. */
export const writtenOut = (page, form) =>
  page.evaluate(async (place) => {
    const { keepDraft } = await import([...document.scripts].find(({ src }) => src.endsWith('/outbox.js')).src);
    await keepDraft(document.querySelector(place));
  }, form);

/** Waits until words that were typed in a form that is no entry lie on the disk, opened as their own page opens them. */
export const typedDown = (page, words) => {
  const isWritten = async (words) => {
    const forms = [...document.scripts].find(({ src }) => src.endsWith('/forms.js')).src;
    const [{ all, draftKey }, { openDraft }] = await Promise.all(['kept.js', 'seal.js'].map((name) => import(forms.replace(/forms\.js$/, name))));
    for (const record of await all('typed')) {
      const key = await draftKey(record.person, false);
      if (key && (await openDraft(key, record.place, record)).includes(words)) return true;
    }
    return false;
  };
  return until(`“${words}” is written down`, () => page.evaluate(isWritten, words));
};

/** Waits until a form and the standing line say that its entry waits; gives the form's words, which are others while it is first sent. */
export async function saysItWaits(page, form = 'form[data-outbox]') {
  const words = page.locator(`${form} [data-outbox-state] [data-kept=waiting]:not([hidden])`, { hasText: 'kept on this device' });
  await words.waitFor();
  await page.waitForSelector('[data-outbox-line] [data-kept=waiting]:not([hidden])');
  return words.textContent();
}

// The outbox tries every twenty seconds, and once more where it was just trying when it was told to.
const TRIED_TWICE_MS = 60_000;

/** Waits until the standing line has said that something was saved; its words stay in their place when another state hides them. */
export const saidSaved = (page) => page.locator('[data-outbox-line] [data-kept=saved] [data-words]', { hasText: /^saved/ }).waitFor({ state: 'attached', timeout: TRIED_TWICE_MS });

/** Waits until it says that an entry came back, and gives the link to it. */
export async function saidCameBack(page) {
  const link = page.locator('[data-outbox-line] [data-kept=near]:not([hidden]) a');
  await link.waitFor({ timeout: TRIED_TWICE_MS });
  return link;
}

/** Waits until nothing is left here that has not arrived. */
export const allArrived = (page) => until('nothing waits', () => states(page), (there) => !there.some((state) => ['waiting', 'asked'].includes(state)));
