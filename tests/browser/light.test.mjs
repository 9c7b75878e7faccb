// Bright and dim, chosen on this device: kept over pages, reloads and signing out, and right before the first paint.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { openHouse } from './house.mjs';

const PAPER = 'rgb(237, 241, 234)';
const LAMP = 'rgb(25, 19, 15)';

describe('the light', () => {
  let house;
  let context;
  let page;

  before(async () => {
    house = await openHouse();
    context = await house.as('artist', { colorScheme: 'light' });
    page = await context.newPage();
  });
  after(() => house?.close());

  const ground = () => page.evaluate(() => getComputedStyle(document.documentElement).backgroundColor);

  test('begins as the device has it', async () => {
    await page.goto(`${house.address}/`);
    assert.equal(await ground(), PAPER);
    await page.emulateMedia({ colorScheme: 'dark' });
    assert.equal(await ground(), LAMP);
    await page.emulateMedia({ colorScheme: 'light' });
  });

  test('one tap in the standing line dims the page and offers the way back', async () => {
    await page.click('[data-light-turn]');
    assert.equal(await ground(), LAMP);
    assert.equal(await page.textContent('[data-light-turn]'), 'Bright');
  });

  test('stays dim on the next page, after a reload, and from the server even without scripts', async () => {
    await page.goto(`${house.address}/rooms`);
    assert.equal(await ground(), LAMP);
    await page.reload();
    assert.equal(await ground(), LAMP);
    const html = await (await page.goto(`${house.address}/rooms`)).text();
    assert.match(html, /<html[^>]* data-light="lamp"/);
  });

  test('is the device’s, not the person’s: signing out leaves it', async () => {
    await page.click('header form button');
    await page.waitForURL(/\/sign-in/);
    assert.equal(await ground(), LAMP);
  });

  test('bright stays bright where the device itself is dark', async () => {
    await page.click('[data-light-to=paper]');
    await page.emulateMedia({ colorScheme: 'dark' });
    assert.equal(await ground(), PAPER);
    await page.reload();
    assert.equal(await ground(), PAPER);
    assert.equal(await page.getAttribute('[data-light-to=paper]', 'aria-pressed'), 'true');
  });

  test('"as the device" forgets the choice', async () => {
    await page.click('[data-light-to=""]');
    assert.equal(await ground(), LAMP);
    await page.reload();
    assert.equal(await ground(), LAMP);
    await page.emulateMedia({ colorScheme: 'light' });
    assert.equal(await ground(), PAPER);
  });

  test('large controls grow every button and stay', async () => {
    const height = async () => (await page.locator('main button.act, main a.act').first().boundingBox()).height;
    const before = await height();
    await page.click('[data-large-turn]');
    const large = await height();
    assert.ok(large > before, `${large} is not more than ${before}`);
    await page.reload();
    assert.equal(await height(), large);
  });
});
