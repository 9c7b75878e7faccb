// The artist whose hands the browser tests time: the one who signs in as artist, added by the owner when she is not there.
import { ask } from './house.mjs';

/** The path of her page under Hands. */
export async function anArtist(house) {
  const own = async () => /href="(\/hands\/[0-9a-f-]{36})\/timing[^"]*" data-start-timing/.exec(await (await ask(await house.as('artist'), house.address, '/hands')).text())?.[1];
  const there = await own();
  if (there) return there;
  const page = await (await house.as('owner')).newPage();
  await page.goto(`${house.address}/hands/new`);
  await page.selectOption('[name=person]', { label: house.signIns.artist.name });
  await page.fill('[name=volume]', '4');
  await page.selectOption('[name=usual]', 'volume-4');
  await page.click('main form .go');
  await page.waitForURL(/\/hands\/[0-9a-f-]{36}$/);
  await page.close();
  return own();
}
