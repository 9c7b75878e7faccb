// What is kept through a lost network, form by form: typed without network, the page reloaded, the network back: one record, shown as
// saved. The same below a base path; what a hand-over drops; a browser that cannot seal; a keypad without its script; and entries that
// come back where their form is no longer the one they were typed in.
import assert from 'node:assert/strict';
import { after, afterEach, before, describe, test } from 'node:test';
import { openFromForm, toHerCards, toOpenACard } from './cards.mjs';
import { add, aClient } from './clients.mjs';
import { ask, openHouse, signIn } from './house.mjs';
import { startProxy, tellOnline } from './proxy.mjs';
import { drafted, entries, inHand, saidCameBack, saidSaved, saysItWaits, standAs, states, stored } from './stored.mjs';
import { until } from './until.mjs';

const SECRET = 'Marshmallowroot';
const HERE = 'form[data-outbox] [data-outbox-state]';
const BROWSER = { locale: 'en-GB', timezoneId: 'Europe/Lisbon', reducedMotion: 'reduce' };
const WAITS = 'form[action$="/book/waiting"]';
const NOT_CHECKED = /Clearance cannot be checked: treat nobody not on the printed list\./;
const GO_ON = /You can go on working\./;
const CARD = /\/cards\/[0-9a-f]{8}-[0-9a-f-]{27}/g;

/** Waits until the worker is there, and has kept what it keeps. */
const workerReady = (page) => page.evaluate(() => navigator.serviceWorker.ready.then(() => {}));

/** Has the outbox hear of its form as if something had been typed there, and waits until it is written down as it stands. */
const touched = async (page) => {
  await inHand(page, 'form[data-outbox]');
  await page.evaluate(() => document.querySelector('form[data-outbox]').dispatchEvent(new Event('input', { bubbles: true })));
  await drafted(page);
};

const press = async (page, keys) => {
  for (const key of keys) await page.click(`.pad [name=key][value="${key}"]`);
};

/** The network is back, and the browser says so. */
const isBack = async (page, proxy) => {
  proxy.down = false;
  await tellOnline(page);
};

/** Answers every question of a consultation with its first answer. */
async function answerAll(page) {
  await page.check('[name=given_by][value=asked]');
  const names = await page.locator('input[type=radio][name^=q_]').evaluateAll((all) => [...new Set(all.map((one) => one.name))]);
  for (const name of names) await page.check(`[name=${name}][value="0"]`);
}

/** How many readings of these numbers a room has had in the last hour: its sensor goes on sending, and what is an hour old falls out. */
async function readingsOf(room, token, temperature, humidity) {
  const answer = await fetch(`${room}/readings?hours=1`, { headers: { authorization: `Bearer ${token}` } });
  assert.equal(answer.status, 200);
  return (await answer.json()).filter((one) => one.temperature_c === temperature && one.relative_humidity_pct === humidity).length;
}

/** Fills in the form that opens a card. */
async function fillCard(page) {
  await page.check('[name=changed][value=no]');
  await page.check('[name=start]');
  const bottles = await page.locator('[name=bottle] option').allTextContents();
  await page.selectOption('[name=bottle]', { label: bottles.find((words) => words.startsWith('Heath') && !words.includes('not for today')) });
}

/** Fills in the form that closes a card. */
async function fillClosing(page) {
  await page.check('[name=aftercare][value=shown]');
  for (const field of await page.locator('form[data-outbox] input[inputmode=numeric]').all()) await field.fill('10');
}

