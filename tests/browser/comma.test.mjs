// A studio that writes a comma: what its scripts show and fill in is written with one, and what is typed is read with either sign.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { anArtist } from './hands.mjs';
import { openHouse } from './house.mjs';
import { bottleOf } from './shelf.mjs';
import { forget, inHand } from './stored.mjs';

const WITH_POINT = /\d\.\d/;

describe('a studio that writes a comma', () => {
  let house;
  let artist;
  let bottle;

  before(async () => {
    house = await openHouse();
    artist = await anArtist(house);
    bottle = await bottleOf(house);
    const page = await (await house.as('owner')).newPage();
    await page.goto(`${house.address}/office/settings`);
    await page.check('[name=decimal][value=comma]');
    await Promise.all([page.waitForEvent('load'), page.click('main form .go')]);
    await page.close();
  });
  after(() => house?.close());

  const newPage = async () => (await house.as('artist')).newPage();

  test('the bench shows, fills in and keeps seconds with a comma', async () => {
    const page = await newPage();
    await page.goto(`${house.address}${bottle}/bench`);
    await page.fill('[name=temperature]', '21,5');
    await page.fill('[name=humidity]', '38.5');
    const timer = page.locator('[data-timer=delay]');
    const press = timer.locator('[data-press]');
    assert.equal(await timer.locator('[data-face]').textContent(), '0,0');
    await press.click();
    await page.waitForFunction(() => /^\d+,[1-9]$/.test(document.querySelector('[data-timer=delay] [data-face]').textContent), undefined, { polling: 50 });
    await page.waitForTimeout(400);
    await press.click();
    assert.match(await timer.locator('[data-face]').textContent(), /^\d+,\d\d$/);
    assert.match(await page.inputValue('[name=delay]'), /^\d+,\d{3}$/);
    await Promise.all([page.waitForURL(/told=kept/), page.locator('[name=do][value=held]').click()]);
    assert.match(await page.textContent('.told'), /Kept: held after \d+,\d/);
    await page.close();
  });

  test('seconds that cannot be are refused in sentences with a comma, whichever sign they were typed with', async () => {
    for (const [path, field, typed, told] of [
      [`${bottle}/bench`, 'seconds', '0.01', /from 0,05 to 600 s/],
      [`${artist}/timing/typed`, 'settle1', '0.01', /Settle of 0,01 s is outside 0,05 to 60 s/],
    ]) {
      const page = await newPage();
      await page.goto(house.address + path);
      if (field === 'settle1') await page.fill('[name=travel1]', '2,4');
      await page.fill(`[name=${field}]`, typed);
      await Promise.all([page.waitForEvent('load'), page.locator('main form .go').first().click()]);
      assert.match(await page.textContent('main'), told, path);
      assert.equal(await page.inputValue(`[name=${field}]`), typed, 'what was typed stays');
      await inHand(page, 'form[data-outbox]');
      await forget(page);
      await page.close();
    }
  });

  test('placements by taps are listed with a comma, and sent so that they are read', async () => {
    const page = await newPage();
    await page.goto(`${house.address}${artist}/timing`);
    await inHand(page, 'form[data-timing]');
    await page.waitForSelector('.pads');
    for (const pad of ['picked', 'touches', 'still']) {
      await page.locator(`[data-pad=${pad}]`).dispatchEvent('pointerdown', { button: 0 });
      await page.waitForTimeout(120);
    }
    const listed = await page.textContent('[data-placed]');
    assert.match(listed, /travel \d+,\d\d, settle \d+,\d\d s/);
    assert.doesNotMatch(listed, WITH_POINT);
    await Promise.all([page.waitForURL(/told=kept/), page.click('form[data-timing] [type=submit]')]);
    assert.match(await page.textContent('main'), /1 placement by taps/);
    await page.close();
  });
});
