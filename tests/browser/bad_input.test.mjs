// Double click, back, reload and replay keep exactly one record; what is wrong is said beside its field, and nothing
// typed is lost.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { ask, openHouse } from './house.mjs';

describe('bad input', () => {
  let house;
  let page;

  before(async () => {
    house = await openHouse();
  });
  after(() => house?.close());

  async function freshPage(role = 'owner') {
    await page?.close();
    page = await (await house.as(role)).newPage();
    return page;
  }

  /** Where the page's form is sent, and what it would send now. */
  function formOnPage() {
    return page.evaluate(() => {
      const found = document.querySelector('main form[method=post]');
      return { action: new URL(found.action).pathname, fields: Object.fromEntries(new FormData(found)) };
    });
  }

  /** How many rooms of this name the list shows. */
  async function roomsNamed(name) {
    await page.goto(`${house.address}/rooms`);
    return page.locator('main').getByRole('link', { name, exact: true }).count();
  }

  async function fillRoom(name) {
    await page.goto(`${house.address}/rooms/new`);
    await page.fill('[name=name]', name);
    await page.fill('[name=volume_m3]', '30');
    await page.fill('[name=coldest_surface]', 'window');
  }

  test('a double click on the button keeps one room', async () => {
    await freshPage();
    await fillRoom('Double');
    await page.dblclick('main form button.go');
    await page.waitForURL(/\/rooms\/[0-9a-f-]{36}$/);
    assert.equal(await roomsNamed('Double'), 1);
  });

  test('sending the form again after the back button keeps one room', async () => {
    await freshPage();
    await fillRoom('Back');
    await page.click('main form button.go');
    await page.waitForURL(/\/rooms\/[0-9a-f-]{36}$/);
    const first = page.url();
    await page.goBack();
    // What was typed is unsealed first, which takes a moment.
    await page.waitForFunction(() => document.querySelector('[name=name]')?.value === 'Back', undefined, { polling: 200 });
    await page.click('main form button.go');
    await page.waitForURL(/\/rooms\/[0-9a-f-]{36}$/);
    assert.equal(page.url(), first, 'the second send leads elsewhere');
    assert.equal(await roomsNamed('Back'), 1);
  });

  test('a reload of the page that follows keeps one room', async () => {
    await freshPage();
    await fillRoom('Reload');
    await page.click('main form button.go');
    await page.waitForURL(/\/rooms\/[0-9a-f-]{36}$/);
    await page.reload();
    assert.equal(await roomsNamed('Reload'), 1);
  });

  test('the same request sent twenty times at once keeps one room and gives one answer', async () => {
    await freshPage();
    await fillRoom('Replay');
    const form = await formOnPage();
    const send = () => ask(page.context(), house.address, form.action, { form: form.fields, redirect: 'manual' });
    const answers = await Promise.all(Array.from({ length: 20 }, send));
    assert.deepEqual([...new Set(answers.map((answer) => answer.status))], [303]);
    assert.equal(new Set(answers.map((answer) => answer.headers.get('location'))).size, 1);
    assert.equal(await roomsNamed('Replay'), 1);
  });

  test('the same key with another body is refused, and says where the first is', async () => {
    await freshPage();
    await fillRoom('Other body');
    const form = await formOnPage();
    const send = (fields) => ask(page.context(), house.address, form.action, { form: fields, redirect: 'manual' });
    const first = await send(form.fields);
    assert.equal(first.status, 303);
    const second = await send({ ...form.fields, name: 'Quite another body' });
    assert.equal(second.status, 422);
    assert.match(await second.text(), new RegExp(`href="${first.headers.get('location')}"`));
    assert.equal(await roomsNamed('Quite another body'), 0);
  });

  test('what is wrong is said beside its field, and everything typed is still there', async () => {
    await freshPage();
    await page.goto(`${house.address}/rooms/new`);
    await page.fill('[name=name]', 'Half right');
    await page.fill('[name=volume_m3]', 'thirty');
    await page.fill('[name=coldest_surface]', 'window');
    await Promise.all([page.waitForNavigation(), page.click('main form button.go')]);
    const field = page.locator('[name=volume_m3]');
    assert.equal(await field.inputValue(), 'thirty');
    assert.equal(await page.inputValue('[name=name]'), 'Half right');
    assert.equal(await field.getAttribute('aria-invalid'), 'true');
    const described = (await field.getAttribute('aria-describedby')).split(' ');
    const sentences = await Promise.all(described.map((id) => page.textContent(`#${id}`)));
    assert.ok(sentences.some((sentence) => sentence.trim().length > 10), `no sentence beside the field: ${sentences}`);
    assert.equal(await page.locator('[name=name]').getAttribute('aria-invalid'), null);
    assert.equal(await roomsNamed('Half right'), 0);
  });

  test('a mistake does not use up the form: put right, it is kept once', async () => {
    await freshPage();
    await page.goto(`${house.address}/rooms/new`);
    await page.fill('[name=name]', 'Put right');
    await page.fill('[name=volume_m3]', '');
    await page.fill('[name=coldest_surface]', 'window');
    await Promise.all([page.waitForEvent('load'), page.click('main form button.go')]);
    await page.fill('[name=volume_m3]', '31,5');
    await page.click('main form button.go');
    await page.waitForURL(/\/rooms\/[0-9a-f-]{36}$/);
    assert.equal(await roomsNamed('Put right'), 1);
  });

  test('a double tap on the keypad keeps one reading', async () => {
    const room = await house.program.line('room ');
    const token = await house.program.line('read-token ');
    const count = async () => {
      const answer = await fetch(`${house.address}/api/v1/rooms/${room}/readings?hours=1`, { headers: { authorization: `Bearer ${token}` } });
      assert.equal(answer.status, 200);
      // The sensors of the demonstration go on sending, and what is an hour old falls out: those of these numbers are counted.
      return (await answer.json()).filter((one) => one.temperature_c === 21 && one.relative_humidity_pct === 38).length;
    };
    await freshPage('artist');
    const before = await count();
    await page.goto(`${house.address}/rooms/${room}/readings/new`);
    for (const key of ['2', '1', '3', '8']) await page.click(`[name=key][value="${key}"]`);
    await page.dblclick('.pad .keep');
    await page.waitForURL(/told=/);
    assert.equal(await count(), before + 1);
  });

  test('markup in a name is shown, not run', async () => {
    await freshPage();
    const name = '<b onmouseover=alert(1)>Attic & "Co"</b>';
    let ran = false;
    page.on('dialog', (dialog) => {
      ran = true;
      dialog.dismiss();
    });
    await fillRoom(name);
    await page.click('main form button.go');
    await page.waitForURL(/\/rooms\/[0-9a-f-]{36}$/);
    assert.ok((await page.textContent('h1')).includes(name));
    assert.equal(await page.locator('main b[onmouseover]').count(), 0);
    assert.equal(ran, false);
  });
});
