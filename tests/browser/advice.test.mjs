// Advice in the browser: two taps from the sign-in, counted there, a map whose words do not lie over each other on a phone, and a warning that
// comes to an open day sheet by itself.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { ask, listenForTrouble, openHouse, signIn } from './house.mjs';
import { until } from './until.mjs';

const PHONE = { width: 390, height: 844 };

describe('advice', () => {
  let house;

  before(async () => {
    house = await openHouse();
  });
  after(() => house?.close());

  /** A page of a person of this role, at this path. */
  async function pageOf(role, path, size = { width: 800, height: 1280 }) {
    const page = await (await house.as(role)).newPage();
    await page.setViewportSize(size);
    await page.goto(house.address + path);
    return page;
  }

  /** The first advice of this artist with a map on it: where a bottle stands and seconds may be seen. */
  async function adviceWithMap(size) {
    const page = await pageOf('owner', '/', size);
    const paths = await page.$$eval('.board .cell', (cells) => cells.map((cell) => cell.getAttribute('href')));
    for (const path of paths) {
      await page.goto(house.address + path);
      if (await page.locator('#band svg.map').count()) return page;
    }
    throw new Error(`no advice of the invented studio has a map: ${paths.length} cells`);
  }

  /** Taps counted by the page itself, wherever it leads; the one after `most` is refused. */
  async function taps(page, most) {
    let counted = 0;
    await page.exposeFunction('countTap', () => (counted += 1));
    const listen = () => addEventListener('pointerdown', (event) => event.isTrusted && window.countTap(), true);
    await page.addInitScript(listen);
    await page.evaluate(listen);
    return {
      counted: () => counted,
      tap: async (place) => {
        if (counted >= most) throw new Error(`tap ${counted + 1}, where ${most} must do`);
        const before = counted;
        await Promise.all([page.waitForEvent('load'), page.locator(place).first().click()]);
        // The page tells of a tap a moment later.
        await until('the page tells of the tap', async () => counted > before);
      },
    };
  }

  test('an artist is at her advice two taps after the sign-in, and a third would be one too many', async () => {
    const context = await house.stranger();
    const page = await context.newPage();
    const trouble = listenForTrouble(page);
    const her = house.signIns.artist;
    await signIn(page, house.address, her);
    await page.waitForLoadState('load');
    const { tap, counted } = await taps(page, 2);
    const onAdvice = () => /^\/rooms\/[0-9a-f-]{36}\/advice$/.test(new URL(page.url()).pathname);
    // Whatever the first page offers as its own act is what she follows.
    while (!onAdvice()) await tap('main a.go[href*="/advice"], main a.act[href*="/advice"]');
    assert.ok(counted() >= 1 && counted() <= 2, `${counted()} taps`);
    // It is hers, in her technique, with a sentence.
    assert.match(await page.textContent('h1'), new RegExp(`^\\s*${her.name.split(' ')[0]} in .+, now`));
    assert.match(await page.textContent('#advice .lead'), /\S/);
    // One more changes one thing; the next is refused by the count.
    if (counted() < 2) await tap('.picks a:not([aria-current])');
    assert.equal(counted(), 2);
    await assert.rejects(tap('.picks a'), /tap 3, where 2 must do/);
    assert.deepEqual(trouble, []);
    await context.close();
  });

  test('one tap changes one thing and keeps the rest', async () => {
    const page = await adviceWithMap();
    const artist = new URL(page.url()).searchParams.get('artist');
    await Promise.all([page.waitForNavigation(), page.locator('.pick a', { hasText: /^full$/ }).click()]);
    const asked = new URL(page.url()).searchParams;
    assert.equal(asked.get('bead'), 'full');
    assert.equal(asked.get('artist'), artist);
    await Promise.all([page.waitForNavigation(), page.locator('.pick a', { hasText: /^cleanser$/ }).click()]);
    const both = new URL(page.url()).searchParams;
    assert.deepEqual([both.get('bead'), both.get('liquids')], ['full', 'cleanser']);
    await page.close();
  });

  test('on a phone the words of the map are large enough and none lies over another', async () => {
    const page = await adviceWithMap(PHONE);
    const words = await page.$$eval('#band svg.map text', (texts) =>
      texts.map((text) => {
        const { left, right, top, bottom } = text.getBoundingClientRect();
        const scale = text.getScreenCTM().a;
        return { said: text.textContent, left, right, top, bottom, size: parseFloat(getComputedStyle(text).fontSize) * scale };
      }),
    );
    assert.ok(words.length >= 12, `only ${words.length} words`);
    const small = words.filter((word) => word.size < 12).map((word) => `${word.said}: ${word.size.toFixed(1)} px`);
    assert.deepEqual(small, []);
    const outside = words.filter((word) => word.left < 0 || word.right > PHONE.width).map((word) => word.said);
    assert.deepEqual(outside, []);
    const over = [];
    for (const [at, a] of words.entries()) {
      for (const b of words.slice(at + 1)) {
        // Boxes of text reach above and below its letters; a pixel of that is no overlap.
        const apart = a.right <= b.left || b.right <= a.left || a.bottom - 1 <= b.top || b.bottom - 1 <= a.top;
        if (!apart) over.push(`${a.said} / ${b.said}`);
      }
    }
    assert.deepEqual(over, []);
    await page.close();
  });

  test('the forecasts show their columns, nothing of their list is hidden, and each mark stands beside its word, on a tablet held upright and on a phone', async () => {
    for (const size of [{ width: 800, height: 1280 }, { width: 412, height: 915 }, { width: 320, height: 700 }]) {
      const page = await pageOf('owner', '/office/forecast', size);
      const [rows, hidden] = await page.$eval('ul[aria-label^="Measured set times"]', (list) => [
        list.querySelectorAll('li').length,
        Math.max(...[list, ...list.querySelectorAll('*')].map((part) => part.getBoundingClientRect().right)) - document.documentElement.clientWidth,
      ]);
      assert.ok(rows > 0, 'the invented studio has forecasts');
      assert.ok(hidden <= 0, `${hidden} px of it lie outside at ${size.width} px`);
      const torn = await page.$$eval('ul[aria-label^="Measured set times"] .status', (all) => all.filter((status) => {
        const mark = status.querySelector('.mark').getBoundingClientRect();
        const beside = document.createRange();
        beside.selectNodeContents(status.querySelector('.whole'));
        return [...beside.getClientRects()].some((line) => line.top >= mark.bottom || line.bottom <= mark.top);
      }).map((status) => status.textContent));
      assert.deepEqual(torn, [], `at ${size.width} px`);
      const columns = await page.$eval('.chart svg path.device', (path) => path.getBoundingClientRect().height);
      assert.ok(columns > 20, `the columns above it are ${columns} px high at ${size.width} px`);
      await page.close();
    }
  });

  test('news of the air reaches an open day sheet without a reload', async () => {
    const page = await pageOf('owner', '/');
    await page.evaluate(() => (window.stayed = true));
    const room = await page.locator('#rooms-air h3 a').first().getAttribute('href');
    const before = await page.textContent('#today-live');
    // Somebody else enters a reading, in another browser.
    const context = await house.as('artist');
    const form = await (await ask(context, house.address, `${room}/readings/new`)).text();
    const hidden = (name) => form.match(new RegExp(`name="${name}" value="([^"]*)"`))[1];
    const answer = await ask(context, house.address, `${room}/readings`, {
      form: { csrf: hidden('csrf'), form_key: hidden('form_key'), temperature: '22.6', humidity: '41', do: 'keep' },
      redirect: 'manual',
    });
    assert.equal(answer.status, 303);
    await page.waitForFunction((was) => document.querySelector('#today-live')?.textContent !== was, before, { timeout: 60_000, polling: 200 });
    assert.equal(await page.evaluate(() => window.stayed), true, 'the page was loaded anew');
    await page.close();
  });
});