describe('kept through a lost network', () => {
  let house;
  let proxy;
  let room;
  let client;
  let hers;
  let minded;
  let card;

  before(async () => {
    house = await openHouse();
    room = `/rooms/${await house.program.line('room ')}`;
    const page = await (await house.as('owner')).newPage();
    client = await add(page, house, { name: 'Tove Brink', born_day: '7', born_month: '3', born_year: '1991' });
    await page.close();
    proxy = await startProxy(house.address);
    hers = await signedIn('artist');
    minded = await signedIn('owner');
  });
  after(async () => {
    await proxy?.close();
    await house?.close();
  });
  afterEach(() => {
    proxy.down = false;
    proxy.blocked = null;
  });

  /** A page of a browser of its own, signed in through the proxy. */
  async function signedIn(role, options = {}) {
    const context = await house.browser.newContext({ ...BROWSER, ...options });
    const page = await context.newPage();
    await signIn(page, proxy.address, house.signIns[role]);
    return page;
  }

  /** The text of a page as the person with this role reads it, past the proxy. */
  const read = async (role, path) => (await ask(await house.as(role), house.address, path)).text();
  const found = async (role, path, what) => new Set([...(await read(role, path)).matchAll(what)].map(([all]) => all)).size;

  /** How many readings of these numbers the last hour has. */
  async function readings(temperature, humidity) {
    const token = await house.program.line('read-token ');
    return readingsOf(`${house.address}/api/v1${room}`, token, temperature, humidity);
  }

  /** Types a form without network, reloads the page, and has the network back; exactly one entry was kept, and was shown as saved. */
  async function typedWithoutNetwork(page, path, { fill, button = 'form[data-outbox] .go', kind, says = NOT_CHECKED }) {
    await page.goto(proxy.address + path);
    await workerReady(page);
    await touched(page);
    proxy.kept.length = 0;
    proxy.down = true;
    await fill(page);
    await touched(page);
    await page.click(button);
    const said = await saysItWaits(page);
    assert.match(said, says);
    assert.ok(says === GO_ON || !GO_ON.test(said), said);
    assert.equal((await entries(page)).length, 1);
    assert.equal(proxy.kept.length, 0, 'nothing has arrived');
    await page.reload();
    await page.getByRole('heading', { level: 1, name: 'No network' }).waitFor();
    await page.waitForSelector('[data-kept-here] li');
    assert.match(await page.textContent('[data-kept-here]'), new RegExp(`\\d\\d:\\d\\d\\s*${kind}: `));
    assert.match(await page.textContent('main'), /treat nobody who is not on the printed sheet/);
    await isBack(page, proxy);
    await saidSaved(page);
    assert.deepEqual(await states(page), []);
    assert.equal(new Set(proxy.kept).size, 1, 'one entry');
  }

  test('a reading of the air by the keypad is one reading', async () => {
    const there = await readings(21, 38);
    await typedWithoutNetwork(hers, `${room}/readings/new`, {
      fill: (page) => press(page, ['2', '1', '3', '8']),
      button: '.pad .keep',
      kind: 'reading of the air',
      says: /the advice does not know of this air/,
    });
    assert.equal(await readings(21, 38), there + 1);
  });

  test('a patch test that was placed is one test', async () => {
    const of = () => found('owner', `/door/clients/${client}/clearance`, /\/door\/tests\/[0-9a-f-]{36}/g);
    assert.equal(await of(), 0);
    const fill = async (page) => {
      await page.check('[name=done][value=placed]');
      await page.locator('[name=bottle]').first().check();
      await page.check('[name=method][value=lashes]');
      await page.fill('[name=site]', 'outer corners');
      await page.fill('[name=number]', '3');
    };
    await typedWithoutNetwork(minded, `/door/clients/${client}/tests/new`, { fill, kind: 'patch test' });
    assert.equal(await of(), 1);
  });

  test('a look at a patch test is one look', async () => {
    const [path] = (await read('owner', `/door/clients/${client}/clearance`)).match(/\/door\/tests\/[0-9a-f-]{36}/);
    const fill = async (page) => {
      await page.check('[name=result][value=doubtful]');
      await page.fill('[name=words]', 'redder than before');
    };
    await typedWithoutNetwork(minded, path, { fill, kind: 'look at a test' });
    assert.equal((await read('owner', path)).split('redder than before').length - 1, 1);
  });

  test('a reaction is one reaction, and the device does not say that it is one', async () => {
    const of = () => found('owner', `/door/clients/${client}/clearance`, /\/door\/reactions\/[0-9a-f-]{36}/g);
    const day = new Date(Date.now() - 2 * 86_400_000).toISOString().slice(0, 10);
    const fill = async (page) => {
      for (const name of ['symptom', 'eyes', 'severity']) await page.locator(`[name=${name}]`).first().check();
      await page.fill('[name=noticed]', `${day}T10:00`);
      await page.selectOption('[name=artist]', 'none');
      await page.fill('[name=words]', SECRET);
    };
    await typedWithoutNetwork(minded, `/door/clients/${client}/reactions/new`, { fill, kind: 'record', says: /Nobody else sees it until then: tell them\./ });
    assert.equal(await of(), 1);
  });

  test('a consultation answered to somebody of the studio is one', async () => {
    await typedWithoutNetwork(minded, `/door/clients/${client}/consultation`, { fill: answerAll, kind: 'consultation' });
    assert.ok((await read('owner', `/door/clients/${client}`)).includes(`/door/clients/${client}/consultations/`));
  });

  test('a card that was opened is one card, and meanwhile nobody is treated on the strength of it', async () => {
    const list = await toHerCards(house);
    const there = await found('artist', list, CARD);
    await typedWithoutNetwork(hers, await toOpenACard(house), { fill: fillCard, kind: 'card' });
    assert.equal(await found('artist', list, CARD), there + 1);
    [card] = (await read('artist', list)).match(CARD);
  });

  test('what was counted on arrival is one count', async () => {
    const fill = async (page) => {
      await page.check('[name=by][value=photo]');
      // Of the lids that had any.
      for (const [end, number] of [['attached', '1'], ['lost', '0']]) {
        for (const field of await page.locator(`[name$=_${end}]`).all()) await field.fill(number);
      }
    };
    await typedWithoutNetwork(hers, `${card}/arrival`, { fill, kind: 'Arrival', says: GO_ON });
    await hers.goto(`${proxy.address}${card}/arrival`);
    assert.equal(await hers.locator('[name$=_attached]').first().inputValue(), '1');
  });

  test('a card that was closed is closed', async () => {
    await typedWithoutNetwork(hers, `${card}/close`, { fill: fillClosing, kind: 'Close', says: GO_ON });
    assert.equal((await ask(await house.as('artist'), house.address, `${card}/close`)).status, 409);
  });

  test('a form that waits stands as it was sent, cannot be sent twice, and is told when it was saved', async () => {
    const page = hers;
    await page.goto(proxy.address + (await toOpenACard(house)));
    await touched(page);
    await fillCard(page);
    proxy.blocked = /\/cards\/for\/|outbox\/open$/;
    await page.click('form[data-outbox] .go');
    await saysItWaits(page);
    assert.equal(await page.isDisabled('form[data-outbox] .go'), true);
    assert.equal(await page.isChecked('[name=changed][value=no]'), true);
    proxy.blocked = null;
    await tellOnline(page);
    await page.waitForSelector(`${HERE} [data-kept=saved]:not([hidden])`, { timeout: 60_000 });
    assert.equal(await page.locator(`${HERE} [data-kept=waiting]:not([hidden])`).count(), 0);
    await standAs(page, []);
  });

  test('an entry whose form is no longer there is shown as it was typed, until she leaves it', async () => {
    const direct = await (await house.as('artist')).newPage();
    await direct.goto(house.address + (await toOpenACard(house)));
    const path = await openFromForm(direct);
    await hers.goto(`${proxy.address}${path}/close`);
    await touched(hers);
    await fillClosing(hers);
    await hers.fill('[name=note]', SECRET);
    proxy.blocked = /\/close$|outbox\/open$/;
    await hers.click('form[data-outbox] .go');
    await saysItWaits(hers);
    // Meanwhile it is closed elsewhere.
    await direct.goto(`${house.address}${path}/close`);
    await fillClosing(direct);
    await Promise.all([direct.waitForURL(/told=closed/), direct.click('form[data-outbox] .go')]);
    await direct.close();
    proxy.blocked = null;
    await hers.goto(`${proxy.address}/rooms`);
    await (await saidCameBack(hers)).click();
    const note = hers.locator('main .note', { hasText: 'its form is no longer here' });
    await note.waitFor();
    const said = await note.textContent();
    for (const words of ['This card is closed.', SECRET, 'Anything else']) assert.ok(said.includes(words), `${words} is not in: ${said}`);
    await Promise.all([hers.waitForNavigation(), note.getByRole('button').click()]);
    assert.deepEqual(await states(hers), []);
    await inHand(hers, '[data-outbox-line]');
    assert.equal(await hers.locator('main .note', { hasText: 'its form is no longer here' }).count(), 0);
  });

  test('handing the device over drops what the person who does so left half typed, and keeps what waits', async () => {
    const { id } = await aClient(house);
    const page = await signedIn('owner');
    await page.goto(`${proxy.address}${room}/readings/new`);
    await touched(page);
    proxy.blocked = /\/readings$|outbox\/open$/;
    await press(page, ['2', '2', '4', '0']);
    await page.click('.pad .keep');
    await saysItWaits(page);
    await page.goto(`${proxy.address}/door/clients/${id}/consultation`);
    await touched(page);
    await page.check('[name=given_by][value=asked]');
    await drafted(page);
    await standAs(page, ['asked', 'draft']);
    await page.goto(`${proxy.address}/door/clients/${id}/hand-over/consultation`);
    await Promise.all([page.waitForURL(/\/handed-over\/1$/), page.click('main form .go')]);
    await standAs(page, ['asked']);
    const keys = (await stored(page)).all.filter(({ store }) => store === 'key').flatMap(({ values }) => values);
    assert.deepEqual(keys.filter(({ person }) => !/^(handed|guest:)/.test(person)), [], 'the key it was sealed with is gone');
    await page.context().close();
  });

  test('a browser that cannot seal keeps nothing in the clear, says so, and sends as without scripts', async () => {
    // As on plain HTTP, where browsers have no such thing.
    const page = await signedIn('owner', { serviceWorkers: 'block' });
    await page.context().addInitScript(() => delete Crypto.prototype.subtle);
    await page.goto(`${proxy.address}/door/clients/${client}/reactions/new`);
    assert.equal(await page.evaluate(() => crypto.subtle), undefined);
    await page.waitForSelector(`${HERE} [data-kept=near]:not([hidden])`);
    assert.match(await page.textContent(HERE), /nothing can be kept through a lost network/);
    await page.fill('[name=words]', SECRET);
    await page.waitForTimeout(500);
    const kept = JSON.stringify(await stored(page));
    assert.ok(!kept.includes(SECRET), kept);
    assert.deepEqual((await stored(page)).all.filter(({ values }) => values.length > 0 && values.some((one) => one.sealed === undefined && !one.made)), []);
    const there = await readings(21, 39);
    await page.goto(`${proxy.address}${room}/readings/new`);
    await press(page, ['2', '1', '3', '9']);
    const asked = page.waitForRequest((request) => request.method() === 'POST' && request.url().endsWith('/readings'));
    await Promise.all([page.waitForURL(/told=/), page.click('.pad .keep')]);
    assert.equal((await asked).isNavigationRequest(), true, 'sent by the browser itself');
    assert.equal(await readings(21, 39), there + 1);
    await page.context().close();
  });

  test('a keypad whose script did not come sends its keys past the outbox, and the value once', async () => {
    const page = await signedIn('artist', { serviceWorkers: 'block' });
    await page.context().route('**/keypad.js', (route) => route.abort());
    const there = await readings(21, 37);
    await page.goto(`${proxy.address}${room}/readings/new`);
    for (const [at, key] of ['2', '1', '3', '7'].entries()) {
      await touched(page);
      await Promise.all([page.waitForNavigation(), page.click(`.pad [name=key][value="${key}"]`)]);
      assert.equal((await page.inputValue('[name=temperature]')) + (await page.inputValue('[name=humidity]')), '2137'.slice(0, at + 1));
    }
    assert.equal(await readings(21, 37), there, 'a key keeps nothing');
    await touched(page);
    await Promise.all([page.waitForURL(/told=/), page.click('.pad .keep')]);
    assert.equal(await readings(21, 37), there + 1);
    assert.deepEqual(await states(page), []);
    await page.context().close();
  });

  test('an entry that waited and came back keeps the moment of its button, and is there after signing out', async () => {
    const page = await signedIn('owner');
    await page.goto(`${proxy.address}/door/clients/${client}/consultation`);
    await touched(page);
    await answerAll(page);
    await page.fill('[name=q_own_words]', SECRET);
    // One answer is missing: the house sends it back.
    await page.evaluate(() => {
      document.querySelector('form[data-outbox]').noValidate = true;
      for (const one of document.querySelectorAll('[name=q_lens]')) one.checked = false;
    });
    await touched(page);
    const before = Date.now();
    proxy.blocked = /\/consultations$|outbox\/open$/;
    await page.click('form[data-outbox] .go');
    await saysItWaits(page);
    const pressed = Date.now();
    proxy.blocked = null;
    await page.goto(`${proxy.address}/rooms`);
    await saidCameBack(page);
    await Promise.all([page.waitForURL(/sign-in/), page.getByRole('button', { name: 'Sign out' }).click()]);
    await until('her key is gone', () => entries(page), (there) => !there.some(({ sealed }) => sealed));
    const [left, ...others] = await entries(page);
    assert.deepEqual(others, []);
    assert.equal(left.state, 'refused');
    assert.deepEqual(Object.keys(left).sort(), ['at', 'back', 'key', 'kind', 'person', 'state']);
    assert.deepEqual(Object.keys(left.back).sort(), ['at', 'iv', 'keyId', 'kind', 'point', 'sealed'], 'only what the house alone opens');
    assert.ok(!JSON.stringify(await stored(page)).includes(SECRET));
    await signIn(page, proxy.address, house.signIns.owner);
    await (await saidCameBack(page)).click();
    await page.waitForFunction((words) => document.querySelector('[name=q_own_words]')?.value === words, SECRET, { polling: 200 });
    assert.match(await page.textContent(`${HERE} [data-kept=near]`), /It is dated .*, when its button was pressed\./);
    await page.check('[name=q_lens][value="0"]');
    await drafted(page);
    const request = page.waitForRequest((one) => one.method() === 'POST' && one.url().endsWith('/consultations'));
    await page.click('form[data-outbox] .go');
    const form = new URLSearchParams((await request).postData());
    const done = Number(form.get('done'));
    assert.ok(before <= done && done <= pressed, `dated ${done}, pressed from ${before} to ${pressed}`);
    assert.ok(Number(form.get('sent')) > pressed, 'its clock says when it was sent');
    await page.waitForURL(/\/consultations\/[0-9a-f-]{36}$/);
    assert.deepEqual(await states(page), []);
    await page.context().close();
  });

  /** A page with a draft of hers that takes its time to open, as on a slow tablet; `open` lets it. */
  async function withASlowDraft(held) {
    const context = await house.browser.newContext(BROWSER);
    const page = await context.newPage();
    await signIn(page, proxy.address, house.signIns.desk);
    await page.goto(`${proxy.address}/book/waiting`);
    await inHand(page, WAITS);
    for (const [name, words] of Object.entries(held)) await page.fill(`[name=${name}]`, words);
    await drafted(page, WAITS);
    await page.addInitScript(() => {
      const mayOpen = new Promise((done) => (window.open_now = done));
      const decrypt = crypto.subtle.decrypt.bind(crypto.subtle);
      crypto.subtle.decrypt = (...all) => mayOpen.then(() => decrypt(...all));
    });
    await page.reload();
    // A page that is just being left opens nothing any more.
    return { page, open: () => page.evaluate(() => window.open_now()).catch(() => {}) };
  }
  const typedIn = (page) => page.$$eval('[name=short_name], [name=note]', (all) => all.map(({ value }) => value));

  test('what is typed while a draft is looked for stays, and is one draft with it', async () => {
    const { page, open } = await withASlowDraft({ short_name: 'Rowan S.', note: 'before noon' });
    await page.fill('[name=note]', 'after four');
    await open();
    await inHand(page, WAITS);
    assert.deepEqual(await typedIn(page), ['Rowan S.', 'after four']);
    await drafted(page, WAITS);
    await page.reload();
    await open();
    await inHand(page, WAITS);
    assert.deepEqual(await typedIn(page), ['Rowan S.', 'after four']);
    assert.deepEqual(await states(page), ['draft']);
    await page.context().close();
  });

  test('what is sent while a draft is looked for goes as it stood, and the draft is not lost', async () => {
    const { page, open } = await withASlowDraft({ note: 'before noon' });
    await page.fill('[name=short_name]', 'Wren T.');
    await page.selectOption(`${WAITS} [name=service]`, { index: 1 });
    await Promise.all([page.waitForNavigation(), page.click(`${WAITS} .go`).then(open)]);
    await page.getByText('Wren T.').first().waitFor();
    await open();
    await inHand(page, WAITS);
    assert.ok(!(await page.textContent('main')).includes('before noon'), 'it was not part of what was sent');
    assert.deepEqual(await typedIn(page), ['', 'before noon']);
    assert.deepEqual(await states(page), ['draft']);
    await page.context().close();
  });

  // The last: it changes a question of the house.
  test('a draft fills in no answer to a question that was changed since', async () => {
    const id = client;
    await minded.goto(`${proxy.address}/door/clients/${id}/consultation`);
    await touched(minded);
    await answerAll(minded);
    await drafted(minded);
    const direct = await (await house.as('owner')).newPage();
    await direct.goto(`${house.address}/door/questions/hay_fever`);
    await direct.fill('[name=text]', 'Does pollen make your eyes run?');
    await Promise.all([direct.waitForURL((url) => !url.pathname.endsWith('/hay_fever')), direct.click('main form .go')]);
    await direct.close();
    await minded.reload();
    await minded.waitForFunction(() => document.querySelector('[name=q_lens][value="0"]')?.checked, undefined, { polling: 200 });
    assert.equal(await minded.locator('[name=q_hay_fever]:checked').count(), 0, 'asked anew');
    assert.match(await minded.textContent(`${HERE} [data-kept=near]`), /questions were changed since/);
    // Leaving it leaves nothing.
    await Promise.all([minded.waitForURL(/\/door\/clients\/[0-9a-f-]{36}$/), minded.click('[data-outbox-leave]')]);
    assert.deepEqual(await states(minded), []);
  });
});

