// A tablet in a client's hands: no way out but the passphrase of whoever handed it over. Back button, new tab, deep links, pages the
// browser held ready, and pages that were open before.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { aClient } from './clients.mjs';
import { openHouse } from './house.mjs';

describe('a device in a client’s hands', () => {
  let house;
  let context;
  let page;
  let other;
  let client;

  before(async () => {
    house = await openHouse();
    client = await aClient(house);
    context = await house.as('owner', { viewport: { width: 800, height: 1280 }, hasTouch: true });
    // Another page of the studio stays open in the same browser.
    other = await context.newPage();
    await other.goto(`${house.address}/office/people`);
    page = await context.newPage();
    await page.goto(`${house.address}/door/clients`);
    await page.goto(`${house.address}/door/clients/${client.id}`);
    await page.getByRole('link', { name: 'Let her answer on this device' }).click();
    await page.getByRole('button', { name: 'Hand the device over' }).click();
    await page.waitForURL(/\/handed-over\/1$/);
  });
  after(() => house?.close());

  /** What shows only the form: none of the studio's words. */
  async function showsNothingElse(where) {
    const text = await where.textContent('body');
    for (const word of ['Ada', 'Lovell', 'Runa', 'Sanna', 'Sign out', 'Invite', 'Add a client']) {
      assert.ok(!text.includes(word), `${where.url()} shows “${word}”`);
    }
  }

  test('shows one question, large, and no name', async () => {
    await showsNothingElse(page);
    assert.match(await page.textContent('main'), /1 of \d+/);
    const size = await page.locator('main').evaluate((main) => Number.parseFloat(getComputedStyle(main).fontSize));
    assert.ok(size >= 19, `${size} px`);
    assert.equal(await page.locator('nav').count(), 0);
  });

  test('closes pages that were open before', async () => {
    await other.waitForFunction(() => document.body?.textContent.includes('not part of the form'), undefined, { polling: 200 });
    await showsNothingElse(other);
  });

  test('is not left by the back button, nor by a page held ready', async () => {
    for (let steps = 0; steps < 4; steps += 1) {
      await page.goBack({ waitUntil: 'load' }).catch(() => null);
      await showsNothingElse(page);
    }
    for (let steps = 0; steps < 5; steps += 1) {
      await page.goForward({ waitUntil: 'load' }).catch(() => null);
      await showsNothingElse(page);
    }
  });

  test('is not left by a new tab or a deep link', async () => {
    const tab = await context.newPage();
    for (const path of ['/', '/door', `/door/clients/${client.id}`, `/door/clients/${client.id}/photos`, '/office/audit', '/sign-in', '/api/v1/rooms', '/live']) {
      const answer = await tab.goto(house.address + path);
      assert.equal(answer.status(), 403, path);
      await showsNothingElse(tab);
    }
    await tab.close();
  });

  test('is not left by what a script of the page could ask for', async () => {
    await page.goto(`${house.address}/handed-over`);
    const statuses = await page.evaluate(async (paths) => {
      const all = [];
      for (const path of paths) {
        for (const cache of ['default', 'force-cache', 'only-if-cached']) {
          all.push(await fetch(path, { cache, mode: 'same-origin' }).then((answer) => answer.status, () => 0));
        }
      }
      return all;
    }, ['/door/clients', `/door/clients/${client.id}`, '/office/people', '/']);
    assert.ok(statuses.every((status) => [0, 403, 504].includes(status)), String(statuses));
  });

  test('opens the first-aid card and comes back to the form', async () => {
    await page.goto(`${house.address}/handed-over`);
    await Promise.all([page.waitForURL(/\/first-aid/), page.getByRole('link', { name: 'First aid' }).click()]);
    assert.match(await page.textContent('h1'), /First aid/);
    await page.getByRole('link', { name: 'Back to the form' }).click();
    await page.waitForURL(/\/handed-over\/1$/);
  });

  test('goes through the questions one at a time, and gives them at the end', async () => {
    for (let pages = 0; pages < 80; pages += 1) {
      const choices = page.locator('main input[type=radio]');
      if ((await choices.count()) > 0) await choices.first().check();
      const last = await page.getByRole('button', { name: 'Give these answers' }).count();
      await Promise.all([page.waitForNavigation(), page.locator('main form .go').first().click()]);
      if (last) break;
    }
    assert.match(await page.textContent('main'), /give the device back/);
    await showsNothingElse(page);
  });

  test('is taken back with the passphrase, and her answers cannot be paged back to', async () => {
    await page.getByRole('link', { name: 'take the device back' }).click();
    await page.fill('[name=passphrase]', 'not this one');
    await Promise.all([page.waitForNavigation(), page.click('main form .go')]);
    assert.match(await page.textContent('main'), /not the passphrase/);
    assert.equal((await page.goto(`${house.address}/door`)).status(), 403);
    await page.goto(`${house.address}/handed-over/leave`);
    await page.fill('[name=passphrase]', house.signIns.owner.passphrase);
    await Promise.all([page.waitForNavigation(), page.click('main form .go')]);
    assert.equal(new URL(page.url()).pathname, `/door/clients/${client.id}`);
    for (let steps = 0; steps < 5; steps += 1) {
      await page.goBack({ waitUntil: 'load' }).catch(() => null);
      assert.ok(!(await page.textContent('body')).includes('Look over what you answered'), page.url());
    }
  });
});
