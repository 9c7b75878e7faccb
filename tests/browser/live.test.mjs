// A page that stays open keeps up by itself: without a reload, with focus and typed values where they were.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { demoClient } from './clients.mjs';
import { ask, listenForTrouble, openHouse } from './house.mjs';

/** Farther than this at once no room's humidity goes, %RH. */
const STEP = 10;

describe('an open page', () => {
  let house;
  let page;
  let room;
  let trouble;
  let minute = 0;
  let last;

  before(async () => {
    house = await openHouse();
    room = await house.program.line('room ');
    page = await (await house.as('artist')).newPage();
    trouble = listenForTrouble(page);
  });
  after(() => house?.close());

  /**
   * Gable's sensor sends a reading, so much warmer than the air is now; times are a little ahead, so that the demonstration's own
   * are older. A room does not jump: on the way to another humidity it sends those between.
   */
  async function reading(warmer, humidity) {
    last ??= await newest();
    while (Math.abs(humidity - last.humidity) > STEP) {
      last.humidity += STEP * Math.sign(humidity - last.humidity);
      await send(last.temperature, last.humidity);
    }
    last.humidity = humidity;
    await send(last.temperature + warmer, humidity);
  }

  async function newest() {
    const html = await (await ask(page.context(), house.address, `/rooms/${room}`)).text();
    const row = /<div id="live-readings"[^]*?<tr><th[^]*?<td class="n">([\d.,]+)<\/td><td class="n">([\d.,]+)<\/td>/.exec(html);
    const [temperature, humidity] = row.slice(1).map((text) => Number(text.replace(',', '.')));
    return { temperature, humidity };
  }

  async function send(temperature, humidity) {
    minute += 1;
    const token = await house.program.line('sensor-token ');
    const time = new Date(Date.now() + minute * 1000).toISOString();
    const answer = await fetch(`${house.address}/api/v1/rooms/${room}/readings`, {
      method: 'POST',
      headers: { authorization: `Bearer ${token}`, 'content-type': 'application/json' },
      body: JSON.stringify({ temperature, humidity, time }),
    });
    assert.equal(answer.status, 200, await answer.text());
  }

  /** Marks the page, so that a reload would be seen. */
  const mark = () => page.evaluate(() => { window.marked = true; });
  const isSame = () => page.evaluate(() => window.marked === true);
  const listening = () => page.waitForResponse((answer) => new URL(answer.url()).pathname.endsWith('/live'));

  test('shows a new reading without a reload', async () => {
    const opened = listening();
    await page.goto(`${house.address}/rooms/${room}`);
    await mark();
    await opened;
    const before = await page.textContent('#live-readings tbody tr');
    await reading(0, 44);
    await page.waitForFunction((text) => document.querySelector('#live-readings tbody tr').textContent !== text, before, { polling: 200 });
    assert.ok(await isSame());
  });

  test('keeps focus where it was', async () => {
    await page.focus('#live-air .act.go');
    const before = await page.textContent('#live-readings tbody tr');
    await reading(0.1, 45);
    await page.waitForFunction((text) => document.querySelector('#live-readings tbody tr').textContent !== text, before, { polling: 200 });
    assert.ok(await page.evaluate(() => document.activeElement?.matches('#live-air .act.go')));
  });

  test('keeps a table that was opened open', async () => {
    await page.click('#live-charts summary');
    const before = await page.textContent('#live-readings tbody tr');
    await reading(-0.1, 46);
    await page.waitForFunction((text) => document.querySelector('#live-readings tbody tr').textContent !== text, before, { polling: 200 });
    assert.ok(await page.evaluate(() => document.querySelector('#live-charts details').open));
  });

  test('the desk list keeps up whole: its counts, and who is expected', async () => {
    const opened = listening();
    await page.goto(`${house.address}/door/not-cleared`);
    await mark();
    await opened;
    const before = await page.textContent('#desk-counts');
    const expected = await page.locator('#expected li').count();
    const form = await demoClient('Alva Lindqvist', '/visits/new')(house);
    const desk = await (await house.as('desk')).newPage();
    await desk.goto(house.address + form);
    await desk.fill('[name=at]', `${new Date(Date.now() + 3 * 86_400_000).toISOString().slice(0, 10)}T14:00`);
    await desk.check('[name=kind][value=set]');
    await Promise.all([desk.waitForNavigation(), desk.click('main form .go')]);
    await desk.close();
    await page.waitForFunction((text) => document.querySelector('#desk-counts').textContent !== text, before, { polling: 200 });
    await page.waitForFunction((many) => document.querySelectorAll('#expected li').length === many, expected + 1, { polling: 200 });
    assert.ok(await isSame());
  });

  test('leaves what was typed elsewhere on the page alone', async () => {
    const opened = listening();
    await page.goto(`${house.address}/rooms/${room}/plan`);
    await mark();
    await opened;
    await page.fill('[name=outside_temperature]', '-7,5');
    const before = await page.textContent('#live-plan');
    await reading(0, 41);
    await page.waitForFunction((text) => document.querySelector('#live-plan').textContent !== text, before, { polling: 200 });
    assert.equal(await page.inputValue('[name=outside_temperature]'), '-7,5');
    assert.ok(await page.evaluate(() => document.activeElement?.name === 'outside_temperature'));
    assert.ok(await isSame());
  });

  test('says a warning politely, once, and nothing else', async () => {
    const opened = listening();
    await page.goto(`${house.address}/rooms`);
    await opened;
    await reading(0, 33);
    await page.waitForFunction(() => document.querySelector('[data-live-said]')?.textContent.includes('drier'), undefined, { polling: 200 });
    assert.equal(await page.getAttribute('[data-live-said]', 'role'), 'status');
  });

  test('looks again where the house was too busy to answer', async () => {
    const opened = listening();
    await page.goto(`${house.address}/rooms/${room}`);
    await mark();
    await opened;
    let refused = 0;
    await page.route(page.url(), (route) => {
      refused += 1;
      return refused < 3 ? route.fulfill({ status: 503, contentType: 'text/html', body: '<title>busy</title>' }) : route.continue();
    });
    const before = await page.textContent('#live-readings tbody tr');
    await reading(0, 40);
    await page.waitForFunction((text) => document.querySelector('#live-readings tbody tr').textContent !== text, before, { timeout: 60_000, polling: 200 });
    assert.ok(refused >= 3, `${refused} looks`);
    assert.ok(await isSame());
    await page.unroute(page.url());
    // The browser itself tells of the two answers that were none.
    assert.equal(trouble.splice(0).filter((line) => !/503/.test(line)).length, 0);
  });

  test('complains of nothing', () => assert.deepEqual(trouble, []));
});
