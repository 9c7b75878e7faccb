// The main job, as a new person does it: claims the studio, adds a room, enters a reading in five taps, sees its chart.
// Once with the pages' scripts and once without.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { listenForTrouble, openBrowser, stayInside } from './house.mjs';
import { startProgram } from './program.mjs';
import { until } from './until.mjs';

const OWNER = { name: 'Oona Pell', passphrase: 'three dunes behind the marram' };

for (const scripts of ['with scripts', 'without scripts']) {
  describe(`a first day ${scripts}`, () => {
    let program;
    let browser;
    let page;
    let trouble;

    before(async () => {
      program = await startProgram('serve');
      browser = await openBrowser();
      const context = await browser.newContext({
        javaScriptEnabled: scripts === 'with scripts',
        viewport: { width: 800, height: 1280 },
        hasTouch: true,
      });
      await stayInside(context, program.address);
      page = await context.newPage();
      trouble = listenForTrouble(page);
    });
    after(async () => {
      await browser?.close();
      await program?.stop();
    });

    test('the link from the terminal makes her the owner', async () => {
      const link = new URL(await program.line('claim this studio:'));
      await page.goto(program.address + link.pathname);
      await page.fill('[name=studio]', 'Marram House');
      await page.fill('[name=name]', OWNER.name);
      await page.fill('[name=zone]', 'Europe/Lisbon');
      await page.fill('[name=passphrase]', OWNER.passphrase);
      await page.fill('[name=again]', OWNER.passphrase);
      await page.click('main form button');
      await page.waitForURL((url) => !url.pathname.startsWith('/claim'));
      assert.match(await page.textContent('header'), new RegExp(OWNER.name));
    });

    test('she adds a room', async () => {
      await page.goto(`${program.address}/rooms`);
      await page.getByRole('link', { name: 'Add the first room' }).click();
      await page.fill('[name=name]', 'Gable');
      await page.fill('[name=volume_m3]', '28');
      await page.fill('[name=coldest_surface]', 'skylight');
      await page.click('main form button.go');
      await page.waitForURL(/\/rooms\/[0-9a-f-]{36}$/);
      assert.match(await page.textContent('h1'), /Gable/);
    });

    test('she enters a reading in five taps', async () => {
      await page.getByRole('link', { name: 'Enter the first reading' }).click();
      await page.waitForURL(/\/rooms\/[0-9a-f-]{36}\/readings\/new$/);
      const stands = async () => (await page.inputValue('[name=temperature]')) + (await page.inputValue('[name=humidity]'));
      for (const [at, key] of [...'2138'].entries()) {
        await page.tap(`[name=key][value="${key}"]`);
        const typed = '2138'.slice(0, at + 1);
        await until(`${typed} stands in the fields`, stands, (there) => there === typed);
      }
      await page.tap('.pad [name=do][value=keep]');
      await page.waitForURL(/\/rooms\/[0-9a-f-]{36}\?told=kept$/);
    });

    test('she sees what she entered, and its chart', async () => {
      const text = await page.textContent('main');
      assert.match(text, /21(\.0)?\s*°C/);
      assert.match(text, /38\s*%/);
      const chart = page.locator('figure.chart svg[role=img]').first();
      assert.ok(await chart.isVisible(), 'no chart to be seen');
      assert.match(await page.locator('#charts table').first().textContent(), /38/);
    });

    test('nothing complained on the way', () => {
      assert.deepEqual(trouble, []);
    });
  });
}
