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
