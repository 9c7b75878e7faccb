// A tablet that loses its network: what lies on it and who can read it, the page that stands in for the house, and the proof that
// nothing is lost or doubled: many forms through a network that cuts off before and after the house has kept them.
import assert from 'node:assert/strict';
import { after, afterEach, before, beforeEach, describe, test } from 'node:test';
import { anOpenCard } from './cards.mjs';
import { anArtist } from './hands.mjs';
import { ask, openHouse, signIn } from './house.mjs';
import { chance, startProxy, tellOnline } from './proxy.mjs';
import { age, drafted, entries, inHand, saidCameBack, saidSaved, saysItWaits, standAs, states, stored, typedDown } from './stored.mjs';
import { until } from './until.mjs';

const FORMS = Number(process.env.STILLROOM_TEST_FORMS ?? 100);
const SEED = Number(process.env.STILLROOM_TEST_SEED ?? 20260218);
const SECRET = 'Marshmallowroot';
const WAITING = '[data-outbox-line] [data-kept=waiting]:not([hidden])';
const DRAFT = '[data-outbox-state] [data-kept=draft]:not([hidden])';
// What the outbox sends: entries, and entries to be opened.
const ENTRIES = /timing\/typed$|outbox\/open$/;
const BROWSER = { locale: 'en-GB', timezoneId: 'Europe/Lisbon', reducedMotion: 'reduce' };

