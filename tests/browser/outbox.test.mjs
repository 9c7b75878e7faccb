// What the outbox takes for saved, and what it says of an entry that waits: only the house's own word counts, and no network, a
// sign-in that ended and a house that asks to wait are told apart.
import assert from 'node:assert/strict';
import { after, before, beforeEach, afterEach, describe, test } from 'node:test';
import { anArtist } from './hands.mjs';
import { openHouse, signIn } from './house.mjs';
import { inHand, saidSaved, saysItWaits } from './stored.mjs';

const PADS = ['picked', 'touches', 'still'];
const KEEP = 'form[data-timing] [type=submit]';
const SAVED = '[data-outbox-line] [data-kept=saved]:not([hidden])';
const WAITING = '[data-outbox-line] [data-kept=waiting]:not([hidden])';

describe('the outbox', () => {
  let house;
  let artist;
  let context;
  let page;

  before(async () => {
    house = await openHouse();
    artist = await anArtist(house);
  });
  after(() => house?.close());

  // A sign-in of its own for each: what one leaves waiting is not sent by the next.
  beforeEach(async () => {
    context = await house.stranger();
    page = await context.newPage();
    await signIn(page, house.address, house.signIns.artist);
    await page.goto(`${house.address}${artist}/timing`);
    await inHand(page, 'form[data-timing]');
    await page.waitForSelector('.pads');
    for (const pad of PADS) {
      await page.locator(`[data-pad=${pad}]`).dispatchEvent('pointerdown', { button: 0 });
      await page.waitForTimeout(60);
    }
  });
  afterEach(() => context.close());

  /** Answers what the outbox sends in the house's place. */
  const answer = (with_) =>
    page.route('**/timing', (route) => (route.request().method() === 'POST' ? route.fulfill(with_) : route.continue()));
  const state = () => saysItWaits(page, 'form[data-timing]');
  const line = () => page.textContent(WAITING);
  const sittings = async () => {
    const other = await context.newPage();
    await other.goto(`${house.address}${artist}`);
    const count = await other.locator('#sessions h3 a, h3 a[href*="/sessions/"]').count();
    await other.close();
    return count;
  };

  test('a page that is well and is not the house is no confirmation', async () => {
    const there = await sittings();
    await answer({ status: 200, contentType: 'text/html', body: '<!doctype html><title>Guest network</title><p>Welcome. Accept the terms.</p>' });
    await page.click(KEEP);
    assert.match(await state(), /Another page answered in the house’s place/);
    assert.match(await line(), /not known yet; asking again/);
    assert.equal(await page.locator(SAVED).count(), 0);
    // The network lets it through: the entry is still there and arrives, once.
    await page.unroute('**/timing');
    await page.reload();
    await saidSaved(page);
    assert.equal(await sittings(), there + 1);
  });

  test('a redirect to somebody else’s page is no confirmation either', async () => {
    const there = await sittings();
    await page.route('**/elsewhere', (route) => route.fulfill({ status: 200, contentType: 'text/html', body: '<p>Sign in to the proxy</p>' }));
    await answer({ status: 303, headers: { location: `${house.address}/elsewhere` }, body: '' });
    await page.click(KEEP);
    await state();
    assert.equal(await page.locator(SAVED).count(), 0);
    assert.equal(await sittings(), there, 'nothing has arrived, and nothing says so');
  });

  test('a sign-in that ended is told as that, with the way back, and the entry is sent after it', async () => {
    const there = await sittings();
    await answer({ status: 401, contentType: 'text/html', body: '<p>Sign in first</p>' });
    await page.click(KEEP);
    assert.match(await state(), /You are signed out\. Your entry is kept on this device: sign in again/);
    assert.doesNotMatch(await state(), /network/);
    const back = page.locator(`${WAITING} a`);
    assert.match(await back.textContent(), /1 waiting: sign in again/);
    const to = new URL(await back.getAttribute('href'), house.address);
    assert.equal(to.pathname, '/sign-in');
    assert.equal(to.searchParams.get('next'), `${artist}/timing`);
    await page.unroute('**/timing');
    await page.goto(`${house.address}${to.searchParams.get('next')}`);
    await saidSaved(page);
    assert.equal(await sittings(), there + 1);
  });

  test('a house that asks to wait is waited for, and no network is blamed', async () => {
    const there = await sittings();
    const asked = [];
    await page.route('**/timing', (route) => {
      if (route.request().method() !== 'POST') return route.continue();
      asked.push(Date.now());
      return asked.length === 1 ? route.fulfill({ status: 429, headers: { 'retry-after': '5' }, body: 'wait' }) : route.continue();
    });
    await page.click(KEEP);
    assert.match(await state(), /asked to wait/);
    assert.doesNotMatch(await state(), /network/);
    assert.match(await line(), /1 waiting: asked to wait a moment/);
    await saidSaved(page);
    assert.equal(asked.length, 2);
    assert.ok(asked[1] - asked[0] >= 5_000, 'it is not asked before the time');
    assert.equal(await sittings(), there + 1);
  });

  test('what the house keeps is saved, and the page that shows it is opened', async () => {
    await Promise.all([page.waitForURL(/told=kept/), page.click(KEEP)]);
    assert.match(await page.textContent('body'), /saved \d\d:\d\d/);
  });

  test('a button pressed before the page has looked at what it keeps does not go past it', async () => {
    // A tablet whose disk takes its time: what an older version kept here is still being asked for.
    await page.addInitScript(() => {
      const { open } = IDBFactory.prototype;
      IDBFactory.prototype.open = function slow(name, ...more) {
        return name.startsWith('stillroom.outbox:') ? {} : open.call(this, name, ...more);
      };
    });
    await page.route('**/timing/typed', (route) => (route.request().method() === 'POST' ? route.abort() : route.continue()));
    await page.goto(`${house.address}${artist}/timing/typed`);
    await page.fill('[name=travel1]', '0.4');
    await page.fill('[name=settle1]', '0.5');
    await page.click('form[data-outbox] .go');
    await page.waitForSelector(WAITING);
    assert.match(await line(), /not known yet; asking again/);
  });
});
