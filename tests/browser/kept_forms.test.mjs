// The other forms that are kept through a lost network, each by the same few steps: the network goes, the button is pressed, it waits and
// says what that means; the network is back, and there is one record. And those that come back with their reason.
import assert from 'node:assert/strict';
import { after, afterEach, before, describe, test } from 'node:test';
import { dayAfter } from './book.mjs';
import { openFromForm, toOpenACard } from './cards.mjs';
import { add } from './clients.mjs';
import { anArtist } from './hands.mjs';
import { ask, openHouse, signIn } from './house.mjs';
import { startProxy, tellOnline } from './proxy.mjs';
import { bottleOf } from './shelf.mjs';
import { allArrived, entries, forget, inHand, saidCameBack, saidSaved, saysItWaits, standAs, states } from './stored.mjs';

const BROWSER = { locale: 'en-GB', timezoneId: 'Europe/Lisbon', reducedMotion: 'reduce' };
const NOT_CHECKED = /[Cc]learance cannot be checked: treat nobody not on the printed list\./;
const GO_ON = /You can go on working\./;
const TELL_THEM = /Nobody else sees it until then: tell them\./;

const fields = (typed) => async (page, form) => {
  for (const [name, value] of Object.entries(typed)) {
    const control = page.locator(`${form} [name=${name}]`).first();
    if ((await control.evaluate(({ localName }) => localName)) === 'select') {
      await control.selectOption(typeof value === 'number' ? { index: value } : { label: value });
    } else if (value === true) await control.check();
    else await control.fill(value);
  }
};

