// What came back is there until whoever typed it leaves it: after the device was in a client's hands, after the sign-in was ended from
// another device, after a night on a locked tablet. And what was typed too long ago to say anything of now is shown as that.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { aClient } from './clients.mjs';
import { openHouse, signIn } from './house.mjs';
import { startProxy } from './proxy.mjs';
import { age, drafted, entries, inHand, saidCameBack, saysItWaits, states, stored } from './stored.mjs';
import { until } from './until.mjs';

const SECRET = 'Marshmallowroot';
const FORM = 'form[action$="/book/waiting"]';
const BROWSER = { locale: 'en-GB', timezoneId: 'Europe/Lisbon', reducedMotion: 'reduce', serviceWorkers: 'block' };

describe('an entry that waited and came back', () => {
  let house;
  let proxy;
  let page;

  before(async () => {
    house = await openHouse();
  });
  after(() => house?.close());

  /** A page of a device of its own; `comesBack` has an entry come back on it: nobody said for which service she waits. */
  async function onADevice(run) {
    proxy = await startProxy(house.address);
    const context = await house.browser.newContext(BROWSER);
    page = await context.newPage();
    try {
      await signIn(page, proxy.address, house.signIns.owner);
      await run(async () => {
        await page.goto(`${proxy.address}/book/waiting`);
        await inHand(page, FORM);
        await page.fill('[name=note]', SECRET);
        proxy.blocked = /\/book\/waiting$|outbox\/open$/;
        await page.click(`${FORM} .go`);
        await saysItWaits(page, FORM);
        proxy.blocked = null;
        await page.goto(`${proxy.address}/rooms`);
        await saidCameBack(page);
        const [entry] = await entries(page);
        assert.ok(entry.sealed && entry.back, 'her key opens it, and the house does');
      });
    } finally {
      await context.close();
      await proxy.close();
    }
  }

  /** Her key has gone; what came back is dark but for the house. */
  async function onlyTheHouseOpensIt() {
    await until('her key is gone', () => entries(page), (there) => !there.some(({ sealed }) => sealed));
    const [left, ...others] = await entries(page);
    assert.deepEqual(others, []);
    assert.equal(left.state, 'refused');
    assert.deepEqual(Object.keys(left).sort(), ['at', 'back', 'key', 'kind', 'person', 'state']);
    assert.ok(!JSON.stringify(await stored(page)).includes(SECRET));
  }

  /** It is in its form again, with the reason, and is sent from there. */
  async function isThereAgain() {
    await (await saidCameBack(page)).click();
    await page.waitForFunction((words) => document.querySelector('[name=note]')?.value === words, SECRET, { polling: 200 });
    assert.notEqual((await page.textContent(`${FORM} [data-outbox-state] [data-kept=near]`)).trim(), '', 'with the reason');
    await page.fill('[name=short_name]', 'Rowan S.');
    await page.selectOption('[name=service]', { index: 1 });
    await Promise.all([page.waitForNavigation(), page.click(`${FORM} .go`)]);
    await page.waitForFunction(() => document.querySelector('main')?.textContent.includes('Rowan S.'), undefined, { polling: 200 });
    assert.deepEqual(await states(page), []);
  }

  test('is still there after the device was in a client’s hands', async () => {
    const { id } = await aClient(house);
    await onADevice(async (comesBack) => {
      await comesBack();
      await page.goto(`${proxy.address}/door/clients/${id}/hand-over/consultation`);
      await Promise.all([page.waitForURL(/\/handed-over\/1$/), page.click('main form .go')]);
      await onlyTheHouseOpensIt();
      assert.ok(!(await page.content()).includes('came back'), 'she is told nothing of it');
      await page.goto(`${proxy.address}/handed-over/leave`);
      await page.fill('[name=passphrase]', house.signIns.owner.passphrase);
      await Promise.all([page.waitForURL(/\/door\/clients\//), page.click('main form .go')]);
      await isThereAgain();
    });
  });

  test('is still there after the sign-in was ended from another device', async () => {
    await onADevice(async (comesBack) => {
      await comesBack();
      const own = await (await house.as('owner')).newPage();
      await own.goto(`${house.address}/office/sessions`);
      const others = own.locator('main li').filter({ hasNotText: 'this browser' }).locator('form[action$="/end"] button');
      for (let left = await others.count(); left > 0; left = await others.count()) {
        await Promise.all([own.waitForNavigation(), others.first().click()]);
      }
      await own.close();
      await page.goto(`${proxy.address}/rooms`);
      await page.waitForURL(/sign-in/);
      await page.waitForSelector('body[data-outbox-revoked]');
      await onlyTheHouseOpensIt();
      await signIn(page, proxy.address, house.signIns.owner);
      await isThereAgain();
    });
  });

  test('is still there after a night on a locked tablet', async () => {
    await onADevice(async (comesBack) => {
      await page.goto(`${proxy.address}/office/tablets`);
      await page.fill('[name=name]', `Tablet ${Date.now()}`);
      await Promise.all([page.waitForNavigation(), page.click('main form button.go')]);
      await page.getByText('this device', { exact: true }).first().waitFor();
      await comesBack();
      await page.getByRole('button', { name: 'Lock' }).click();
      await page.waitForURL(/\/tablet\?/);
      await age(page, 13);
      await page.reload();
      await onlyTheHouseOpensIt();
      await signIn(page, proxy.address, house.signIns.owner);
      await isThereAgain();
    });
  });

  test('a reading half typed half an hour ago does not stand in the fields as if it were of now', async () => {
    await onADevice(async () => {
      const path = `${proxy.address}/rooms/${await house.program.line('room ')}/readings/new`;
      const typed = Date.now() - 40 * 60_000;
      const form = 'form[data-outbox]';
      const type = async () => {
        await page.clock.setSystemTime(typed);
        await page.goto(path);
        await inHand(page, form);
        for (const key of ['2', '2', '4', '1']) await page.click(`.pad [name=key][value="${key}"]`);
        await drafted(page, form);
        await page.clock.setSystemTime(Date.now());
        await page.reload();
        await page.getByText(/^Typed .* and not kept: Temperature 22, Humidity 41.*\. It is not of now\.$/).waitFor();
      };
      const inFields = async () => [await page.inputValue('[name=temperature]'), await page.inputValue('[name=humidity]')];
      await type();
      assert.deepEqual(await inFields(), ['', '']);
      // Left, it is gone.
      await Promise.all([page.waitForNavigation(), page.getByRole('button', { name: 'Leave it' }).click()]);
      await inHand(page, form);
      assert.equal(await page.locator('main .note').count(), 0);
      // Used, it is the air of then.
      await type();
      await page.getByRole('button', { name: /^Use it: it is dated/ }).click();
      await page.waitForFunction(() => document.querySelector('[name=humidity]')?.value === '41', undefined, { polling: 200 });
      assert.deepEqual(await inFields(), ['22', '41']);
      assert.match(await page.textContent(`${form} [data-outbox-state] [data-kept=near]`), /It is dated .*, when it was typed\./);
      const request = page.waitForRequest((one) => one.method() === 'POST' && one.url().endsWith('/readings'));
      await page.click('.pad .keep');
      const sent = new URLSearchParams((await request).postData());
      assert.ok(Math.abs(Number(sent.get('done')) - typed) < 60_000, `dated ${sent.get('done')}, typed ${typed}`);
      assert.ok(Number(sent.get('sent')) - Number(sent.get('done')) > 39 * 60_000);
      await page.waitForURL(/told=/);
    });
  });
});