describe('a device that loses its network', () => {
  let house;
  let artist;
  let proxy;
  let context;
  let page;

  before(async () => {
    house = await openHouse();
    artist = await anArtist(house);
  });
  after(() => house?.close());

  beforeEach(async () => {
    proxy = await startProxy(house.address);
    context = await house.browser.newContext(BROWSER);
    page = await context.newPage();
    await signIn(page, proxy.address, house.signIns.artist);
  });
  afterEach(async () => {
    await context.close();
    await proxy.close();
  });

  const typed = () => `${proxy.address}${artist}/timing/typed`;

  /** The form for typed timings, open. */
  async function toForm() {
    await page.goto(typed());
    await inHand(page, 'form[data-outbox] [name=travel1]');
  }

  /** Fills it in, as far as told, through the fields themselves. */
  const fill = (name) =>
    page.evaluate((name) => {
      const form = document.querySelector('form[data-outbox]');
      const other = [...form.elements.with.options].find((option) => option.textContent.trim() === 'Another adhesive');
      const values = { with: other.value, bottle_name: name, travel1: '0.4', settle1: '0.5' };
      for (const [field, value] of Object.entries(values)) form.elements[field].value = value;
      form.elements.settle1.dispatchEvent(new Event('input', { bubbles: true }));
    }, name);

  const submit = () => page.evaluate(() => {
    const form = document.querySelector('form[data-outbox]');
    form.requestSubmit(form.querySelector('[type=submit]'));
  });

  /** Waits until the worker is there, and has kept what it keeps. A page whose load began before that is none of its own yet; the
   * next load is. */
  const workerReady = () => page.evaluate(() => navigator.serviceWorker.ready.then(() => {}));

  /** Names of sittings under the artist's hands, all pages of them, as often as they stand there. */
  async function sittings() {
    const names = [];
    const own = await house.as('artist');
    const first = await (await ask(own, house.address, artist)).text();
    const styles = new Set([artist, ...[...first.matchAll(/href="([^"]*\?style=[^"&#]*)"/g)].map(([, href]) => href)]);
    const seen = new Set();
    for (const style of styles) {
      for (let path = style; path; ) {
        const text = await (await ask(own, house.address, path)).text();
        for (const [, href, rest] of text.matchAll(/<h3><a href="([^"]*\/sessions\/[^"]*)">([\s\S]*?)<\/li>/g)) {
          if (seen.has(href)) continue;
          seen.add(href);
          names.push(/(Form|Fresh) \d+/.exec(rest)?.[0] ?? 'another');
        }
        path = /<a class="act" href="([^"]*)">Older sittings/.exec(text)?.[1].replaceAll('&amp;', '&').replaceAll('&#38;', '&').split('#')[0];
      }
    }
    return names;
  }

  test('nothing typed lies readable on it, neither unfinished nor waiting, and its keys are not to be had', async () => {
    await toForm();
    await fill(SECRET);
    await drafted(page);
    const readable = async (when) => {
      const all = await stored(page);
      assert.ok(all.all.some(({ values }) => values.length > 0), `${when}: something is kept`);
      const text = JSON.stringify(all);
      for (const word of [SECRET, Buffer.from(SECRET).toString('base64').slice(0, 18), 'travel1', 'bottle_name', artist]) {
        assert.ok(!text.includes(word), `${when}: “${word}” lies on the device`);
      }
      const keys = all.all.filter(({ store }) => store === 'key').flatMap(({ values }) => values);
      for (const { key } of keys) assert.equal(key, 'key, extractable: false');
    };
    await readable('draft');
    assert.deepEqual(await states(page), ['draft']);
    proxy.down = true;
    await submit();
    await saysItWaits(page);
    await readable('waiting');
    const [entry] = await entries(page);
    const allowed = ['key', 'person', 'state', 'at', 'kind', 'keyId', 'point', 'iv', 'sealed', 'why', 'after'];
    assert.deepEqual(Object.keys(entry).filter((name) => !allowed.includes(name)), []);
    assert.equal(entry.kind, 'timings typed in');
    // The list at the foot of the page: time, kind, state.
    await page.locator('[data-outbox-list]', { hasText: /\d\d:\d\d\s*timings typed in: not known yet; asking again/ }).waitFor();
  });

  test('other forms are sealed as well, and come back after a reload', async () => {
    await signOut();
    await signIn(page, proxy.address, house.signIns.owner);
    await page.goto(`${proxy.address}/rooms/new`);
    await page.fill('[name=name]', SECRET);
    await typedDown(page, SECRET);
    assert.ok(!JSON.stringify(await stored(page)).includes(SECRET));
    await page.reload();
    await page.waitForFunction((name) => document.querySelector('[name=name]')?.value === name, SECRET, { polling: 200 });
  });

  test('a setting that was half typed comes back after a reload, over what stood there when it was opened', async () => {
    await signOut();
    await signIn(page, proxy.address, house.signIns.owner);
    await page.goto(`${proxy.address}/cards/settings`);
    await page.fill('[name=aftercare]', 'Typed by Alder.');
    await typedDown(page, 'Typed by Alder.');
    const other = await (await house.as('owner')).newPage();
    await other.goto(`${house.address}/cards/settings`);
    await other.fill('[name=aftercare]', 'Kept by Elder.');
    await Promise.all([other.waitForNavigation(), other.click('main form .go')]);
    await other.close();
    await page.reload();
    await page.waitForFunction(() => document.querySelector('[name=aftercare]')?.value === 'Typed by Alder.', undefined, { polling: 200 });
    const sent = page.waitForResponse((answer) => answer.request().method() === 'POST' && answer.url().endsWith('/cards/settings'));
    await page.click('main form .go');
    assert.equal((await sent).status(), 409);
    assert.match(await page.textContent('#f-aftercare-stands'), /Stands there now:\s*Kept by Elder\./);
    assert.equal(await page.inputValue('[name=aftercare]'), 'Typed by Alder.');
  });

  test('a reload without network shows the page for that, and the draft is back with the network', async () => {
    await toForm();
    await workerReady();
    await fill(SECRET);
    await drafted(page);
    proxy.down = true;
    const began = Date.now();
    await page.reload();
    await page.getByRole('heading', { level: 1, name: 'No network' }).waitFor();
    console.log(`the page for no network stood after ${Date.now() - began} ms`);
    assert.equal(new URL(page.url()).pathname, `${artist}/timing/typed`);
    assert.match(await page.textContent('main'), /Nothing waits on this device/);
    assert.equal((await page.textContent('.clock')).trim(), '', 'no clock that stood still');
    assert.ok(!(await page.content()).includes(house.signIns.artist.name), 'it names nobody');
    proxy.down = false;
    await page.waitForSelector('form[data-outbox] [name=travel1]');
    await page.waitForFunction((name) => document.querySelector('[name=bottle_name]')?.value === name, SECRET, { polling: 200 });
    await page.waitForSelector(DRAFT);
  });

  test('first aid opens without network, and what waits is listed by time and kind', async () => {
    await toForm();
    await workerReady();
    proxy.down = true;
    await fill(SECRET);
    await submit();
    await saysItWaits(page);
    await page.goto(`${proxy.address}/first-aid`);
    await page.getByRole('heading', { level: 1, name: 'First aid' }).waitFor();
    assert.ok(!(await page.content()).includes(house.signIns.artist.name));
    await page.goto(`${proxy.address}/rooms`);
    await page.waitForSelector('[data-kept-here] li');
    assert.match(await page.textContent('[data-kept-here]'), /\d\d:\d\d\s*timings typed in/);
    assert.ok(!(await page.content()).includes(SECRET));
    // Nothing personal lies in the worker's own store.
    const caches_ = await page.evaluate(async () => {
      const kept = [];
      for (const name of await caches.keys()) {
        for (const request of await (await caches.open(name)).keys()) kept.push(new URL(request.url).pathname);
      }
      return kept;
    });
    assert.deepEqual(caches_.filter((path) => !path.startsWith('/static/')).sort(), ['/first-aid', '/offline']);
  });

  async function signOut() {
    await Promise.all([page.waitForURL(/sign-in/), page.getByRole('button', { name: 'Sign out' }).click()]);
  }

  test('signing out drops drafts and their key, and keeps what waits for whoever made it', async () => {
    const there = (await sittings()).length;
    await toForm();
    proxy.down = true;
    await fill(SECRET);
    await submit();
    await saysItWaits(page);
    await fill('half of another');
    await drafted(page);
    assert.equal((await entries(page)).length, 2);
    // The way out is open, and no form gets through before she has gone.
    proxy.blocked = ENTRIES;
    proxy.down = false;
    await signOut();
    await standAs(page, ['asked']);
    const keys = async () => (await stored(page)).all.find(({ store }) => store === 'key').values.filter(({ person }) => !person.startsWith('guest:'));
    await until('her key is gone', keys, (there) => there.length === 0);
    proxy.blocked = null;

    // Somebody else sees nothing of it, and the house opens it for nobody but her.
    await signIn(page, proxy.address, house.signIns.owner);
    await page.waitForTimeout(1_500);
    assert.equal(await page.locator(WAITING).count(), 0);
    const [entry] = await entries(page);
    const refused = await page.evaluate(async ({ key, kind, at, keyId, point, iv, sealed }) => {
      const csrf = document.querySelector('[name=csrf]').value;
      const body = new URLSearchParams({ csrf, form_key: key, kind, at, key_id: keyId, point, iv, sealed });
      const answer = await fetch('/outbox/open', { method: 'POST', body });
      return { status: answer.status, text: await answer.text() };
    }, entry);
    assert.equal(refused.status, 403);
    assert.ok(!refused.text.includes(SECRET));
    assert.equal((await sittings()).length, there);

    await signOut();
    await signIn(page, proxy.address, house.signIns.artist);
    await saidSaved(page);
    assert.equal((await sittings()).length, there + 1);
    assert.deepEqual(await states(page), []);
  });

  test('a draft is gone once the sign-in was revoked, and what waits stays', async () => {
    await toForm();
    proxy.down = true;
    await fill(SECRET);
    await submit();
    await saysItWaits(page);
    await fill('half of another');
    await drafted(page);
    await standAs(page, ['asked', 'draft']);
    // From another device she ends every other sign-in of hers.
    const own = await (await house.as('artist')).newPage();
    await own.goto(`${house.address}/office/sessions`);
    const others = own.locator('main li').filter({ hasNotText: 'this browser' }).locator('form[action$="/end"] button');
    for (let left = await others.count(); left > 0; left = await others.count()) {
      await Promise.all([own.waitForNavigation(), others.first().click()]);
    }
    await own.close();
    proxy.blocked = ENTRIES;
    proxy.down = false;
    await page.goto(typed());
    await page.waitForURL(/sign-in/);
    await page.waitForSelector('body[data-outbox-revoked]');
    await standAs(page, ['asked']);
  });

  /** Taps what goes into the first zone of the left eye; fans as the card's technique had them become single ones. */
  async function drawZone(page, length) {
    await page.check(`[name=length][value="${length}"]`);
    await page.check('[name=curl][value="C"]');
    await page.check('[name=diameter][value="0.15"]');
    await page.check('[name=fan][value="1"]');
  }

  test('an entry that comes late for a card that changed comes back, with what stands there now beside it', async () => {
    const path = `${await anOpenCard(house)}/map`;
    await page.goto(`${proxy.address}${path}`);
    await drawZone(page, 9);
    proxy.blocked = /\/map$|outbox\/open$/;
    await page.click('main form .go');
    await saysItWaits(page);
    // Meanwhile somebody draws another map.
    const other = await (await house.as('artist')).newPage();
    await other.goto(`${house.address}${path}`);
    await drawZone(other, 11);
    await Promise.all([other.waitForURL((url) => !url.pathname.endsWith('/map')), other.click('main form .go')]);
    proxy.blocked = null;
    await page.goto(`${proxy.address}/rooms`);
    const back = await saidCameBack(page);
    assert.match(await back.textContent(), /an entry came back/);
    await back.click();
    await page.getByText('This changed elsewhere since you began').waitFor();
    assert.equal(await page.inputValue('[name=left_1]'), '9 C 0.15', 'hers is in the form');
    assert.match(await page.textContent('#zone-left_1'), /9 C/, 'and on the button of the zone');
    assert.match(await page.textContent('main form'), /Stands there now: 11 C 0\.15/);
    await other.goto(`${house.address}${path}`);
    assert.equal(await other.inputValue('[name=left_1]'), '11 C 0.15', 'nothing was written over');
    await other.close();
    // Having seen both she sends hers.
    await Promise.all([page.waitForURL((url) => !url.pathname.endsWith('/map')), page.click('main form .go')]);
    await page.goto(`${proxy.address}${path}`);
    assert.equal(await page.inputValue('[name=left_1]'), '9 C 0.15');
    assert.deepEqual(await states(page), []);
  });

  test('an entry of more than a day is said to be that', async () => {
    await toForm();
    proxy.down = true;
    await fill(SECRET);
    await submit();
    await saysItWaits(page);
    await age(page, 30);
    // Where it is just trying, it is told once more.
    const says = async () => {
      await page.evaluate(() => document.dispatchEvent(new Event('visibilitychange')));
      return page.textContent('[data-outbox-line]');
    };
    await until('the line says how old it is', says, (words) => /more than a day/.test(words));
    await page.locator('[data-outbox-list]', { hasText: 'more than a day old' }).waitFor();
  });

  test('on a locked tablet drafts wait for twelve hours and entries for as long as it takes', async () => {
    await signOut();
    await signIn(page, proxy.address, house.signIns.owner);
    await page.goto(`${proxy.address}/office/tablets`);
    await page.fill('[name=name]', `Tablet ${Date.now()}`);
    await Promise.all([page.waitForNavigation(), page.click('main form button.go')]);
    await page.getByText('this device', { exact: true }).first().waitFor();
    await toForm();
    proxy.blocked = ENTRIES;
    await fill(SECRET);
    await submit();
    await saysItWaits(page);
    await fill('half of another');
    await drafted(page);
    await page.getByRole('button', { name: 'Lock' }).click();
    await page.waitForURL(/\/tablet\?/);
    await page.waitForTimeout(500);
    assert.deepEqual(await states(page), ['asked', 'draft']);
    await age(page, 11);
    await page.reload();
    await page.waitForTimeout(500);
    assert.deepEqual(await states(page), ['asked', 'draft'], 'after eleven hours');
    await age(page, 2);
    await page.reload();
    // After thirteen hours.
    await standAs(page, ['asked']);
  });

  test('what an older version kept in the clear is sealed, and nothing of it stays', async () => {
    const there = (await sittings()).length;
    await toForm();
    await fill(SECRET);
    const old = await page.evaluate(async ({ secret }) => {
      const form = document.querySelector('form[data-outbox]');
      const person = document.querySelector('[data-outbox-line]').dataset.outboxLine;
      const values = [...new FormData(form)].filter(([name]) => !['csrf', 'form_key'].includes(name)).map(([name, value]) => [name, value === secret ? 'Older 0' : value]);
      const database = await new Promise((done) => {
        const asked = indexedDB.open('stillroom.outbox:', 1);
        asked.onupgradeneeded = () => asked.result.createObjectStore('entry', { keyPath: 'key' });
        asked.onsuccess = () => done(asked.result);
      });
      const entry = { person, action: location.pathname, page: location.pathname, values, note: '', at: Date.now() };
      const inside = database.transaction('entry', 'readwrite').objectStore('entry');
      inside.put({ ...entry, key: 'kept-by-an-older-version', state: 'waiting' });
      await new Promise((done) => (inside.put({ ...entry, key: 'a-draft-of-an-older-version', state: 'draft', page: '/elsewhere' }).onsuccess = done));
      database.close();
      return values.length;
    }, { secret: SECRET });
    assert.ok(old > 5);
    await page.goto(`${proxy.address}/rooms`);
    await saidSaved(page);
    const all = await stored(page);
    assert.ok(!all.all.some(({ database }) => database === 'stillroom.outbox:'), 'the old store is gone');
    assert.ok(!JSON.stringify(all).includes('Older 0') && !JSON.stringify(all).includes(SECRET));
    assert.equal((await sittings()).length, there + 1);
  });

  // ---- the proof -------------------------------------------------------------------------------------------------------

  /** Sends what waits over and over until all has arrived; looks at the state shown meanwhile. */
  async function drain(created, limitMs) {
    const until = Date.now() + limitMs;
    let looks = 0;
    for (;;) {
      const keptBefore = new Set(proxy.kept);
      const held = await entries(page);
      const listed = await page.locator('[data-kept-here] li').allTextContents();
      const keptAfter = new Set(proxy.kept);
      const there = new Set(held.map(({ key }) => key));
      looks += 1;
      // Whatever is no longer on the device the house has said it has; whatever is there is called waiting or asked.
      for (const key of created) if (!there.has(key)) assert.ok(keptAfter.has(key), `${key} is shown as saved and was not kept`);
      for (const { key, state } of held) {
        assert.ok(['waiting', 'asked'].includes(state), `${key} is ${state}`);
      }
      // The one that is on its way at this moment may have arrived an instant ago.
      const early = held.filter(({ key, state }) => state === 'waiting' && keptBefore.has(key));
      assert.ok(early.length <= 1, `${early.length} are called waiting and were kept`);
      const saved = listed.filter((words) => /: saved$/.test(words)).length;
      assert.ok(saved <= keptAfter.size, `${saved} are shown as saved, ${keptAfter.size} were kept`);
      if (held.length === 0) return looks;
      assert.ok(Date.now() < until, `${held.length} of ${created.size} still wait after ${limitMs / 1000} s`);
      await tellOnline(page);
      await page.waitForTimeout(250);
    }
  }

  /** Enters this many forms while the network is down, the first few while it is merely bad; gives their form keys. */
  async function enter(count, word, cut) {
    const created = new Set();
    const one = async (n) => {
      const key = await page.evaluate(() => document.querySelector('form[data-outbox] [name=form_key]').value);
      created.add(key);
      await fill(`${word} ${n}`);
      await submit();
      // Either the form is ready for the next, or it was saved and the page that shows it comes.
      await page.waitForFunction((before) => {
        const form = document.querySelector('form[data-outbox]');
        return !form || (form.getAttribute('aria-busy') === null && form.elements.form_key.value !== before);
      }, key, { timeout: 60_000, polling: 20 });
    };
    const online = Math.min(5, count);
    proxy.cut = cut;
    for (let n = 0; n < online; n += 1) {
      await toForm();
      await one(n);
    }
    await toForm();
    proxy.down = true;
    for (let n = online; n < count; n += 1) await one(n);
    proxy.down = false;
    return created;
  }

  test(`${FORMS} forms through a network that cuts 3 in 10 before and 3 in 10 after they are kept are ${FORMS} records`, { timeout: 1_800_000 }, async () => {
    const roll = chance(SEED);
    console.log(`seed ${SEED}`);
    const before = (await sittings()).filter((name) => name.startsWith('Form ')).length;
    const began = Date.now();
    const created = await enter(FORMS, 'Form', { before: 0.3, after: 0.3, stalls: Math.min(8, Math.ceil(FORMS / 33)), roll });
    const looks = await drain(created, 60_000 + FORMS * 1_500);
    proxy.cut = null;
    const { cuts } = proxy;
    const names = (await sittings()).filter((name) => name.startsWith('Form '));
    console.log(`${FORMS} forms in ${((Date.now() - began) / 1000).toFixed(0)} s: cut ${cuts.before} times before, ${cuts.after} after, ${cuts.stalls} stalls; ${looks} looks at the state; ${new Set(proxy.kept).size} kept, ${proxy.kept.length} times said`);
    assert.ok(cuts.before > FORMS / 5 && cuts.after > FORMS / 5, 'the network was bad enough');
    assert.ok(proxy.kept.length > created.size, 'some were sent again after they had been kept');
    assert.equal(created.size, FORMS);
    assert.equal(names.length - before, FORMS, 'records');
    const own = new Set(names);
    for (let n = 0; n < FORMS; n += 1) assert.ok(own.has(`Form ${n}`), `Form ${n} is missing`);
  });

  test('the same with a fresh form key each time makes doubles: the key is what keeps them apart', { timeout: 300_000 }, async () => {
    const count = 25;
    proxy.freshKeys = true;
    const created = await enter(count, 'Fresh', { before: 0.3, after: 0.3, stalls: 0, roll: chance(SEED + 1) });
    await drain(created, 120_000);
    proxy.cut = null;
    const names = (await sittings()).filter((name) => name.startsWith('Fresh '));
    console.log(`control: ${count} forms became ${names.length} records`);
    assert.equal(new Set(names).size, count, 'each arrived');
    assert.ok(names.length > count, 'without the keys nothing was doubled, so the proof above proves nothing');
  });
});
