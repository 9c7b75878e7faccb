// Clients to look at, put there through the forms: one with everything (answers, consents, a photo, a signature), a minor, and one
// whose record is kept twice.
import { deflateSync } from 'node:zlib';

const made = new Map();

/** The id of a client who has answered, signed and been photographed. Made once a house. */
export function aClient(house) {
  if (!made.has(house)) made.set(house, make(house));
  return made.get(house);
}

/** The path of a page of hers. */
export const onClient = (rest) => async (house) => `/door/clients/${(await aClient(house)).id}${rest}`;

async function make(house) {
  const page = await (await house.as('owner')).newPage();
  const id = await add(page, house, { name: 'Ada Lovell', born_day: '7', born_month: '3', born_year: '1994', phone: '+351 20 30 40 50' });
  await add(page, house, { name: 'Lovell, Ada', born_day: '7', born_month: '3', born_year: '1994', another: true });
  const minor = await add(page, house, { name: 'Liv Dam', born_day: '7', born_month: '3', born_year: String(new Date().getFullYear() - 17) });
  const consultation = await answer(page, house, id);
  const consent = await sign(page, house, id, 'treatment');
  await sign(page, house, id, 'record_photos');
  await page.goto(`${house.address}/door/clients/${id}/photos`);
  await addPhoto(page);
  await page.close();
  return { id, minor, consultation, consent };
}

/** A page of one of the invented studio's own clients, found as the desk finds her. */
export const demoClient = (name, rest) => async (house) => {
  const page = await (await house.as('desk')).newPage();
  await page.goto(`${house.address}/door/clients`);
  await page.fill('[name=typed]', name);
  const href = await page.getAttribute(`main a:text-is("${name}")`, 'href');
  await page.close();
  return `${href}${rest}`;
};

/** Adds a client; her id. */
export async function add(page, house, { another, ...typed }) {
  await page.goto(`${house.address}/door/clients/new`);
  for (const [name, value] of Object.entries(typed)) await page.fill(`[name=${name}]`, value);
  await page.locator('[name=keeper]').first().evaluate((control) => {
    if (control.tagName === 'SELECT') control.value = 'studio';
  });
  await send(page);
  // Somebody like her is here: that it is another is said and sent again.
  if (another) {
    await page.locator('[name=another]').check();
    await send(page);
  }
  return page.url().split('/').at(-1);
}

/** Puts the page's device into a client's hands, for this form. */
export async function handOver(page, house, form) {
  const { id } = await aClient(house);
  await page.goto(`${house.address}/door/clients/${id}/hand-over/${form}`);
  await Promise.all([page.waitForURL(/\/handed-over\/1$/), page.click('main form .go')]);
}

/** The last page of a form in a client's hands. */
export const lastHanded = (role) => async (house) => {
  const page = await (await house.as(role)).newPage();
  await page.goto(`${house.address}/handed-over/1`);
  const [, last] = /1 of (\d+)/.exec(await page.textContent('main'));
  await page.close();
  return `/handed-over/${last}`;
};

const tests = new Map();
const complaints = new Map();
const referred = new Map();

/** A patch test of the client who agreed to photos, with one on it. Placed once a house. */
export function aTest(house) {
  if (!tests.has(house)) tests.set(house, placeATest(house));
  return tests.get(house);
}

async function placeATest(house) {
  const { id } = await aClient(house);
  const page = await (await house.as('owner')).newPage();
  await page.goto(`${house.address}/door/clients/${id}/tests/new`);
  await page.check('[name=done][value=placed]');
  await page.locator('[name=bottle]').first().check();
  await page.check('[name=method][value=lashes]');
  await page.fill('[name=site]', 'outer corners');
  await page.fill('[name=number]', '3');
  await send(page);
  const path = await page.getAttribute('main a[href*="/door/tests/"]', 'href');
  await page.goto(house.address + path);
  await addPhoto(page);
  await page.close();
  return path;
}

/** A complaint of the same client, with a photo on it. Taken in once a house. */
export function aComplaint(house) {
  if (!complaints.has(house)) complaints.set(house, complain(house));
  return complaints.get(house);
}

async function complain(house) {
  const { id } = await aClient(house);
  const page = await (await house.as('owner')).newPage();
  await page.goto(`${house.address}/door/clients/${id}/complaints/new`);
  await page.fill('[name=what]', 'Half of the left side had come off within six days.');
  await send(page);
  const path = new URL(page.url()).pathname;
  await addPhoto(page);
  await page.close();
  return path;
}

