// Treatment cards in a real browser: taps counted, a drop by one key, a page that keeps up, and the lock of a shared tablet while a card is
// open on it.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { anOpenCard, openFromForm, toOpenABookedCard, toOpenACard } from './cards.mjs';
import { listenForTrouble, openHouse, signIn } from './house.mjs';
import { inHand } from './stored.mjs';
import { until } from './until.mjs';

const TABLET = { width: 800, height: 1280 };
const DIGITS = '739158';

describe('treatment cards', () => {
  let house;

  before(async () => {
    house = await openHouse();
  });
  after(() => house?.close());

  /** A page of the artist who signs in. */
  async function hers(path) {
    const page = await (await house.as('artist')).newPage();
    await page.setViewportSize(TABLET);
    await page.goto(house.address + path);
    return page;
  }

  /** Taps counted by the page itself, wherever it leads; the one after `most` is refused. */
  async function taps(page, most) {
    let counted = 0;
    await page.exposeFunction('countTap', () => (counted += 1));
    const listen = () => addEventListener('pointerdown', (event) => event.isTrusted && window.countTap(), true);
    await page.addInitScript(listen);
    await page.evaluate(listen);
    const click = async (place) => {
      if (counted >= most) throw new Error(`tap ${counted + 1}, where ${most} must do`);
      const before = counted;
      await page.locator(place).first().click();
      // The page tells of a tap a moment later.
      await until('the page tells of the tap', async () => counted > before);
    };
    return {
      counted: () => counted,
      tap: click,
      follow: async (place) => void (await Promise.all([page.waitForEvent('load'), click(place)])),
    };
  }

  const onForm = (page) => /^\/cards\/of\/[0-9a-f-]{36}$/.test(new URL(page.url()).pathname);
  const onCard = (page) => /^\/cards\/[0-9a-f-]{36}$/.test(new URL(page.url()).pathname);
  const totals = (page) => page.$$eval('#card-totals dd b', (all) => all.map((one) => Number(one.textContent)));

  test('today’s client is two taps from the sign-in at most, before her card is opened and after', async () => {
    await toOpenABookedCard(house);
    const context = await house.stranger();
    const page = await context.newPage();
    await page.setViewportSize(TABLET);
    const trouble = listenForTrouble(page);
    await signIn(page, house.address, house.signIns.artist);
    await page.waitForLoadState('load');
    const { follow, counted } = await taps(page, 2);
    await follow('main a.act[href*="/cards/of/"]:has-text("20:00 Agda W.")');
    assert.ok(onForm(page), page.url());
    assert.match(await page.textContent('h1'), /Agda W\./);
    assert.equal(counted(), 1);
    assert.deepEqual(trouble, []);
    await context.close();

    const again = await house.stranger();
    const next = await again.newPage();
    await signIn(next, house.address, house.signIns.artist);
    await next.goto(house.address + (await toOpenABookedCard(house)));
    await openFromForm(next);
    await next.goto(`${house.address}/`);
    const second = await taps(next, 2);
    await second.follow('main a.act:has-text("Go on with the card: Agda W.")');
    assert.ok(onCard(next), next.url());
    assert.equal(second.counted(), 1);
    // A third would be one too many, and the count says so.
    await second.follow('header a:has-text("First aid")');
    await assert.rejects(second.tap('main'), /tap 3, where 2 must do/);
    await again.close();
  });

  test('the numbers of a set are logged with six taps on large keys', async () => {
    const page = await hers(await anOpenCard(house));
    const before = await totals(page);
    const { tap, follow, counted } = await taps(page, 6);
    const key = (digit) => `.pad button[name=key][value="${digit}"]`;
    await tap(key(9));
    await tap(key(2));
    await tap('.tally .typed:nth-child(2) input');
    await tap(key(8));
    await tap(key(7));
    await follow('.pad .keep');
    assert.equal(counted(), 6);
    const grown = (await totals(page)).map((total, at) => total - before[at]);
    assert.deepEqual(grown.slice(0, 2), [92, 87]);
    const keys = await page.$$eval('.pad button[name=key]', (all) => all.map((one) => one.getBoundingClientRect().height));
    assert.ok(Math.min(...keys) >= 104, `${Math.min(...keys)} px`);
    await page.close();
  });

  /** Taps a lash map: the left eye zone by zone, the right one the same. Without scripts each button leads to the house and back. */
  async function drawMap(page, scripts = true) {
    const tap = async (place) => {
      const leads = !scripts && !place.startsWith('label');
      await Promise.all([leads && page.waitForNavigation(), page.locator(place).click()]);
    };
    for (const [zone, length] of [[1, 8], [2, 9], [3, 11]]) {
      await tap(`#zone-left_${zone}`);
      await tap(`label:has([name=length][value="${length}"])`);
      if (zone > 1) continue;
      await tap('label:has([name=curl][value="C"])');
      await tap('label:has([name=diameter][value="0.05"])');
      await tap('label:has([name=fan][value="4"])');
    }
    await page.fill('[name=length_typed]', '11,5');
    await tap('[name=do][value=same]');
  }

  /** What every zone would send, and what its button says. */
  const zonesOf = (page) => page.$$eval('.zone-of', (all) => all.map((zone) => [zone.querySelector('input').name, zone.querySelector('input').value, zone.querySelector('button').textContent.trim().replace(/\s+/g, ' ')]));

  test('a lash map is tapped with scripts and without, to the same map and the same picture', async () => {
    const path = `${await anOpenCard(house)}/map`;
    const drawn = [];
    for (const options of [{}, { javaScriptEnabled: false }]) {
      const page = await (await house.as('artist', options)).newPage();
      await page.setViewportSize(TABLET);
      await page.goto(house.address + path);
      await drawMap(page, options.javaScriptEnabled);
      const strokes = await page.$$eval('.comb [data-of]', (all) => all.map((one) => [one.dataset.of, one.getAttribute('transform'), [...one.classList].sort().join(' ')]));
      drawn.push({ zones: await zonesOf(page), strokes });
      await page.close();
    }
    assert.deepEqual(drawn[0], drawn[1]);
    const byName = Object.fromEntries(drawn[0].zones.map(([name, value]) => [name, value]));
    assert.equal(byName.left_1, '8 C 0.05 4D');
    assert.equal(byName.right_3, '11,5 C 0.05 4D');
    assert.equal(byName.right_1, byName.left_1);
  });

  test('with scripts no tap on the map leaves the page, and each zone is large enough for gloves', async () => {
    const page = await hers(`${await anOpenCard(house)}/map`);
    let left = false;
    page.on('framenavigated', () => {
      left = true;
    });
    await drawMap(page);
    assert.equal(left, false);
    for (const width of [1280, 800, 320]) {
      await page.setViewportSize({ width, height: 800 });
      const sizes = await page.$$eval('.zones button, #chosen .choice', (all) => all.map((one) => one.getBoundingClientRect()).map(({ width, height }) => [width, height]));
      for (const [wide, high] of sizes) assert.ok(high >= 56 && wide >= 44, `${wide} × ${high} at ${width}`);
    }
    await page.close();
  });

  test('the form that opens a card shows what belongs to a removal or to paper only there', async () => {
    for (const options of [{}, { javaScriptEnabled: false }]) {
      const page = await (await house.as('artist', options)).newPage();
      await page.goto(house.address + (await toOpenACard(house)));
      const shown = async () => Promise.all(['bottle', 'remover', 'writer'].map((name) => page.locator(`[name=${name}]`).isVisible()));
      await page.selectOption('[name=kind]', 'full_set');
      assert.deepEqual(await shown(), [true, false, false]);
      await page.selectOption('[name=kind]', 'removal');
      assert.deepEqual(await shown(), [false, true, false]);
      await page.check('[name=paper]');
      assert.deepEqual(await shown(), [false, true, true]);
      await page.selectOption('[name=kind]', 'other_service');
      assert.deepEqual(await shown(), [false, false, true]);
      await page.close();
    }
  });

  test('on a wide screen a card is closed in two columns, read one after the other', async () => {
    const page = await hers(`${await anOpenCard(house)}/close`);
    const columns = () => page.$$eval('.in-two > div', (all) => all.map((one) => one.getBoundingClientRect()).map(({ left, top }) => [left, top]));
    await page.setViewportSize({ width: 1280, height: 800 });
    const [[firstLeft, firstTop], [secondLeft, secondTop]] = await columns();
    assert.ok(secondLeft > firstLeft + 200 && secondTop === firstTop);
    await page.setViewportSize(TABLET);
    const [[left, top], [otherLeft, otherTop]] = await columns();
    assert.ok(otherLeft === left && otherTop > top);
    await page.close();
  });

  test('tomorrow’s sheet prints at once where it was opened for that, and once', async () => {
    const page = await (await house.as('artist')).newPage();
    await page.addInitScript(() => {
      window.printed = 0;
      window.print = () => (window.printed += 1);
    });
    await page.goto(`${house.address}/cards/sheets/tomorrow?print=yes`);
    await page.waitForFunction(() => window.printed === 1, undefined, { polling: 200 });
    await page.waitForURL((url) => url.search === '');
    await page.reload();
    await page.locator('[data-print]').click();
    assert.equal(await page.evaluate(() => window.printed), 1, 'only by its button');
    await page.close();
  });

  test('one key is a new drop while nothing has focus, and a switch that bounces is one drop', async () => {
    const page = await hers(await anOpenCard(house));
    const number = () => page.textContent('#card-time b');
    const old = () => page.waitForFunction(() => Number(document.querySelector('[data-since]')?.textContent.replace(':', '')) >= 6, undefined, { polling: 200 });
    const was = Number((await number()).match(/\d+/)[0]);
    await old();
    await Promise.all([page.waitForEvent('load'), page.keyboard.press('Enter')]);
    assert.equal(await number(), `Drop ${was + 1}`);
    await page.keyboard.press('Enter');
    await page.keyboard.press('PageDown');
    await page.waitForTimeout(700);
    assert.equal(await number(), `Drop ${was + 1}`, 'younger than five seconds it stays');
    await old();
    // In a field the key is the field's.
    await page.locator('.tally input').first().focus();
    await page.keyboard.press('PageDown');
    await page.waitForTimeout(700);
    assert.equal(await number(), `Drop ${was + 1}`);
    await page.evaluate(() => document.activeElement.blur());
    await Promise.all([page.waitForEvent('load'), page.keyboard.press('PageDown')]);
    assert.equal(await number(), `Drop ${was + 2}`);
    // What the lock will show and needs: when it began, which card lay here, and no name.
    const kept = JSON.parse(await page.evaluate(() => localStorage.getItem('stillroom.running')));
    assert.deepEqual(Object.keys(kept).sort(), ['began', 'card', 'lay']);
    assert.ok(Date.now() - kept.began < 20_000);
    assert.ok(await page.locator('[data-awake]').count(), 'the screen is kept awake where the browser can');
    await page.close();
  });

  test('an open card keeps up with what somebody else adds, and what is being typed stays', async () => {
    const path = await anOpenCard(house);
    // A page that has not listened to anything else before.
    const page = await (await house.as('artist')).newPage();
    await page.setViewportSize(TABLET);
    const listening = page.waitForResponse((answer) => new URL(answer.url()).pathname.endsWith('/live'));
    await page.goto(house.address + path);
    assert.equal((await listening).status(), 200, 'this page may listen');
    await page.evaluate(() => (window.stayed = true));
    const first = page.locator('.tally input').first();
    await first.fill('7');
    await first.focus();
    const before = await totals(page);
    // Another tablet: what is half typed on the first one is not known there.
    const other = await (await house.as('artist', { viewport: TABLET, hasTouch: true })).newPage();
    await other.goto(house.address + path);
    await inHand(other, '.tally');
    await other.locator('.tally input').nth(1).fill('5');
    await Promise.all([other.waitForEvent('load'), other.click('.pad .keep')]);
    assert.equal((await totals(other))[1], before[1] + 5, 'it was added');
    await other.close();
    await page.waitForFunction((was) => Number(document.querySelectorAll('#card-totals dd b')[1]?.textContent) === was + 5, before[1], { polling: 200 });
    assert.equal(await page.evaluate(() => window.stayed), true, 'the page was loaded anew');
    assert.equal(await first.inputValue(), '7');
    assert.ok(await page.evaluate(() => document.activeElement === document.querySelector('.tally input')));
    await page.close();
  });

  test('a locked tablet shows the drop’s time without a name, takes a new drop, opens first aid, and nothing else', async () => {
    const own = await hers('/office/code');
    await own.fill('[name=passphrase]', DIGITS);
    await own.fill('[name=again]', DIGITS);
    await own.click('main form button.go');
    await own.getByText('you have digits').waitFor();
    await own.close();
    const context = await house.browser.newContext({ locale: 'en-GB', viewport: TABLET, hasTouch: true, reducedMotion: 'reduce' });
    const page = await context.newPage();
    await signIn(page, house.address, house.signIns.owner);
    await page.goto(`${house.address}/office/tablets`);
    await page.fill('[name=name]', 'Tablet by the window');
    await Promise.all([page.waitForNavigation(), page.click('main form button.go')]);
    await page.getByText('this device', { exact: true }).first().waitFor();
    const lock = () => Promise.all([page.waitForURL(/\/tablet\?/), page.getByRole('button', { name: 'Lock' }).click()]);
    const unlock = async () => {
      await page.getByRole('link', { name: house.signIns.artist.name }).tap();
      await page.locator('[data-code-keys]').waitFor();
      for (const digit of DIGITS) await page.locator(`[data-digit="${digit}"]`).tap();
      await page.waitForURL((url) => !url.pathname.startsWith('/tablet'));
    };
    await lock();
    assert.equal(await page.locator('[data-new-drop]').count(), 0, 'nothing is open on it yet');
    await unlock();
    const path = await anOpenCard(house);
    await page.goto(house.address + path);
    const was = Number((await page.textContent('#card-time b')).match(/\d+/)[0]);
    await lock();
    await page.waitForFunction(() => document.querySelector('[data-running-time]')?.textContent, undefined, { polling: 200 });
    assert.match(await page.textContent('[data-running]'), /Drop since \d\d:\d\d, change by \d\d:\d\d: \d+:\d\d/);
    const said = await page.textContent('body');
    for (const not of ['Agda', 'Winther']) assert.ok(!said.includes(not), `${not} stands on a locked tablet`);
    const target = await page.locator('[data-new-drop] button').boundingBox();
    assert.ok(target.height >= 56, `${target.height} px`);
    // A press within five seconds of a drop is the same drop.
    const age = (text) => text.split(':').reduce((minutes, seconds) => Number(minutes) * 60 + Number(seconds));
    await until('the drop is six seconds old', () => page.textContent('[data-running-time]'), (text) => age(text) >= 6);
    await Promise.all([page.waitForEvent('load'), page.locator('[data-new-drop] button').tap()]);
    assert.match(page.url(), /\/tablet\?/);
    await page.locator('[data-new-drop]').waitFor();
    await page.waitForFunction(() => document.querySelector('[data-running-time]')?.textContent, undefined, { polling: 200 });
    assert.match(await page.textContent('[data-running-time]'), /^0:\d\d$/);
    await Promise.all([page.waitForURL(/\/first-aid$/), page.locator('main').getByRole('link', { name: 'First aid' }).tap()]);
    await page.goto(house.address + path);
    assert.match(page.url(), /\/sign-in\?/, 'the card stays closed to whoever holds the tablet');
    await page.goto(`${house.address}/tablet?next=${encodeURIComponent(path)}`);
    await unlock();
    assert.equal(new URL(page.url()).pathname, path);
    assert.equal(await page.textContent('#card-time b'), `Drop ${was + 1}`);
    await context.close();
  });

  test('closing ends the time that the device keeps, and offers tomorrow’s sheet', async () => {
    const page = await hers(await anOpenCard(house));
    await page.waitForFunction(() => localStorage.getItem('stillroom.running') !== null, undefined, { polling: 200 });
    await page.goto(`${page.url()}/close`);
    assert.ok(await page.locator('figure.scan img').evaluate((image) => image.complete && image.naturalWidth > 0), 'the code is drawn');
    await page.check('[name=aftercare][value=shown]');
    for (const field of await page.locator('main form input[inputmode=numeric]').all()) await field.fill('10');
    await Promise.all([page.waitForURL(/told=closed/), page.click('main form .go')]);
    await page.waitForFunction(() => localStorage.getItem('stillroom.running') === null, undefined, { polling: 200 });
    assert.ok(await page.locator('a[href$="/cards/sheets/tomorrow"]').count());
    await page.close();
  });
});
