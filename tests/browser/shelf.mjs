// A shelf to look at: where the house has no bottle yet, one product and two bottles with a few tests are put there through the forms.
import { ask } from './house.mjs';

const BOTTLE = /^\/shelf\/bottles\/[0-9a-f-]{36}$/;

/** The path of an open bottle in a room. */
export async function bottleOf(house) {
  const there = await bottlesOn(house);
  if (there.length > 0) return there[0];
  const page = await (await house.as('owner')).newPage();
  await addProduct(page, house);
  await addBottle(page, house, { lot: '21', opened: true });
  await addBottle(page, house, { lot: '', opened: false });
  const [bottle] = await bottlesOn(house);
  for (const seconds of ['1.8', '1.7', '9']) await benchTest(page, house, bottle, seconds);
  // The last one was a mistake: the lists show what that looks like.
  await Promise.all([page.waitForNavigation(), page.click('.told button')]);
  await page.close();
  return bottle;
}

async function benchTest(page, house, bottle, seconds) {
  await page.goto(`${house.address}${bottle}/bench`);
  const typed = { seconds, temperature: '21.5', humidity: '38' };
  for (const [name, value] of Object.entries(typed)) await page.fill(`[name=${name}]`, value);
  await Promise.all([page.waitForNavigation(), page.click('[name=do][value=set]')]);
}

/** The bottles whose bench is open, in the order of the shelf. */
async function bottlesOn(house) {
  const html = await (await ask(await house.as('artist'), house.address, '/shelf')).text();
  const benches = [...html.matchAll(/href="([^"]*)\/bench"/g)].map((match) => match[1]);
  return [...new Set(benches)].filter((path) => BOTTLE.test(path));
}

async function addProduct(page, house) {
  await page.goto(`${house.address}/shelf/products/new`);
  const typed = { name: 'Heath', label_low: '1', label_high: '2', temperature_low: '20', temperature_high: '24', humidity_low: '40', humidity_high: '60', opened_life: '60', colour: 'black' };
  for (const [name, value] of Object.entries(typed)) await page.fill(`[name=${name}]`, value);
  await page.check('[name=family][value=ethyl]');
  await send(page);
}

async function addBottle(page, house, { lot, opened }) {
  await page.goto(`${house.address}/shelf/bottles/new`);
  await page.fill('[name=lot]', lot);
  await page.fill('[name=opened]', opened ? await page.inputValue('[name=received]') : '');
  await page.locator('[name=room]').first().check();
  await send(page);
}

async function send(page) {
  await Promise.all([page.waitForNavigation(), page.click('main form .go')]);
}

/** A page of a bottle. */
export const onBottle = (rest) => async (house) => (await bottleOf(house)) + rest;
