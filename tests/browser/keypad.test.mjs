// The keypad without scripts (each key is a way to the server and back) and with them: the same keys, the same numbers.
// And keys as large as gloves need them.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { drafted, forget, writtenOut } from './stored.mjs';
import { openHouse } from './house.mjs';
import { pages, pathOf } from './pages.mjs';

const KEYPAD = pages.find((page) => page.name === 'reading');

// Each a sequence of keys; "p" is the decimal point, "w" wipes.
const SEQUENCES = ['2138', '21p438', '21p43p5', '2w138', '21w9', '21ww9', 'p5', '2p14', '00000', '21385', '21p4p3', 'w', '2138w', '2138ww1', '213w8p5', '9p9p9', '21p', '21pp38'];

describe('the keypad', () => {
  let house;
  let path;

  before(async () => {
    house = await openHouse();
    path = await pathOf(KEYPAD, await house.as('artist'), house.address);
  });
  after(() => house?.close());

  const nameOf = (key) => ({ p: 'point', w: 'wipe' })[key] ?? key;

  /** Presses the keys and tells what stands in the fields and whose turn it is. */
  async function press(options, keys) {
    const page = await (await house.as('artist', options)).newPage();
    try {
      const leads = options.javaScriptEnabled === false;
      await page.goto(house.address + path);
      for (const key of keys) {
        await Promise.all([leads && page.waitForNavigation(), page.click(`.pad [name=key][value="${nameOf(key)}"]`)]);
      }
      const stands = {
        temperature: await page.inputValue('[name=temperature]'),
        humidity: await page.inputValue('[name=humidity]'),
        turn: await page.locator('.typed.here label').textContent(),
      };
      // A draft is kept where scripts run: the next keys begin without it.
      if (!leads) {
        await drafted(page);
        await writtenOut(page, 'form[data-outbox]');
        await forget(page);
      }
      return stands;
    } finally {
      await page.close();
    }
  }

  test('five taps fill both numbers', async () => {
    assert.deepEqual(await press({}, '2138'), { temperature: '21', humidity: '38', turn: 'Humidity' });
  });

  for (const keys of SEQUENCES) {
    test(`${keys} gives the same with scripts and without`, async () => {
      assert.deepEqual(await press({}, keys), await press({ javaScriptEnabled: false }, keys));
    });
  }

  test('with scripts no key leaves the page', async () => {
    const page = await (await house.as('artist')).newPage();
    await page.goto(house.address + path);
    let left = false;
    page.on('framenavigated', () => {
      left = true;
    });
    for (const key of '21p4') await page.click(`.pad [name=key][value="${nameOf(key)}"]`);
    assert.equal(left, false);
    await page.close();
  });

  for (const [width, height, least] of [
    [1280, 800, 104],
    [1024, 768, 104],
    [800, 1280, 104],
    [412, 915, 104],
    [360, 740, 88],
    [320, 640, 88],
  ]) {
    test(`at ${width} × ${height} every key is at least ${least} px, and the last one in reach`, async () => {
      const page = await (await house.as('artist')).newPage();
      await page.setViewportSize({ width, height });
      await page.goto(house.address + path);
      const keys = await page.locator('.pad [name=key]').evaluateAll((all) => all.map((key) => key.getBoundingClientRect()).map(({ width, height }) => [width, height]));
      assert.equal(keys.length, 12);
      for (const [wide, high] of keys) assert.ok(wide >= least - 0.5 && high >= least - 0.5, `a key of ${wide} × ${high}`);
      const keep = await page.locator('.pad .keep').boundingBox();
      assert.ok(keep.height >= 56, `the last key is ${keep.height} high`);
      if (height >= 740) assert.ok(keep.y + keep.height <= height, `the last key ends at ${keep.y + keep.height} of ${height}`);
      await page.close();
    });
  }
});
