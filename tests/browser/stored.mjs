// What a browser has stored for the house, as whoever looks through the device would find it.

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
      const inside = database.transaction(store, 'readwrite').objectStore(store);
      const values = await new Promise((done) => (inside.getAll().onsuccess = (event) => done(event.target.result)));
      for (const value of values) {
        for (const when of ['at', 'made']) if (value[when]) value[when] -= ms;
        inside.put(value);
      }
    }
    database.close();
  }, hours * 3_600_000);

/** Waits until the outbox has the forms of this page in hand. */
export const inHand = async (page, form) => {
  await page.waitForSelector(form);
  await page.evaluate(async () => (await import([...document.scripts].find(({ src }) => src.endsWith('/outbox.js')).src)).restored);
};

/** Waits until everything that was typed on this page is on the disk. */
export const writtenDown = (page) =>
  page.evaluate(async () => {
    const outbox = [...document.scripts].find(({ src }) => src.endsWith('/outbox.js')).src;
    await (await import(new URL('kept.js', outbox).href)).writtenDown();
  });
