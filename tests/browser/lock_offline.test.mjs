// A shared tablet that is locked while the network is away: New drop is kept and sent once, and the house hears of the lock before
// anything else.
import assert from 'node:assert/strict';
import { after, afterEach, before, beforeEach, describe, test } from 'node:test';
import { anOpenCard } from './cards.mjs';
import { ask, openHouse, signIn } from './house.mjs';
import { startProxy, tellOnline } from './proxy.mjs';
import { entries } from './stored.mjs';
import { until } from './until.mjs';

const DIGITS = '739158';
const BROWSER = { locale: 'en-GB', timezoneId: 'Europe/Lisbon', viewport: { width: 800, height: 1280 }, hasTouch: true, reducedMotion: 'reduce' };
const SAID = '[data-lock-said]';

describe('a shared tablet locked without network', () => {
  let house;
  let path;
  let proxy;
  let context;
  let page;

  before(async () => {
    house = await openHouse();
    const own = await (await house.as('artist')).newPage();
    await own.goto(`${house.address}/office/code`);
    await own.fill('[name=passphrase]', DIGITS);
    await own.fill('[name=again]', DIGITS);
    await own.click('main form button.go');
    await own.getByText('you have digits').waitFor();
    await own.close();
    path = await anOpenCard(house);
  });
  after(() => house?.close());

  beforeEach(async () => {
    proxy = await startProxy(house.address);
    context = await house.browser.newContext(BROWSER);
    page = await context.newPage();
    await signIn(page, proxy.address, house.signIns.owner);
    await page.goto(`${proxy.address}/office/tablets`);
    await page.fill('[name=name]', `Tablet ${Date.now()}`);
    await Promise.all([page.waitForNavigation(), page.click('main form button.go')]);
    await page.getByText('this device', { exact: true }).first().waitFor();
    await lock();
    await page.getByRole('link', { name: house.signIns.artist.name }).tap();
    await page.locator('[data-code-keys]').waitFor();
    for (const digit of DIGITS) await page.locator(`[data-digit="${digit}"]`).tap();
    await page.waitForURL((url) => !url.pathname.startsWith('/tablet'));
    await page.goto(proxy.address + path);
    await page.waitForFunction(() => localStorage.getItem('stillroom.running') !== null, undefined, { polling: 200 });
    await page.evaluate(() => navigator.serviceWorker.ready.then(() => {}));
  });
  afterEach(async () => {
    await context.close();
    await proxy.close();
  });

  const lock = () => Promise.all([page.waitForURL(/\/tablet\?/), page.getByRole('button', { name: 'Lock' }).click()]);

  /** How many drops the house has of the card. */
  async function drops() {
    const text = await (await ask(await house.as('artist'), house.address, path)).text();
    return Number(/Drop (\d+)/.exec(text)[1]);
  }

  /** Until the running drop is old enough for another press to count. */
  const settled = () =>
    page.waitForFunction(() => {
      const [minutes, seconds] = (document.querySelector('[data-running-time]')?.textContent ?? '').split(':').map(Number);
      return minutes * 60 + seconds >= 6;
    }, undefined, { polling: 200 });

  /** Until nothing waits on the tablet any more; its page may be loaded anew meanwhile. */
  const arrived = () => until('nothing waits on the tablet', () => entries(page), (held) => held.length === 0);

  /** Until the tablet says that it keeps a drop. */
  const saysItKeeps = () => page.waitForFunction((said) => /kept on this tablet/.test(document.querySelector(said)?.textContent), SAID, { polling: 200 });

  /** How long the running drop has been taken, as the lock shows it, s. */
  async function shownAge() {
    const [, minutes, seconds] = /^(\d+):(\d\d)$/.exec(await page.textContent('[data-running-time]'));
    return Number(minutes) * 60 + Number(seconds);
  }

  test('a new drop is kept, shown as waiting, and one drop once the network is back', async () => {
    const was = await drops();
    await lock();
    await page.locator('[data-new-drop] button').waitFor();
    await settled();
    proxy.down = true;
    const pressed = Date.now();
    await page.locator('[data-new-drop] button').tap();
    // A second finger is the same press, for five seconds.
    await page.locator('[data-new-drop] button').tap();
    await page.keyboard.press('Enter');
    await saysItKeeps();
    await page.waitForTimeout(500);
    const held = await entries(page);
    assert.equal(held.length, 1);
    assert.ok(['waiting', 'asked'].includes(held[0].state), held[0].state);
    assert.equal(held[0].kind, 'new drop');
    assert.ok(held[0].at >= pressed && held[0].at <= Date.now(), `pressed at ${held[0].at}, from ${pressed} on`);
    assert.ok(!JSON.stringify(held).includes(path.split('/').at(-1)), 'the card is sealed');
    assert.match(await page.textContent('[data-lock-list]'), /\d\d:\d\d\s*new drop: (waiting|not known yet; asking again)/);
    assert.ok((await shownAge()) <= (Date.now() - pressed) / 1_000, 'the time began anew');
    assert.equal(await drops(), was);
    proxy.down = false;
    await tellOnline(page);
    await arrived();
    assert.equal(await drops(), was + 1);
    await page.locator('[data-new-drop] button').waitFor();
  });

  test('an answer that was lost makes no second drop', async () => {
    const was = await drops();
    await lock();
    await page.locator('[data-new-drop] button').waitFor();
    await settled();
    proxy.cut = { before: 0, after: 1, stalls: 5, roll: () => 0.5 };
    await page.locator('[data-new-drop] button').tap();
    await saysItKeeps();
    assert.equal(await until('the house has it', drops, (there) => there !== was), was + 1);
    assert.equal((await entries(page)).length, 1, 'the tablet does not know yet');
    proxy.cut = null;
    await tellOnline(page);
    await arrived();
    assert.equal(await drops(), was + 1);
  });

  /** The lock may just be loading itself anew, with what it has sent. */
  const goTo = (address) => page.goto(address).catch(() => page.goto(address));

  test('locked while the network is away it offers a new drop, and is locked for the house as soon as that is back', async () => {
    const was = await drops();
    await settledOnCard();
    proxy.down = true;
    await lock();
    await page.getByRole('heading', { level: 1, name: 'No network' }).waitFor();
    assert.ok(!(await page.content()).includes(house.signIns.artist.name), 'it names nobody');
    const button = page.locator('[data-new-drop] button');
    await button.waitFor();
    assert.ok((await button.boundingBox()).height >= 56);
    await button.tap();
    await saysItKeeps();
    assert.equal((await entries(page)).length, 1);
    const told = [];
    page.on('request', (asked) => asked.method() === 'POST' && told.push(new URL(asked.url()).pathname));
    proxy.down = false;
    await page.locator('[data-lock-sends]').waitFor({ state: 'attached' });
    await arrived();
    assert.equal(await drops(), was + 1);
    assert.deepEqual(told.slice(0, 2), ['/tablet/lock', '/tablet/drop'], 'the lock first');
    await goTo(proxy.address + path);
    assert.match(page.url(), /\/sign-in\?/);
  });

  test('no page of hers is shown before the house was told of the lock', async () => {
    await page.goto(`${proxy.address}/shelf`);
    proxy.down = true;
    await lock();
    await page.getByRole('heading', { level: 1, name: 'No network' }).waitFor();
    proxy.down = false;
    await page.goto(`${proxy.address}/shelf`, { waitUntil: 'commit' }).catch(() => {});
    await page.locator('[data-lock-sends]').waitFor({ state: 'attached' });
    assert.match(page.url(), /\/tablet\?/);
    assert.equal(await page.locator('header .person').count(), 0);
    await page.waitForFunction(() => localStorage.getItem('stillroom.lock') === null, undefined, { polling: 200 });
    await goTo(`${proxy.address}/shelf`);
    assert.match(page.url(), /\/sign-in\?/);
  });

  // The last one: it closes the card.
  test('a drop whose card was closed elsewhere meanwhile is added to it as a correction', async () => {
    await lock();
    await page.locator('[data-new-drop] button').waitFor();
    await settled();
    proxy.down = true;
    await page.locator('[data-new-drop] button').tap();
    await saysItKeeps();
    const other = await (await house.as('artist')).newPage();
    await other.goto(`${house.address}${path}/close`);
    await other.check('[name=aftercare][value=shown]');
    for (const field of await other.locator('main form input[inputmode=numeric]').all()) await field.fill('10');
    await Promise.all([other.waitForURL(/told=closed/), other.click('main form .go')]);
    proxy.down = false;
    await tellOnline(page);
    await arrived();
    await other.goto(`${house.address}${path}/record`);
    const record = await other.textContent('main');
    assert.match(record, /Version 1, until .*A new drop of \d\d:\d\d arrived after the card was closed\./);
    assert.match(record, /closed .*, version 2/);
    await other.close();
  });

  /** The same on the card's own page. */
  const settledOnCard = () =>
    page.waitForFunction(() => {
      const [minutes, seconds] = (document.querySelector('[data-since]')?.textContent ?? '').split(':').map(Number);
      return minutes * 60 + seconds >= 6;
    }, undefined, { polling: 200 });
});
