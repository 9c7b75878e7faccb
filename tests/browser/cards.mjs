// Ways to cards of the invented studio.

let opened;

/** The card of a client who comes again and again, open at the bed of the artist who signs in. Opened once a house. */
export async function anOpenCard(house) {
  opened ??= new Map();
  if (!opened.has(house)) opened.set(house, open(house));
  return opened.get(house);
}

/** The form that opens a card for her. */
export async function toOpenACard(house) {
  const page = await (await house.as('artist')).newPage();
  const path = await formOf(page, house);
  await page.close();
  return path;
}

/** The id of a client who comes again and again to the artist who signs in. */
async function aRegular(page, house) {
  await page.goto(`${house.address}/door/clients`);
  await page.fill('main [name=typed]', 'Agda Winther');
  const href = await page.getAttribute('main a:text-is("Agda Winther")', 'href');
  return href.split('/').at(-1);
}

async function formOf(page, house) {
  return `/cards/for/${await aRegular(page, house)}`;
}

/** Where her cards are listed. */
export async function toHerCards(house) {
  const page = await (await house.as('artist')).newPage();
  const path = `/cards/her/${await aRegular(page, house)}`;
  await page.close();
  return path;
}

/** Where one of her closed cards is corrected. */
export async function toCorrectACard(house) {
  const page = await (await house.as('artist')).newPage();
  await page.goto(`${house.address}/cards/her/${await aRegular(page, house)}`);
  for (const href of await page.locator('main a.rows-link').evaluateAll((all) => all.map((link) => link.getAttribute('href')))) {
    await page.goto(house.address + href);
    const correct = page.locator('main a[href$="/correct"]');
    if ((await correct.count()) === 0) continue;
    const path = await correct.first().getAttribute('href');
    await page.close();
    return path;
  }
  throw new Error('she has no closed card');
}

/** What stood on a card before it was corrected. */
export async function anEarlierVersion(house) {
  const page = await (await house.as('artist')).newPage();
  await page.goto(house.address + (await toCorrectACard(house)));
  await page.fill('[name=reason]', 'Counted again from the sheet');
  await Promise.all([page.waitForURL(/\/record\?told=corrected$/), page.click('main form .go')]);
  const path = await page.locator('main a[href*="/versions/"]').first().getAttribute('href');
  await page.close();
  return path;
}

let booked;

/** The form that opens the card of a visit booked for today, in the evening when nobody else comes. Booked once a house. */
export async function toOpenABookedCard(house) {
  booked ??= new Map();
  if (!booked.has(house)) booked.set(house, bookToday(house));
  return booked.get(house);
}

async function bookToday(house) {
  const page = await (await house.as('artist')).newPage();
  await page.goto(`${house.address}/book/new?client=${await aRegular(page, house)}`);
  const services = await page.locator('[name=service] option').allTextContents();
  await page.selectOption('[name=service]', { label: services.find((label) => label.startsWith('Infill, volume')) });
  await page.selectOption('[name=artist]', { label: 'Ines Okafor' });
  await page.fill('[name=day]', new Intl.DateTimeFormat('en-CA', { timeZone: 'Europe/Copenhagen' }).format(new Date()));
  await page.fill('[name=at]', '20:00');
  await page.check('[name=outside]');
  await Promise.all([page.waitForURL(/\/book\/[0-9a-f-]{36}\?told=booked$/), page.click('main form .go')]);
  const path = `/cards/of/${new URL(page.url()).pathname.split('/').at(-1)}`;
  await page.close();
  return path;
}

/** Fills in the form that is open and opens the card. */
export async function openFromForm(page) {
  await page.check('[name=changed][value=no]');
  await page.check('[name=start]');
  const bottles = await page.locator('[name=bottle] option').allTextContents();
  await page.selectOption('[name=bottle]', { label: bottles.find((words) => words.startsWith('Heath') && !words.includes('not for today')) });
  await Promise.all([page.waitForURL(/\/cards\/[0-9a-f-]{36}$/), page.click('main form .go')]);
  return new URL(page.url()).pathname;
}

async function open(house) {
  const page = await (await house.as('artist')).newPage();
  await page.goto(`${house.address}${await formOf(page, house)}`);
  const path = await openFromForm(page);
  await drawAMap(page, house.address + path);
  await page.close();
  return path;
}

/** A map of three zones an eye, so that the pages of this card show one. */
async function drawAMap(page, address) {
  await page.goto(`${address}/map`);
  await page.check('[name=curl][value="C"]');
  await page.check('[name=diameter][value="0.05"]');
  for (const [zone, length] of [[1, 8], [2, 9], [3, 11]]) {
    await page.click(`#zone-left_${zone}`);
    await page.check(`[name=length][value="${length}"]`);
  }
  await page.click('[name=do][value=same]');
  await Promise.all([page.waitForURL(address), page.click('main form .go')]);
}