/** Adds a photo to the page that is open. */
async function addPhoto(page) {
  const moment = page.locator('[data-photo] [name=moment]').first();
  if ((await moment.count()) > 0) await moment.check();
  await page.setInputFiles('[type=file]', { name: 'lash.png', mimeType: 'image/png', buffer: png(900, 600) });
  await page.waitForFunction(() => document.querySelector('[data-told]').textContent === '', undefined, { polling: 200 });
  await Promise.all([page.waitForNavigation(), page.click('[data-photo] button')]);
}

/** What is left of a client who was erased. */
export async function anErased(house, treated = '') {
  const page = await (await house.as('owner')).newPage();
  const id = await add(page, house, { name: treated ? 'Siv Rask' : 'Siv Roth', born_day: '7', born_month: '3', born_year: '1972' });
  await page.goto(`${house.address}/door/clients/${id}/erasure`);
  await page.check(`[name=treated][value=${treated ? 'yes' : 'no'}]`);
  if (treated) await page.fill('[name=last_day]', treated);
  await Promise.all([page.waitForNavigation(), page.click('main form .halt')]);
  await page.close();
  return `/door/erased/${id}`;
}

/** The answers of a client of which one asks for medical advice first, without any yet. Asked once a house. */
export function adviceFirst(house) {
  if (!referred.has(house)) referred.set(house, refer(house));
  return referred.get(house);
}

async function refer(house) {
  const page = await (await house.as('owner')).newPage();
  const id = await add(page, house, { name: 'Runa Falk', born_day: '9', born_month: '5', born_year: '1981' });
  const consultation = await answer(page, house, id, 'q_eye_care');
  await page.close();
  return `/door/clients/${id}/consultations/${consultation}`;
}

/** Answers everything with no but one question. */
async function answer(page, house, id, yes = 'q_hay_fever') {
  await page.goto(`${house.address}/door/clients/${id}/consultation`);
  await page.check('[name=given_by][value=asked]');
  const names = await page.locator('fieldset input[type=radio]').evaluateAll((all) => [...new Set(all.map((one) => one.name))]);
  for (const name of names.filter((name) => name.startsWith('q_'))) await page.check(`[name=${name}][value="${name === yes ? 1 : 0}"]`);
  await send(page);
  return page.url().split('/').at(-1);
}

/** Signs for a client with a drawn signature; the consent's id. */
export async function sign(page, house, id, purpose) {
  await page.goto(`${house.address}/door/clients/${id}/sign/${purpose}`);
  await draw(page, [[[0.1, 0.7], [0.2, 0.2], [0.3, 0.8]], [[0.4, 0.3], [0.7, 0.6]]]);
  await page.check('[name=agree]');
  await send(page);
  return page.url().split('/').at(-1);
}

/** Draws strokes on the first field to sign in; points are shares of its width and height. */
export async function draw(page, strokes) {
  const field = page.locator('.sign-field').first();
  for (const stroke of strokes) {
    await field.scrollIntoViewIfNeeded();
    const box = await field.boundingBox();
    const at = ([x, y]) => [box.x + x * box.width, box.y + y * box.height];
    await page.mouse.move(...at(stroke[0]));
    await page.mouse.down();
    for (const point of stroke.slice(1)) await page.mouse.move(...at(point), { steps: 3 });
    await page.mouse.up();
  }
}

async function send(page) {
  await Promise.all([page.waitForNavigation(), page.click('main form:has([type=hidden]) .go >> nth=-1')]);
}

/** A picture without a camera: a soft slope of skin colours. */
export function png(wide, high) {
  const rows = Buffer.alloc((wide * 3 + 1) * high);
  for (let y = 0; y < high; y += 1) {
    for (let x = 0; x < wide; x += 1) {
      const at = y * (wide * 3 + 1) + 1 + x * 3;
      rows.set([200 - (x * 40) / wide, 150 - (y * 40) / high, 130], at);
    }
  }
  const header = Buffer.alloc(13);
  header.writeUInt32BE(wide, 0);
  header.writeUInt32BE(high, 4);
  header.set([8, 2, 0, 0, 0], 8);
  const chunk = (kind, content) => {
    const body = Buffer.concat([Buffer.from(kind), content]);
    const length = Buffer.alloc(4);
    length.writeUInt32BE(content.length);
    const sum = Buffer.alloc(4);
    sum.writeUInt32BE(crc(body));
    return Buffer.concat([length, body, sum]);
  };
  return Buffer.concat([Buffer.from('\x89PNG\r\n\x1a\n', 'latin1'), chunk('IHDR', header), chunk('IDAT', deflateSync(rows)), chunk('IEND', Buffer.alloc(0))]);
}

function crc(bytes) {
  let sum = 0xffffffff;
  for (const byte of bytes) {
    sum ^= byte;
    for (let bit = 0; bit < 8; bit += 1) sum = sum & 1 ? (sum >>> 1) ^ 0xedb88320 : sum >>> 1;
  }
  return (sum ^ 0xffffffff) >>> 0;
}