describe('kept through a lost network, form by form', () => {
  let house;
  let proxy;
  let pages;
  const hers = {};

  before(async () => {
    house = await openHouse();
    hers.room = `/rooms/${await house.program.line('room ')}`;
    hers.bottle = await bottleOf(house);
    const page = await (await house.as('owner')).newPage();
    hers.client = `/door/clients/${await add(page, house, { name: 'Tove Brink', born_day: '7', born_month: '3', born_year: '1991' })}`;
    await page.goto(`${house.address}/door/clients`);
    for (const [key, name] of [['lapsed', 'Ebba Sorensdal'], ['regular', 'Agda Winther']]) {
      await page.fill('main [name=typed]', name);
      hers[key] = await page.getAttribute(`main a:text-is("${name}")`, 'href');
    }
    await page.goto(`${house.address}/door/not-cleared`);
    hers.reaction = await page.locator('main a[href*="/door/reactions/"]').first().getAttribute('href');
    await page.close();
    const direct = await (await house.as('artist')).newPage();
    await direct.goto(house.address + (await toOpenACard(house)));
    hers.card = await openFromForm(direct);
    await direct.goto(`${house.address}${hers.card}`);
    for (const key of ['1', '2']) await direct.click(`.pad [name=key][value="${key}"]`);
    await Promise.all([direct.waitForEvent('load'), direct.click('.pad .keep')]);
    await direct.close();
    proxy = await startProxy(house.address);
    pages = { owner: await signedIn('owner'), artist: await signedIn('artist'), desk: await signedIn('desk') };
  });
  after(async () => {
    await proxy?.close();
    await house?.close();
  });
  afterEach(() => {
    proxy.down = false;
    proxy.blocked = null;
  });

  async function signedIn(role) {
    const page = await (await house.browser.newContext({ ...BROWSER, serviceWorkers: 'block' })).newPage();
    await signIn(page, proxy.address, house.signIns[role]);
    return page;
  }

  const read = async (role, path) => (await ask(await house.as(role), house.address, path)).text();
  /** How often something stands on a page, past the proxy. */
  const times = (role, path, what) => async () => (await read(role, typeof path === 'function' ? path() : path)).split(what).length - 1;
  const links = (role, path, what) => async () => new Set([...(await read(role, typeof path === 'function' ? path() : path)).matchAll(what)].map(([all]) => all)).size;

  const isBack = async (page) => {
    proxy.down = false;
    proxy.blocked = null;
    await tellOnline(page);
  };

  /** Presses the button of a form while nothing arrives; it waits, and says what that means. */
  async function pressed(page, { path, form, fill = async () => {}, press = '.go' }) {
    await page.goto(proxy.address + path());
    // What a case that failed left behind is none of this one's.
    await forget(page);
    await inHand(page, form);
    proxy.kept.length = 0;
    proxy.blocked = /./;
    await fill(page, form);
    await page.click(`${form} ${press}`);
    return saysItWaits(page, form);
  }

  const visits = /\/door\/visits\/[0-9a-f-]{36}\/gone/g;
  const day = dayAfter(11);
  const booking = () => hers.appointment;
  const CASES = [
    { name: 'an incident of somebody who works here', as: 'owner', path: () => '/door/staff-incidents', form: 'form[action$="/staff-incidents"]', fill: fields({ person: 1, what: 'Cough Alder' }), kind: 'record', says: /tell the owner in person/, of: times('owner', '/door/staff-incidents', 'Cough Alder') },
    { name: 'a follow-up of a reaction', as: 'owner', path: () => hers.reaction, form: 'form[action*="/follow-ups/"]', fill: fields({ words: 'Better Beech' }), kind: 'record', says: TELL_THEM, of: times('owner', () => hers.reaction, 'Better Beech') },
    { name: 'who was told of a reaction', as: 'owner', path: () => hers.reaction, form: 'form[action$="/told"]', press: '.act', fill: fields({ whom: 1 }), kind: 'record', says: GO_ON, of: async () => (await read('owner', hers.reaction)).split('id="told"')[1].split('<form')[0].split('<li>').length },
    { name: 'a complaint', as: 'desk', path: () => `${hers.client}/complaints/new`, form: 'form[action$="/complaints"]', fill: fields({ what: 'Half of it came off' }), kind: 'record', says: TELL_THEM, of: links('owner', () => `${hers.client}/clearance`, /\/door\/complaints\/[0-9a-f-]{36}/g) },
    { name: 'the decision on a complaint', as: 'owner', path: () => hers.complaint, form: 'form[action$="/decision"]', fill: async (page) => { await page.check('[name=decision][value=refund]'); await page.fill('[name=refund]', '12,50'); }, kind: 'record', says: /nothing is decided for anybody else: tell them/, of: times('owner', () => hers.complaint, 'value="12.50"') },
    { name: 'a doctor’s finding', as: 'owner', path: () => `${hers.client}/findings/new`, form: 'form[action$="/findings"]', fill: async (page) => { await page.locator('[name=grade]').first().check(); await page.fill('[name=at]', `${dayAfter(-9)}T10:00`); await page.fill('[name=words]', 'Letter Cedar'); }, kind: 'record', says: /place nothing with adhesive on her/, of: times('owner', () => `${hers.client}/clearance`, 'Letter Cedar') },
    { name: 'a decision to go on', as: 'owner', path: () => `${hers.lapsed}/decisions/new`, form: 'form[action$="/decisions"]', fill: fields({ reason: 'Seen yesterday by me, Damson.' }), kind: 'record', says: /A decision that waits clears nobody\. Clearance cannot be checked/, of: times('owner', () => `${hers.lapsed}/clearance`, 'Damson') },
    { name: 'an expected visit', as: 'desk', path: () => `${hers.client}/visits/new`, form: 'form[action$="/visits"]', fill: async (page) => { await page.fill('[name=at]', `${dayAfter(3)}T14:00`); await page.check('[name=kind][value=set]'); }, kind: 'visit', says: /nobody else expects her/, of: links('desk', '/door/not-cleared', visits) },
    { name: 'a visit taken off the list', as: 'desk', path: () => '/door/not-cleared', form: 'form[action$="/gone"]', press: '.act', kind: 'visit', says: GO_ON, of: links('desk', '/door/not-cleared', visits), change: -1 },
    { name: 'a walk-in', as: 'owner', path: () => `${hers.walker}/walk-in`, form: 'form[action$="/walk-in"]', press: '[value=usual]', fill: fields({ bottle: true }), kind: 'walk-in', says: NOT_CHECKED, of: links('owner', () => `${hers.walker}/clearance`, /\/door\/tests\/[0-9a-f-]{36}/g) },
    { name: 'a stop', as: 'owner', path: () => '/door/stops/new', form: 'form[action$="/stops"]', fill: async (page, form) => { await page.check(`${form} [name=what][value=lot]`); await fields({ product: 1, lot: 'ZZ-99', why: 'Cloudy' })(page, form); }, kind: 'stop', says: /A stop that waits stops nothing: put its bottles aside, and tell everybody in person\./, of: links('owner', '/door/stops', /\/door\/stops\/[0-9a-f-]{36}/g) },
    { name: 'a booking', as: 'desk', path: () => '/book/new', form: 'form[action$="/book"]', fill: fields({ short_name: 'Elder F.', service: 1, artist: 'Ines Okafor', day, at: '20:30', outside: true }), kind: 'booking', says: /A booking that waits is not booked/, of: links('desk', `/book?day=${day}`, /Elder F\./g) },
    { name: 'a booking that is moved', as: 'desk', path: () => `${booking()}/move`, form: 'form[action$="/move"]', fill: fields({ at: '20:00', outside: true }), kind: 'moved appointment', says: /stands where it stood/, of: links('desk', () => booking(), /20:00 with/g) },
    { name: 'a booking that is called off', as: 'desk', path: booking, form: 'form[action$="/cancel"]', press: '.act', kind: 'appointment', says: /stands for everybody else: tell them/, of: times('desk', booking, '/restore"') },
    { name: 'a booking that holds again', as: 'desk', path: booking, form: 'form[action$="/restore"]', fill: fields({ outside: true }), press: '.act', kind: 'appointment', says: /It does not hold until it is there/, of: times('desk', booking, '/cancel"') },
    { name: 'somebody on the waiting list', as: 'desk', path: () => '/book/waiting', form: 'form[action$="/book/waiting"]', fill: fields({ short_name: 'Fern G.', service: 1 }), kind: 'waiting list', says: GO_ON, of: links('desk', '/book/waiting', /waiting\/[0-9a-f-]{36}\/done/g) },
    { name: 'somebody who waits no longer', as: 'desk', path: () => '/book/waiting', form: 'form[action$="/done"]', press: '.act', kind: 'waiting list', says: GO_ON, of: links('desk', '/book/waiting', /waiting\/[0-9a-f-]{36}\/done/g), change: -1 },
    { name: 'a new record', as: 'desk', path: () => '/door/clients/new', form: 'form[action$="/door/clients"]', fill: fields({ name: 'Gorse Heath' }), kind: 'record', says: /She is not on record until it is there/, of: () => found('Gorse Heath') },
    { name: 'a note on a record', as: 'desk', path: () => `${hers.client}/edit`, form: 'form[action$="/edit"]', fill: fields({ notes: 'Hazel by the door' }), kind: 'record', says: GO_ON, of: times('owner', () => hers.client, 'Hazel by the door') },
    { name: 'the question whether anything changed', as: 'artist', path: () => hers.regular, form: 'form[action$="/asked"]', press: '[value=nothing]', kind: 'question', says: NOT_CHECKED },
    { name: 'a product', as: 'owner', path: () => '/shelf/products/new', form: 'form[action$="/products"]', fill: async (page, form) => { await fields({ name: 'Ivy' })(page, form); await page.check('[name=family][value=ethyl]'); }, kind: 'product', says: GO_ON, of: times('owner', '/shelf', '>Ivy<') },
    { name: 'a bottle', as: 'desk', path: () => '/shelf/bottles/new', form: 'form[action$="/bottles"]', fill: async (page) => { await page.selectOption('[name=product]', { label: 'Ivy' }); await page.fill('[name=lot]', 'IV-1'); await page.fill('[name=opened]', ''); }, kind: 'bottle', says: GO_ON, of: links('desk', '/shelf', /\/shelf\/bottles\/[0-9a-f-]{36}"/g) },
    { name: 'what stands on a bottle', as: 'desk', path: () => `${hers.ivy}/edit`, form: 'form[action$="/edit"]', fill: fields({ lot: 'IV-2' }), kind: 'bottle', says: GO_ON, of: links('desk', () => hers.ivy, /IV-2/g) },
    { name: 'a bottle that is opened', as: 'desk', path: () => hers.ivy, form: 'form[action$="/open"]', press: '.act', kind: 'bottle', says: GO_ON, of: times('desk', () => hers.ivy, '/open"'), change: -1 },
    { name: 'a bottle that is finished', as: 'desk', path: () => hers.ivy, form: 'form[action$="/finish"]', press: '.act', kind: 'bottle', says: GO_ON, of: times('desk', () => hers.ivy, '/take-back"') },
    { name: 'a bottle taken as advised', as: 'artist', path: () => `${hers.room}/advice`, form: 'form[action$="/advice"]', press: '.act', kind: 'bottle taken', says: NOT_CHECKED },
    { name: 'a step of the aftercare', as: 'artist', path: () => hers.card, form: 'form[action$="/step"]', press: '.act', kind: 'aftercare', says: GO_ON, of: links('artist', () => hers.card, /wait until|the time is over/g) },
    { name: 'an entry taken back on a card', as: 'artist', path: () => hers.card, form: 'form[action*="/back/"]', press: '.act', kind: 'taking back', says: GO_ON, of: links('artist', () => hers.card, /\/back\/[0-9a-f-]{36}/g), change: -1 },
    { name: 'a sitting struck out', as: 'artist', path: () => hers.hands, form: 'form[action$="/strike"]', press: '.act', kind: 'strike-out', says: GO_ON, of: links('artist', () => hers.hands, /sessions\/[0-9a-f-]{36}\/strike/g), change: -1 },
    { name: 'a bench test struck out', as: 'artist', path: () => hers.tested, form: 'form[action$="/strike"]', press: '.act', kind: 'strike-out', says: GO_ON, of: links('artist', () => hers.tested, /tests\/[0-9a-f-]{36}\/strike/g), change: -1 },
    { name: 'a copy of a consent', as: 'owner', path: () => hers.consent, form: 'form[action$="/copies"]', press: '[value=printed]', kind: 'record', says: GO_ON, of: times('owner', () => hers.consent, '<li>printed,') },
    { name: 'a consent taken back', as: 'owner', path: () => hers.lapsed, form: 'form[action$="/withdraw"]', press: '.act', kind: 'record', says: /Nobody else sees it until then: tell them\. Do nothing more on this consent\./, of: links('owner', () => hers.lapsed, /consents\/[0-9a-f-]{36}\/withdraw/g), change: -1 },
  ];

  /** How many records of this name the desk finds. */
  async function found(name) {
    const page = await (await house.as('desk')).newPage();
    await page.goto(`${house.address}/door/clients`);
    await page.fill('main [name=typed]', name);
    await Promise.all([page.waitForNavigation(), page.click('form[data-find] .act:not(.go)')]);
    const there = await page.locator(`main a:text-is("${name}")`).evaluateAll((all) => all.map(({ href }) => href));
    await page.close();
    return new Set(there).size;
  }

  /** What a case stands on that another one has made. */
  async function lookUp() {
    hers.complaint = /\/door\/complaints\/[0-9a-f-]{36}/.exec(await read('owner', `${hers.client}/clearance`))?.[0];
    hers.appointment ??= [.../href="(\/book\/[0-9a-f-]{36})"[^>]*>[^<]*(?:<[^>]*>[^<]*){0,6}Elder F\./.exec(await read('desk', `/book?day=${day}`)) ?? []][1];
    const shelf = await read('desk', '/shelf');
    hers.ivy ??= [.../href="(\/shelf\/bottles\/[0-9a-f-]{36})">[^<]*Ivy/.exec(shelf) ?? []][1];
    hers.hands ??= await anArtist(house);
    hers.consent ??= /\/door\/clients\/[0-9a-f-]{36}\/consents\/[0-9a-f-]{36}/.exec(await read('owner', hers.lapsed))?.[0];
    for (const [, bottle] of hers.tested ? [] : shelf.matchAll(/href="(\/shelf\/bottles\/[0-9a-f-]{36})"/g)) {
      if (!hers.tested && (await read('artist', bottle)).includes('/strike"')) hers.tested = bottle;
    }
    if (!hers.walker) {
      const page = await (await house.as('owner')).newPage();
      hers.walker = `/door/clients/${await add(page, house, { name: 'Juniper Kale', born_day: '2', born_month: '2', born_year: '1990' })}`;
      await page.close();
    }
  }

  for (const one of CASES) {
    test(`${one.name} waits, says what that means, and is one record`, async () => {
      await lookUp();
      const page = pages[one.as];
      const there = await one.of?.();
      const said = await pressed(page, one);
      assert.match(said, one.says);
      assert.ok(one.says === GO_ON || !GO_ON.test(said), said);
      const [entry, ...others] = await entries(page);
      assert.deepEqual(others, []);
      assert.equal(entry.kind, one.kind);
      assert.equal(proxy.kept.length, 0, 'nothing has arrived');
      assert.equal(await one.of?.(), there);
      await isBack(page);
      await saidSaved(page);
      assert.deepEqual(await states(page), []);
      assert.equal(proxy.kept.length, 1, 'it was kept once');
      if (one.of) assert.equal(await one.of(), there + (one.change ?? 1));
    });
  }

  test('“I work here today” is not kept: without network nothing is sent, and the page says so', async () => {
    const page = pages.artist;
    const form = 'form[action$="/here"]';
    const rooms = [...(await read('artist', '/rooms')).matchAll(/href="(\/rooms\/[0-9a-f-]{36})"/g)].map(([, room]) => `${room}/advice`);
    const offers = async (path) => (await read('artist', path)).includes('/here"');
    let path;
    for (const one of rooms) if (!path && (await offers(one))) path = one;
    await page.goto(proxy.address + path);
    await forget(page);
    proxy.down = true;
    proxy.kept.length = 0;
    for (const times of [1, 2]) {
      await page.click(`${form} .act`);
      const said = page.locator('[role=alert]:not([data-of-before])', { hasText: 'Nothing was sent, and this is not kept on the device' });
      await said.waitFor();
      assert.equal(await page.locator('[role=alert]').count(), 1, `said once, pressed ${times}`);
      // The next press takes it away and says it anew.
      await said.evaluate((words) => (words.dataset.ofBefore = ''));
    }
    assert.equal(page.url(), proxy.address + path, 'the page stays');
    assert.deepEqual(await entries(page), []);
    assert.ok(await offers(path), 'the house knows nothing of it');
    proxy.down = false;
    await Promise.all([page.waitForEvent('load'), page.click(`${form} .act`)]);
    assert.ok(!(await offers(path)), 'pressed again it counts');
  });

  test('a booking whose time was taken meanwhile comes back into its form with the reason', async () => {
    const page = pages.desk;
    const typed = { service: 1, artist: 'Ines Okafor', day: dayAfter(12), outside: true };
    const form = 'form[action$="/book"]';
    await pressed(page, { path: () => '/book/new', form, fill: fields({ ...typed, short_name: 'Larch M.', at: '21:00' }) });
    const other = await (await house.as('owner')).newPage();
    await other.goto(`${house.address}/book/new`);
    await fields({ ...typed, short_name: 'Maple N.', at: '21:00' })(other, form);
    await Promise.all([other.waitForURL(/told=booked/), other.click(`${form} .go`)]);
    await other.close();
    proxy.blocked = null;
    await page.goto(`${proxy.address}/rooms`);
    await (await saidCameBack(page)).click();
    await page.waitForFunction(() => document.querySelector('[name=short_name]')?.value === 'Larch M.', undefined, { polling: 200 });
    const why = await page.textContent(`${form} [data-outbox-state] [data-kept=near]`);
    assert.match(why, /That time overlaps with Ines’s 21:00/);
    await page.fill('[name=at]', '05:00');
    await Promise.all([page.waitForURL(/told=booked/), page.click(`${form} .go`)]);
    assert.deepEqual(await states(page), []);
    const diary = await read('desk', `/book?day=${dayAfter(12)}`);
    for (const who of ['Larch M.', 'Maple N.']) assert.ok(diary.includes(who), who);
  });

  test('a step of the aftercare that somebody else has gone on with is not done twice', async () => {
    const page = pages.artist;
    const form = 'form[action$="/step"]';
    const step = await read('artist', hers.card);
    const deed = /name="deed" value="(\w+)"/.exec(step)[1];
    await pressed(page, { path: () => hers.card, form, press: '.act' });
    const other = await (await house.as('artist')).newPage();
    await other.goto(house.address + hers.card);
    await Promise.all([other.waitForEvent('load'), other.click(`${form} .act`)]);
    await other.close();
    const after = await read('artist', hers.card);
    await isBack(page);
    await page.waitForSelector('[data-outbox-line] [data-kept=near]:not([hidden])', { timeout: 60_000 });
    assert.ok(['begin', 'done'].includes(deed));
    const times = (html) => [...html.matchAll(/wait until|the time is over|done \d/g)].length;
    assert.equal(times(await read('artist', hers.card)), times(after));
    await page.goto(proxy.address + hers.card);
    await page.getByText('Somebody else went on with this step').first().waitFor();
    await Promise.all([page.waitForNavigation(), page.locator('main .note button, [data-outbox-drop]:not([hidden])').first().click()]);
    await inHand(page, '[data-outbox-line]');
    assert.ok(!(await page.textContent('main')).includes('Somebody else went on with this step'));
    assert.deepEqual(await states(page), []);
  });

  test('two buttons of one page that share its key wait as two entries', async () => {
    const page = pages.desk;
    const path = '/book/waiting';
    await page.goto(proxy.address + path);
    await forget(page);
    for (const who of ['Oak P.', 'Pine R.']) {
      await page.goto(proxy.address + path);
      await fields({ short_name: who, service: 1 })(page, 'form[action$="/book/waiting"]');
      await Promise.all([page.waitForEvent('load'), page.click('form[action$="/book/waiting"] .go')]);
    }
    const waiting = links('desk', path, /waiting\/[0-9a-f-]{36}\/done/g);
    const there = await waiting();
    await page.goto(proxy.address + path);
    await inHand(page, 'form[action$="/done"]');
    proxy.blocked = /./;
    for (const at of [0, 1]) {
      await page.locator('form[action$="/done"] .act:not([data-outbox-drop])').nth(at).click();
      await page.locator('form[action$="/done"]').nth(at).locator('[data-kept=waiting]:not([hidden])', { hasText: 'kept on this device' }).waitFor();
    }
    assert.equal((await entries(page)).length, 2);
    await isBack(page);
    await allArrived(page);
    await standAs(page, []);
    await page.waitForFunction(() => !document.querySelector('[data-outbox-line] [data-kept=waiting]:not([hidden])'), undefined, { polling: 200 });
    assert.equal(await waiting(), there - 2);
  });
});
