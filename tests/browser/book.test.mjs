// The diary in a real browser: booked and moved with the keyboard alone and by touch, readable on a phone, without scripts too.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { anAppointment, dayAfter, onBusyDay, onDayWithRoom } from './book.mjs';
import { openHouse } from './house.mjs';
import { until } from './until.mjs';

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
    const page = await open('artist', await onDayWithRoom(house));
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

  /** The whole label of a choice that begins so. */
  async function labelOf(page, field, begins) {
    const all = await page.locator(`[name=${field}] option`).allTextContents();
    return all.find((label) => label.startsWith(begins));
  }

  for (const javaScriptEnabled of [true, false]) {
    test(`a free half hour is booked in four taps and typing ${javaScriptEnabled ? 'with' : 'without'} scripts`, async () => {
      const page = await open('desk', '/book/free', { javaScriptEnabled });
      await page.selectOption('[name=service]', { label: 'Correction' });
      await Promise.all([page.waitForNavigation(), page.click('main form .go')]);
      await Promise.all([page.waitForURL(/\/book\/new\?/), page.locator('.rows .act').last().click()]);
      await page.fill('[name=short_name]', 'Kaja L.');
      await page.click('main form .go');
      await page.waitForURL(/\/book\/[0-9a-f-]{36}\?told=booked$/);
      assert.match(await page.textContent('main'), /It is booked\./);
      // Moved with the keyboard: the same form, another time.
      await Promise.all([page.waitForNavigation(), page.click('text=Look for another time')]);
      await Promise.all([page.waitForURL(/\/move\?/), page.locator('.rows .act').first().click()]);
      await page.locator('main form .go').focus();
      await page.keyboard.press('Enter');
      await page.waitForURL(/told=moved$/);
      await page.close();
    });
  }

  test('a few letters find her record; once chosen it is said how she stands, and nothing typed is lost', async () => {
    const page = await open('desk', '/book/new');
    await page.fill('[name=note]', 'by the window');
    await page.locator('[name=short_name]').pressSequentially('tov mi');
    await page.locator('label.choice', { hasText: 'Mira Tovik' }).click();
    await page.selectOption('[name=service]', { label: await labelOf(page, 'service', 'Classic set') });
    await page.selectOption('[name=artist]', { label: 'Ines Okafor' });
    await page.fill('[name=day]', dayAfter(9));
    await page.fill('[name=at]', '10:00');
    // It is looked up with each field that is filled in; the day and the hour come last.
    await page.locator('.stands', { hasText: '10:00' }).waitFor();
    assert.match(await page.innerText('.stands'), /Mira T\., Classic set, .* 10:00\s+not yet\s+Place a patch test\.\s+A patch test can be placed until/);
    assert.equal(await page.inputValue('[name=note]'), 'by the window');
    assert.equal(await page.locator('label.choice:has([name=client]:checked)', { hasText: 'Mira Tovik' }).count(), 1);
    assert.ok(!page.url().includes('tov'), 'no name stands in an address');
    await page.close();
  });

  test('an answer to what was typed before her record was chosen leaves the choice alone', async () => {
    const page = await open('desk', '/book/new', { userAgent: 'slow line' });
    const isLook = (one) => one.request().method() === 'POST' && new URL(one.url()).pathname === look;
    const look = await page.getAttribute('[data-look]', 'data-look');
    await Promise.all([page.waitForResponse(isLook), page.fill('[name=short_name]', 'tov mi')]);
    const her = page.locator('label.choice', { hasText: 'Mira Tovik' });
    await her.waitFor();
    let letGo;
    const held = new Promise((done) => (letGo = done));
    await page.route(`**${look}`, async (route) => {
      const response = await route.fetch();
      await held;
      await route.fulfill({ response });
    });
    let answered = 0;
    page.on('response', (answer) => (answered += Number(isLook(answer))));
    const asked = page.waitForRequest(`**${look}`);
    await page.fill('[name=note]', 'by the window');
    await asked;
    // The answer to the note comes right after her record was chosen.
    await page.exposeFunction('letGo', () => letGo());
    await page.locator('#who').evaluate((who) => {
      const chosen = () => {
        who.firstElementChild.dataset.before = '';
        window.letGo();
      };
      who.addEventListener('input', chosen, { once: true });
    });
    await her.click();
    await until('both looks were answered', async () => answered === 2);
    await page.locator('#who:not(:has([data-before]))').waitFor();
    assert.equal(await page.locator('label.choice:has([name=client]:checked)', { hasText: 'Mira Tovik' }).count(), 1);
    await page.close();
  });

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
    await page.locator('[action$="/cancel"] button:visible').tap();
    await page.waitForURL(/told=cancelled$/);
    await page.locator('[action$="/restore"] button:visible').tap();
    await page.waitForURL(/told=restored$/);
    await page.close();
  });
});
