// A signature loses no stroke: a hundred times turned, zoomed and scrolled between its strokes; and one cut off in the middle.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { aClient, draw } from './clients.mjs';
import { openHouse } from './house.mjs';

const RUNS = 100;

describe('a signature', () => {
  let house;
  let page;
  let path;

  before(async () => {
    house = await openHouse();
    const client = await aClient(house);
    path = `${house.address}/door/clients/${client.id}/sign/patch_test`;
    page = await (await house.as('owner', { viewport: { width: 800, height: 1280 } })).newPage();
    await page.goto(path);
  });
  after(() => house?.close());

  const strokes = async () => JSON.parse(await page.inputValue('[data-strokes]'));
  /** Dark pixels on the field: something is drawn there. */
  const inked = () =>
    page.evaluate(() => {
      const canvas = document.querySelector('.sign-field');
      const data = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
      let count = 0;
      for (let at = 3; at < data.length; at += 4) if (data[at] > 100) count += 1;
      return count;
    });

  const turns = {
    turned: async (run) => page.setViewportSize(run % 2 === 0 ? { width: 1280, height: 800 } : { width: 800, height: 1280 }),
    zoomed: async (run) => page.evaluate((zoom) => { document.documentElement.style.zoom = zoom; }, 1 + (run % 4) / 4),
    scrolled: async (run) => page.evaluate((by) => scrollBy(0, by), (run % 5) * 60 - 120),
  };

  test(`keeps every stroke and draws it again in ${RUNS} runs of turning, zooming and scrolling`, async () => {
    let lost = 0;
    for (let run = 0; run < RUNS; run += 1) {
      await page.click('[data-wipe]');
      const many = 2 + (run % 4);
      for (let stroke = 0; stroke < many; stroke += 1) {
        const left = 0.1 + stroke * 0.15;
        await draw(page, [[[left, 0.3], [left + 0.05, 0.7], [left + 0.1, 0.4]]]);
        const turn = Object.values(turns)[(run + stroke) % 3];
        await turn(run + stroke);
      }
      const kept = await strokes();
      lost += many - kept.length;
      assert.ok(kept.every((stroke) => stroke.length >= 6), `run ${run}: a stroke lost its points`);
      // Wherever the field stands now, the strokes lie where they were drawn in it.
      kept.forEach((stroke, at) => assert.ok(Math.abs(stroke[0] / 3000 - (0.1 + at * 0.15)) < 0.02, `run ${run}: stroke ${at} begins at ${stroke[0]}`));
      assert.ok((await inked()) > 50, `run ${run}: nothing is drawn`);
    }
    assert.equal(lost, 0);
  });

  test('keeps the stroke that a turning tablet cut off', async () => {
    await page.evaluate(() => { document.documentElement.style.zoom = 1; });
    await page.click('[data-wipe]');
    const field = page.locator('.sign-field').first();
    await field.scrollIntoViewIfNeeded();
    const box = await field.boundingBox();
    await page.mouse.move(box.x + 20, box.y + 20);
    await page.mouse.down();
    await page.mouse.move(box.x + 120, box.y + 40, { steps: 4 });
    await field.dispatchEvent('pointercancel', { pointerId: 1 });
    await page.mouse.up();
    const kept = await strokes();
    assert.equal(kept.length, 1);
    assert.ok(kept[0].length >= 9);
  });

  test('takes a stroke back, and all of them', async () => {
    await page.click('[data-wipe]');
    await draw(page, [[[0.1, 0.5], [0.3, 0.5]], [[0.4, 0.5], [0.6, 0.5]]]);
    await page.click('[data-undo]');
    assert.equal((await strokes()).length, 1);
    await page.click('[data-wipe]');
    assert.deepEqual(await strokes(), []);
    assert.equal(await inked(), 0);
  });

  test('comes back with a form that needs another look, and can be typed instead', async () => {
    await draw(page, [[[0.1, 0.5], [0.3, 0.2], [0.5, 0.8]]]);
    const drawn = await strokes();
    await Promise.all([page.waitForNavigation(), page.click('main form .go')]);
    assert.deepEqual(await strokes(), drawn);
    assert.ok((await inked()) > 50, 'it is not drawn again');
    await page.click('[data-wipe]');
    await page.fill('[name=typed_name]', 'Ada Lovell');
    await page.check('[name=agree]');
    await Promise.all([page.waitForNavigation(), page.click('main form .go')]);
    assert.match(await page.textContent('main'), /Ada Lovell typed/);
  });
});
