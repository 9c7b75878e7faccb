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

async function formOf(page, house) {
  await page.goto(`${house.address}/door/clients`);
  await page.fill('[type=search]', 'Agda Winther');
  const href = await page.getAttribute('main a:text-is("Agda Winther")', 'href');
  return `/cards/for/${href.split('/').at(-1)}`;
}

async function open(house) {
  const page = await (await house.as('artist')).newPage();
  await page.goto(`${house.address}${await formOf(page, house)}`);
  await page.check('[name=changed][value=no]');
  await page.check('[name=start]');
  await page.selectOption('[name=bottle]', { label: 'Heath' }).catch(() => page.selectOption('[name=bottle]', { index: 1 }));
  await Promise.all([page.waitForURL(/\/cards\/[0-9a-f-]{36}$/), page.click('main form .go')]);
  const path = new URL(page.url()).pathname;
  await page.close();
  return path;
}