describe('below a base path', () => {
  const BASE = '/studio';
  let house;
  let proxy;

  before(async () => {
    house = await openHouse({ options: ['--base-path', BASE] });
    proxy = await startProxy(house.address);
  });
  after(async () => {
    await proxy?.close();
    await house?.close();
  });

  test('the page for no network, drafts and what waits work as at the root', async () => {
    const context = await house.browser.newContext(BROWSER);
    const page = await context.newPage();
    await signIn(page, proxy.address + BASE, house.signIns.artist);
    const room = await house.program.line('room ');
    const token = await house.program.line('read-token ');
    const readings = () => readingsOf(`${house.address}${BASE}/api/v1/rooms/${room}`, token, 21, 38);
    const there = await readings();
    const path = `${BASE}/rooms/${room}/readings/new`;
    await page.goto(proxy.address + path);
    await workerReady(page);
    await touched(page);
    await press(page, ['2', '1']);
    await drafted(page);
    proxy.down = true;
    await page.reload();
    await page.getByRole('heading', { level: 1, name: 'No network' }).waitFor();
    assert.equal(new URL(page.url()).pathname, path);
    await page.goto(`${proxy.address}${BASE}/first-aid`);
    await page.getByRole('heading', { level: 1, name: 'First aid' }).waitFor();
    await page.goto(proxy.address + path);
    await page.getByRole('heading', { level: 1, name: 'No network' }).waitFor();
    await isBack(page, proxy);
    await page.waitForFunction(() => document.querySelector('[name=temperature]')?.value === '21', undefined, { polling: 200 });
    await press(page, ['3', '8']);
    proxy.blocked = /\/readings$|outbox\/open$/;
    await page.click('.pad .keep');
    await saysItWaits(page);
    proxy.blocked = null;
    await page.reload();
    await saidSaved(page);
    assert.equal(await readings(), there + 1);
    assert.deepEqual(await states(page), []);
    const { all } = await stored(page);
    assert.ok(all.every(({ database }) => database === `stillroom.kept:${BASE}`), 'its store is its own');
    const kept = await page.evaluate(async () => {
      const paths = [];
      for (const name of await caches.keys()) for (const request of await (await caches.open(name)).keys()) paths.push(new URL(request.url).pathname);
      return paths;
    });
    assert.ok(kept.length > 2 && kept.every((one) => one.startsWith(`${BASE}/`)), String(kept));
    await context.close();
  });
});
