// Without mouse or finger: the Tab key reaches every control, and one sees where one is.
import assert from 'node:assert/strict';
import { after, describe, test } from 'node:test';
import { tabWalk } from './checks.mjs';
import { Houses } from './houses.mjs';
import { act, pages } from './pages.mjs';
import { inHand } from './stored.mjs';

const WALKED = ['claim', 'claim-refused', 'room-owner', 'reading', 'settings', 'settings-refused', 'bench', 'timing'];

describe('the Tab key', () => {
  const houses = new Houses();
  after(() => houses.close());

  async function open(name) {
    const listed = pages.find((page) => page.name === name);
    const house = await houses.house(listed.in);
    const context = await (listed.as === 'nobody' ? house.stranger() : house.as(listed.as));
    const page = await context.newPage();
    await page.setViewportSize({ width: 1280, height: 800 });
    await page.goto(house.address + (await houses.pathOf(listed)));
    if (listed.status) await act(page, listed);
    // What a script shows once it has looked at what is kept is walked through as well.
    if ((await page.locator('form[data-outbox]').count()) > 0) await inHand(page, 'form[data-outbox]');
    // A page with mistakes begins at their list: the walk begins at the top all the same.
    await page.evaluate(() => {
      document.activeElement?.blur();
      getSelection().removeAllRanges();
      document.body.tabIndex = -1;
      document.body.focus();
      document.body.removeAttribute('tabindex');
    });
    return page;
  }

  for (const name of WALKED) {
    test(`reaches every control of ${name}, and each is seen`, async () => {
      const page = await open(name);
      try {
        assert.deepEqual(await tabWalk(page), []);
      } finally {
        await page.close();
      }
    });
  }

  test('the walk notices a control that is skipped and a focus that is not seen', async () => {
    const page = await open('room-owner');
    await page.evaluate(() => {
      const [first, second] = document.querySelectorAll('main a[href]');
      first.addEventListener('focus', () => second.focus());
      second.style.setProperty('outline', '0', 'important');
    });
    const found = await tabWalk(page);
    await page.close();
    assert.ok(found.some((line) => line.startsWith('no visible focus on a ')), found.join('\n'));
    assert.ok(found.some((line) => line.startsWith('never reached: ')), found.join('\n'));
  });
});
