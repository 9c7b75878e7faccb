// The diary in a real browser: booked and moved with the keyboard alone and by touch, readable on a phone, without scripts too.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { anAppointment, onBusyDay } from './book.mjs';
import { openHouse } from './house.mjs';

describe('the book', () => {
  let house;
  let day;

  before(async () => {
    house = await openHouse();
    day = await onBusyDay(house);
  });
  after(() => house?.close());

  async function open(role, path, options = {}) {
    const page = await (await house.as(role, options)).newPage();
    await page.goto(house.address + path);
    return page;
  }

  test('arrow keys go from cell to cell and Enter opens the form with time and artist filled in', async () => {
    const page = await open('artist', day);
    const free = page.locator('.diary .plus').first();
    await free.focus();
    const label = await free.getAttribute('aria-label');
    await page.keyboard.press('ArrowDown');
    const below = await page.evaluate(() => document.activeElement.matches('.diary tbody a'));
    assert.ok(below, 'the focus stays in the table');
    await page.keyboard.press('ArrowUp');
    assert.equal(await page.evaluate(() => document.activeElement.getAttribute('aria-label')), label);
    await page.keyboard.press('Enter');
    await page.waitForURL(/\/book\/new\?/);
    assert.match(label, new RegExp(await page.inputValue('[name=at]')));
    assert.notEqual(await page.inputValue('[name=artist]'), '');
    await page.close();
  });

  for (const javaScriptEnabled of [true, false]) {
    test(`a free half hour is booked in four taps and typing ${javaScriptEnabled ? 'with' : 'without'} scripts`, async () => {
      const page = await open('desk', '/book/free', { javaScriptEnabled });
      await page.selectOption('[name=service]', { label: 'Correction' });
      await page.click('main form .go');
      await page.waitForLoadState();
      await page.locator('.rows .act').last().click();
      await page.waitForLoadState();
      await page.fill('[name=short_name]', 'Kaja L.');
      await page.click('main form .go');
      await page.waitForURL(/\/book\/[0-9a-f-]{36}\?told=booked$/);
      assert.match(await page.textContent('main'), /It is booked\./);
      // Moved with the keyboard: the same form, another time.
      await page.click('text=Look for another time');
      await page.waitForLoadState();
      await page.locator('.rows .act').first().click();
      await page.waitForURL(/\/move\?/);
      await page.locator('main form .go').focus();
      await page.keyboard.press('Enter');
      await page.waitForURL(/told=moved$/);
      await page.close();
    });
  }

  test('on a phone of 320 px one artist’s day fits, every half hour as high as a finger', async () => {
    const page = await open('artist', day);
    await page.setViewportSize({ width: 320, height: 640 });
    const alone = await page.locator('.whose a').nth(1).getAttribute('href');
    await page.goto(house.address + alone);
    const measured = await page.evaluate(() => ({
      page: document.documentElement.scrollWidth,
      table: document.querySelector('.diary').getBoundingClientRect().right,
      rows: [...document.querySelectorAll('.diary tbody tr')].map((row) => row.getBoundingClientRect().height),
    }));
    assert.ok(measured.page <= 320 && measured.table <= 320, JSON.stringify(measured));
    assert.ok(Math.min(...measured.rows) >= 44, JSON.stringify(measured));
    await page.close();
  });

  test('an appointment can be found, opened and called off by touch in three taps', async () => {
    const path = await anAppointment(house);
    const page = await open('artist', day, { hasTouch: true });
    await page.locator(`.diary a[href$="${path}"]`).tap();
    await page.waitForURL(new RegExp(`${path}$`));
    await page.locator('[action$="/cancel"] button').tap();
    await page.waitForURL(/told=cancelled$/);
    await page.locator('[action$="/restore"] button').tap();
    await page.waitForURL(/told=restored$/);
    await page.close();
  });
});
