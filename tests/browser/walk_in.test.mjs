// Somebody walks in: from the desk list to a test that is placed and a visit that is booked, in taps counted by the pages themselves.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { add } from './clients.mjs';
import { listenForTrouble, openHouse } from './house.mjs';
import { until } from './until.mjs';

const MOST = 5;

describe('a walk-in', () => {
  let house;

  before(async () => {
    house = await openHouse();
    const page = await (await house.as('desk')).newPage();
    await add(page, house, { name: 'Petronel Quist', born_day: '4', born_month: '6', born_year: '1988' });
    await add(page, house, { name: 'Petronel Quarles', born_day: '5', born_month: '9', born_year: '1971' });
    await page.close();
  });
  after(() => house?.close());

  /** Taps counted by the page itself, wherever it leads; the one after five is refused. */
  async function taps(page) {
    let counted = 0;
    await page.exposeFunction('countTap', () => (counted += 1));
    const listen = () => addEventListener('pointerdown', (event) => event.isTrusted && window.countTap(), true);
    await page.addInitScript(listen);
    await page.evaluate(listen);
    const tap = async (place) => {
      if (counted >= MOST) throw new Error(`tap ${counted + 1}, where ${MOST} must do`);
      const before = counted;
      await place.first().tap();
      // The page tells of a tap a moment later.
      await until('the page tells of the tap', async () => counted > before);
    };
    return {
      counted: () => counted,
      tap,
      follow: async (place) => void (await Promise.all([page.waitForEvent('load'), tap(place)])),
    };
  }

  test('is tested and booked in five taps from the desk list, and a sixth would be one too many', async () => {
    const context = await house.as('desk', { viewport: { width: 800, height: 1280 }, hasTouch: true });
    const page = await context.newPage();
    const trouble = listenForTrouble(page);
    await page.goto(`${house.address}/door/not-cleared`);
    const before = await page.locator('#expected li').count();
    const { tap, follow, counted } = await taps(page);
    const main = page.locator('main');
    await follow(main.getByRole('link', { name: 'Somebody walks in' }));
    // The field waits for her name: no tap goes into it.
    await page.locator('[name=q]:focus').waitFor();
    await page.keyboard.type('petronel');
    await follow(main.getByRole('button', { name: 'Find her' }));
    await follow(main.getByRole('link', { name: 'Petronel Quist' }));
    // When she can come at the earliest stands there already.
    assert.match(await page.inputValue('[name=at]'), /^\d{4}-\d\d-\d\dT\d\d:(00|15|30|45)$/);
    assert.equal(await page.locator('[name=bottle]:checked').count(), 0, 'which bottle is said, not taken over');
    await tap(page.locator('label.choice:has([name=bottle])'));
    await page.locator('[name=bottle]:checked').waitFor({ state: 'attached' });
    await follow(main.getByRole('button', { name: /^By the house’s rule: .+ Placed now; expect her$/ }));
    assert.equal(new URL(page.url()).pathname, '/door/not-cleared');
    assert.ok(counted() >= 4 && counted() <= MOST, `${counted()} taps`);
    assert.equal(await page.locator('#expected li').count(), before + 1);
    assert.match(await page.textContent('#expected'), /Petronel Q\./);
    assert.match(await page.textContent('#desk'), /Petronel Q\./, 'she is expected and not cleared yet');
    // A sixth would be one too many, and the count says so.
    for (let left = counted(); left < MOST; left += 1) await tap(page.locator('h1'));
    await assert.rejects(tap(page.locator('h1')), /tap 6, where 5 must do/);
    assert.deepEqual(trouble, []);
  });
});
