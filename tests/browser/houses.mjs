// The houses that pages are looked at in: the invented studio, and new ones at the stages a first day passes through.
// Each is opened when the first page of it is asked for.
import { House, claimPath, openBrowser, openHouse } from './house.mjs';
import { pathOf } from './pages.mjs';
import { startProgram } from './program.mjs';

const OWNER = { name: 'Oona Pell', passphrase: 'three dunes behind the marram' };

/** How each house is opened, by the word a listed page has in `in`. */
const OPENED = {
  demo: openHouse,
  unclaimed: () => openNew(),
  empty: () => openNew(claim),
  'one-room': () => openNew(claim, addRoom),
};

async function openNew(...steps) {
  const program = await startProgram('serve');
  const house = new House(program, await openBrowser());
  house.signIns = {};
  for (const step of steps) await step(house);
  return house;
}

async function claim(house) {
  const page = await (await house.as('nobody')).newPage();
  await page.goto(house.address + (await claimPath(house)));
  const typed = { studio: 'Marram House', name: OWNER.name, zone: 'Europe/Lisbon', passphrase: OWNER.passphrase, again: OWNER.passphrase };
  for (const [name, value] of Object.entries(typed)) await page.fill(`[name=${name}]`, value);
  await page.click('main form button');
  await page.waitForURL((url) => !url.pathname.startsWith('/claim'));
  await Promise.all([page.waitForURL(/\/sign-in/), page.click('header form button')]);
  await page.close();
  house.signIns.owner = OWNER;
}

/** A name as long as a room's may be, with a word no line has room for. */
async function addRoom(house) {
  const page = await (await house.as('owner')).newPage();
  await page.goto(`${house.address}/rooms/new`);
  await page.fill('[name=name]', 'Marramgrassverandaannexe, north of Gable');
  await page.fill('[name=volume_m3]', '31,5');
  await page.fill('[name=coldest_surface]', 'window');
  await page.click('main form button.go');
  await page.waitForURL(/\/rooms\/[0-9a-f-]{36}$/);
  await page.close();
}

/** All of them, and the paths of their pages. */
export class Houses {
  #open = new Map();
  #paths = new Map();

  /** The house of this name: demo, unclaimed, empty, one-room. */
  async house(name = 'demo') {
    // The promise is kept, so that whoever asks meanwhile waits for the same house.
    if (!this.#open.has(name)) this.#open.set(name, OPENED[name]());
    return this.#open.get(name);
  }

  /** The path of a listed page, looked up once. */
  async pathOf(listed) {
    if (!this.#paths.has(listed)) {
      const house = await this.house(listed.in);
      const path = listed.reach ? await listed.reach(house) : await pathOf(listed, await house.as(listed.as), house.address);
      this.#paths.set(listed, path);
    }
    return this.#paths.get(listed);
  }

  async close() {
    for (const house of this.#open.values()) await (await house).close();
  }
}
