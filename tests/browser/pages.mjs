// Every page of the house, as one list: what is checked in the browser and what the contact sheet shows.
//
// name    short, also the file name of its picture
// as      whose page it is: nobody, owner, artist, desk, accountant
// path    where it is; or
// on,link the page on which to look, and the link to follow from there (a page whose address holds an id)
// in      which house: demo (when not given), unclaimed, empty, one-room; see houses.mjs
// reach   how its path is found, given the house, where no page links to it
// then    what to do on it before it is looked at: a form sent with mistakes shows its page in trouble
// query   what follows the path after a question mark
// status  what it answers, when that is not 200
// picture how the README shows it: the file under docs/pictures, the device, the light, and the window's height where
//         it is another than the device's

import { ask, claimPath } from './house.mjs';
import { aClient, aComplaint, adviceFirst, anErased, aTest, demoClient, lastHanded, onClient } from './clients.mjs';
import { anAppointment, freeTimes, onBusyDay, waitForATime } from './book.mjs';
import { anEarlierVersion, anOpenCard, toCorrectACard, toHerCards, toOpenABookedCard, toOpenACard } from './cards.mjs';
import { anArtist } from './hands.mjs';
import { bottleOf, onBottle } from './shelf.mjs';
import { until } from './until.mjs';

const ID = '[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}';

/** A link whose path is this, with `{id}` standing for any id. */
const link = (path) => new RegExp(`^${path.replaceAll('{id}', ID)}$`);

/** Sends the page's form as it stands. */
const send = (page) => page.click('main form .go');

/** Fills a form in over something that somebody else has changed since, and sends it. */
const overNewer = (field, value) => async (page) => {
  await page.locator('main [name=stood]').first().evaluate((mark) => {
    mark.value = 'of before';
  });
  await page.fill(`[name=${field}]`, value);
  await send(page);
};

/** Sends it and waits for the page it leads to. */
const sendOn = (page) => Promise.all([page.waitForNavigation(), send(page)]);

/** A form of the outbox is sent by its script first; what is refused is then shown as the page it is. */
const sendThroughOutbox = (page) => refusedBy(page, 'main form .go');

async function refusedBy(page, button) {
  await page.click(button);
  await page.waitForSelector('.mistakes');
}

/** The keypad's form, sent with nothing typed in it. */
async function refuseReading(page) {
  await page.click('.pad .keep');
  await page.waitForSelector('.typed.wrong');
}

/** A look at a test in which nothing was chosen. */
const refuseLook = (page) => refusedBy(page, '[action$="/looks"] .go');

/** The keypad with a reading half typed. */
async function typeTwenty(page) {
  for (const key of ['2', '1', 'point', '4', '3']) await page.click(`[name=key][value="${key}"]`);
}

/** A logger's file with one line that no clock has. Each time of another day, since what is here already is not kept again. */
let loggerFiles = 0;
const loggerFile = () => {
  const day = new Date(Date.UTC(2026, 0, 5 + loggerFiles)).toISOString().slice(0, 10);
  loggerFiles += 1;
  return ['time;temperature °C;humidity %', `${day} 09:00;20,8;36`, `${day} 09:10;20,9;36,5`, `${day} 25:00;21,0;37`];
};
/** The third of April, or the fourth of March. */
const AMBIGUOUS = ['time;temperature °C;humidity %', '03/04/2026 09:00;20,8;36', '03/04/2026 09:10;20,9;36,5'];

/** Hands in a file of these lines. */
const handIn = (lines) => async (page) => {
  await page.setInputFiles('[type=file]', { name: 'gable.csv', mimeType: 'text/csv', buffer: Buffer.from(lines.join('\n')) });
  await sendOn(page);
};

/** Hands in the logger's file and keeps what is good in it. */
async function keepLoggerFile(page) {
  await handIn(loggerFile())(page);
  await sendOn(page);
  const isDone = async () => (await page.textContent('main')).includes('Done');
  await until('the file was taken in', async () => (await isDone()) || (await page.reload(), isDone()));
}

/**
 * Does on an open page what its row says is done before it is looked at, and waits for what that leads to: the page that was
 * there is loaded all the while, so a row that has a status waits for a document that was answered with it.
 */
export async function act(page, listed) {
  let answered;
  const hear = (response) => {
    if (response.request().isNavigationRequest()) answered = response.status();
  };
  page.on('response', hear);
  const arrived = listed.status && page.waitForEvent('load', { predicate: () => answered === listed.status });
  await Promise.all([arrived, listed.then(page)]);
  await page.waitForLoadState('load');
  page.off('response', hear);
}

export const pages = [
  { name: 'sign-in', as: 'nobody', path: '/sign-in' },
  { name: 'sign-in-refused', as: 'nobody', path: '/sign-in', then: send, status: 422 },
  { name: 'first-aid', as: 'nobody', path: '/first-aid' },
  { name: 'offline', as: 'nobody', path: '/offline' },

  { name: 'today', as: 'artist', path: '/', picture: { file: 'today.png', device: 'tablet-portrait', light: 'bright' } },
  { name: 'today-owner', as: 'owner', path: '/' },
  { name: 'today-desk', as: 'desk', path: '/' },
  { name: 'today-accountant', as: 'accountant', path: '/' },

  { name: 'rooms', as: 'artist', path: '/rooms' },
  { name: 'rooms-owner', as: 'owner', path: '/rooms' },
  { name: 'room', as: 'artist', on: '/rooms', link: link('/rooms/{id}'), picture: { file: 'room.png', device: 'tablet-landscape', light: 'bright', height: 1230 } },
  { name: 'room-owner', as: 'owner', on: '/rooms', link: link('/rooms/{id}') },
  { name: 'reading', as: 'artist', on: '/rooms', link: link('/rooms/{id}/readings/new'), then: typeTwenty, picture: { file: 'keypad.png', device: 'tablet-landscape', light: 'dim' } },
  // Of another person: what the row before it typed is her draft.
  { name: 'reading-refused', as: 'owner', on: '/rooms', link: link('/rooms/{id}/readings/new'), then: refuseReading, status: 422 },
  { name: 'room-new', as: 'owner', path: '/rooms/new' },
  { name: 'room-new-refused', as: 'owner', path: '/rooms/new', then: send, status: 422 },
  { name: 'room-edit', as: 'owner', on: link('/rooms/{id}'), link: link('/rooms/{id}/edit') },
  { name: 'import-new', as: 'artist', on: link('/rooms/{id}'), link: link('/rooms/{id}/imports/new') },
  { name: 'room-week', as: 'artist', on: '/rooms', link: link('/rooms/{id}'), query: 'span=week' },
  { name: 'room-month', as: 'artist', on: '/rooms', link: link('/rooms/{id}'), query: 'span=month' },
  { name: 'import-question', as: 'artist', on: link('/rooms/{id}'), link: link('/rooms/{id}/imports/new'), then: handIn(AMBIGUOUS) },
  { name: 'import-unreadable', as: 'artist', on: link('/rooms/{id}'), link: link('/rooms/{id}/imports/new'), then: handIn(['no table', 'at all']) },
  { name: 'import-done', as: 'artist', on: link('/rooms/{id}'), link: link('/rooms/{id}/imports/new'), then: keepLoggerFile },
  { name: 'import', as: 'artist', on: link('/rooms/{id}'), link: link('/rooms/{id}/imports/new'), then: (page) => handIn(loggerFile())(page) },
  { name: 'instrument-new', as: 'owner', on: link('/rooms/{id}'), link: link('/rooms/{id}/instruments/new') },
  { name: 'instrument-new-refused', as: 'owner', on: link('/rooms/{id}'), link: link('/rooms/{id}/instruments/new'), then: send, status: 422 },
  { name: 'instrument', as: 'artist', on: link('/rooms/{id}'), link: link('/rooms/{id}/instruments/{id}') },
  { name: 'instrument-owner', as: 'owner', on: link('/rooms/{id}'), link: link('/rooms/{id}/instruments/{id}') },

  { name: 'shelf', as: 'artist', reach: onShelf, link: link('/shelf') },
  { name: 'shelf-owner', as: 'owner', path: '/shelf' },
  { name: 'shelf-finished', as: 'artist', path: '/shelf', query: 'show=finished' },
  { name: 'bottle', as: 'artist', reach: onBottle(''), link: link('/shelf/bottles/{id}') },
  { name: 'bottle-edit', as: 'desk', reach: onBottle('/edit'), link: link('/shelf/bottles/{id}/edit') },
  { name: 'bench', as: 'artist', reach: onBottle('/bench'), link: link('/shelf/bottles/{id}/bench') },
  { name: 'bench-refused', as: 'artist', reach: onBottle('/bench'), link: link('/shelf/bottles/{id}/bench'), then: sendThroughOutbox, status: 422 },
  { name: 'bottle-new', as: 'artist', path: '/shelf/bottles/new' },
  { name: 'bottle-new-refused', as: 'artist', path: '/shelf/bottles/new', then: refuseBottle, status: 422 },
  { name: 'product-new', as: 'owner', path: '/shelf/products/new' },
  { name: 'product-new-refused', as: 'owner', path: '/shelf/products/new', then: sendThroughOutbox, status: 422 },
  { name: 'product-edit', as: 'owner', on: '/shelf', link: link('/shelf/products/{id}/edit') },
  { name: 'classes', as: 'artist', path: '/shelf/classes' },
  { name: 'classes-owner', as: 'owner', path: '/shelf/classes' },
  { name: 'class', as: 'owner', on: '/shelf/classes', link: link('/shelf/classes/{id}') },
  { name: 'liquids', as: 'artist', path: '/shelf/liquids' },
  { name: 'empty-shelf', as: 'owner', in: 'empty', path: '/shelf' },

  { name: 'hands', as: 'artist', reach: () => '/hands', link: link('/hands') },
  { name: 'hands-owner', as: 'owner', path: '/hands' },
  { name: 'hands-desk', as: 'desk', path: '/hands' },
  { name: 'artist-new', as: 'owner', path: '/hands/new' },
  { name: 'artist', as: 'artist', reach: onHands(''), link: link('/hands/{id}') },
  { name: 'artist-edit', as: 'artist', reach: onHands('/edit'), link: link('/hands/{id}/edit') },
  { name: 'session', as: 'artist', reach: onSession, link: link('/hands/{id}/sessions/{id}') },
  { name: 'timing', as: 'artist', reach: onHands('/timing'), link: link('/hands/{id}/timing') },
  { name: 'timing-video', as: 'artist', reach: onHands('/timing/video'), link: link('/hands/{id}/timing/video') },
  { name: 'timing-typed', as: 'artist', reach: onHands('/timing/typed'), link: link('/hands/{id}/timing/typed') },
  { name: 'timing-rows', as: 'artist', reach: onHands('/timing/rows'), link: link('/hands/{id}/timing/rows') },

  { name: 'plan', as: 'artist', on: link('/rooms/{id}'), link: link('/rooms/{id}/plan') },
  { name: 'plan-owner', as: 'owner', on: link('/rooms/{id}'), link: link('/rooms/{id}/plan') },
  { name: 'plan-damp', as: 'artist', on: link('/rooms/{id}'), link: link('/rooms/{id}/plan'), query: 'humidity=70' },
  { name: 'plan-refused', as: 'artist', on: link('/rooms/{id}'), link: link('/rooms/{id}/plan'), then: (page) => page.click('[action$="/plan/outside"] .act'), status: 422 },
  { name: 'running', as: 'owner', on: link('/rooms/{id}/plan'), link: link('/rooms/{id}/devices/{id}/running') },

  { name: 'advice', as: 'artist', on: '/', link: link('/rooms/{id}/advice') },
  { name: 'advice-owner', as: 'owner', on: '/', link: link('/rooms/{id}/advice') },
  { name: 'advice-desk', as: 'desk', on: '/', link: link('/rooms/{id}/advice') },
  { name: 'advice-taken', as: 'owner', path: '/advice' },
  { name: 'advice-kept', as: 'owner', reach: onAdviceTaken, link: link('/advice/{id}') },
  { name: 'forecast', as: 'owner', path: '/office/forecast' },

  { name: 'door', as: 'desk', path: '/door' },
  { name: 'clients', as: 'desk', reach: onClients, link: link('/door/clients') },
  { name: 'clients-empty', as: 'owner', in: 'empty', path: '/door/clients' },
  { name: 'client-new', as: 'desk', path: '/door/clients/new' },
  { name: 'client-new-refused', as: 'desk', path: '/door/clients/new', then: sendThroughOutbox, status: 422 },
  { name: 'client', as: 'owner', reach: onClient(''), link: link('/door/clients/{id}') },
  { name: 'client-desk', as: 'desk', reach: onClient('') },
  { name: 'client-edit', as: 'desk', reach: onClient('/edit'), link: link('/door/clients/{id}/edit') },
  { name: 'client-ask', as: 'owner', reach: onClient('/consultation'), link: link('/door/clients/{id}/consultation') },
  { name: 'client-ask-refused', as: 'owner', reach: onClient('/consultation'), then: sendThroughOutbox, status: 422 },
  { name: 'client-answers', as: 'owner', reach: onRecord('consultations', 'consultation'), link: link('/door/clients/{id}/consultations/{id}') },
  { name: 'client-sign', as: 'owner', reach: onClient('/sign/patch_test'), link: words('/door/clients/{id}/sign/') },
  { name: 'client-sign-refused', as: 'owner', reach: onClient('/sign/patch_test'), then: (page) => page.click('main form .go'), status: 422 },
  { name: 'client-sign-minor', as: 'owner', reach: async (house) => `/door/clients/${(await aClient(house)).minor}/sign/treatment` },
  { name: 'client-consent', as: 'owner', reach: onRecord('consents', 'consent'), link: link('/door/clients/{id}/consents/{id}') },
  { name: 'client-photos', as: 'owner', reach: onClient('/photos'), link: link('/door/clients/{id}/photos') },
  { name: 'client-photo-refused', as: 'owner', reach: onClient('/photos'), then: (page) => page.click('[data-photo] button'), status: 422 },
  { name: 'client-hand-over', as: 'owner', reach: onClient('/hand-over/treatment'), link: words('/door/clients/{id}/hand-over/') },
  { name: 'client-file', as: 'owner', reach: onClient('/file'), link: link('/door/clients/{id}/file') },
  { name: 'client-restriction', as: 'owner', reach: onClient('/restriction'), link: link('/door/clients/{id}/restriction') },
  { name: 'client-erasure', as: 'owner', reach: onClient('/erasure'), link: link('/door/clients/{id}/erasure') },
  { name: 'client-erased', as: 'owner', reach: (house) => anErased(house), link: link('/door/erased/{id}') },
  { name: 'clients-erased', as: 'owner', reach: async (house) => (await anErased(house, '2025-11-30'), '/door/erased'), link: link('/door/erased') },
  { name: 'clients-erased-none', as: 'owner', in: 'empty', path: '/door/erased' },
  { name: 'client-erased-file', as: 'owner', reach: async (house) => `${await anErased(house, '2025-11-30')}/file`, link: link('/door/erased/{id}/file') },
  { name: 'client-duplicates', as: 'desk', reach: async (house) => (await aClient(house), '/door/clients/duplicates'), link: link('/door/clients/duplicates') },
  { name: 'client-merge', as: 'desk', reach: onPair, link: link('/door/clients/{id}/merge/{id}') },
  { name: 'client-import-new', as: 'desk', path: '/door/clients/import' },
  { name: 'client-import', as: 'desk', path: '/door/clients/import', then: handIn(['name;phone;born', 'Nora Falk;30405060;1.5.1980', 'Bad Row;;31.2.1990']) },
  { name: 'questions', as: 'owner', path: '/door/questions' },
  { name: 'question', as: 'owner', path: '/door/questions/lens', link: words('/door/questions/') },
  { name: 'question-new', as: 'owner', path: '/door/questions/new' },
  { name: 'questions-blank', as: 'desk', path: '/door/questions/blank' },
  { name: 'consents', as: 'owner', path: '/door/consents' },
  { name: 'consent-text', as: 'owner', path: '/door/consents/treatment', link: words('/door/consents/') },
  { name: 'consent-blank', as: 'desk', path: '/door/consents/treatment/blank', link: words('/door/consents/', '/blank') },
  { name: 'ages', as: 'owner', path: '/door/ages' },

  { name: 'handed-question', as: 'handed-consultation', path: '/handed-over/1', link: /^\/handed-over\/\d+$/ },
  { name: 'handed-refused', as: 'handed-consultation', path: '/handed-over/1', then: (page) => page.click('main form .go'), status: 422 },
  { name: 'handed-answers', as: 'handed-consultation', reach: lastHanded('handed-consultation') },
  { name: 'handed-wording', as: 'handed-treatment', path: '/handed-over/1' },
  { name: 'handed-name', as: 'handed-treatment', path: '/handed-over/2' },
  { name: 'handed-signature', as: 'handed-treatment', path: '/handed-over/3' },
  { name: 'handed-closed', as: 'handed-treatment', path: '/office', status: 403 },
  { name: 'handed-leave', as: 'handed-treatment', path: '/handed-over/leave' },
  { name: 'book', as: 'artist', reach: onBusyDay, link: link('/book') },
  { name: 'book-owner', as: 'owner', reach: onBusyDay, link: link('/book') },
  { name: 'book-desk-beds', as: 'desk', reach: async (house) => `${await onBusyDay(house)}&by=beds`, link: link('/book') },
  { name: 'book-week', as: 'artist', path: '/book/week' },
  { name: 'book-new', as: 'desk', path: '/book/new' },
  { name: 'book-new-client', as: 'desk', reach: async (house) => `/book/new?client=${(await aClient(house)).id}`, link: link('/book/new') },
  { name: 'book-new-refused', as: 'desk', path: '/book/new', then: sendThroughOutbox, status: 422 },
  { name: 'appointment', as: 'artist', reach: anAppointment, link: link('/book/{id}') },
  { name: 'appointment-move', as: 'artist', reach: async (house) => `${await anAppointment(house)}/move`, link: link('/book/{id}/move') },
  { name: 'free', as: 'desk', path: '/book/free' },
  { name: 'free-found', as: 'desk', reach: freeTimes, link: link('/book/free') },
  { name: 'waiting', as: 'desk', path: '/book/waiting', then: waitForATime },
  { name: 'waiting-refused', as: 'desk', path: '/book/waiting', then: (page) => page.click('[action$="/book/waiting"] .go'), status: 422 },
  { name: 'services', as: 'owner', path: '/book/services' },
  { name: 'service-new', as: 'owner', path: '/book/services/new' },
  { name: 'service-new-refused', as: 'owner', path: '/book/services/new', then: send, status: 422 },
  { name: 'service', as: 'owner', on: '/book/services', link: link('/book/services/{id}') },
  { name: 'hours', as: 'owner', path: '/book/hours' },
  { name: 'hours-artist', as: 'owner', on: '/book/hours', link: link('/book/hours/{id}') },
  { name: 'off', as: 'desk', path: '/book/off' },
  { name: 'beds', as: 'owner', path: '/book/beds' },
  { name: 'calendar', as: 'artist', on: '/book', link: link('/book/calendar/{id}') },
  { name: 'cards', as: 'artist', path: '/cards' },
  { name: 'card-open', as: 'artist', reach: toOpenACard, link: link('/cards/for/{id}') },
  { name: 'card-work', as: 'artist', reach: anOpenCard, link: link('/cards/{id}') },
  { name: 'card-bottle', as: 'artist', reach: async (house) => `${await anOpenCard(house)}/bottle`, link: link('/cards/{id}/bottle') },
  { name: 'card-map', as: 'artist', reach: async (house) => `${await anOpenCard(house)}/map`, link: link('/cards/{id}/map') },
  { name: 'card-arrival', as: 'artist', reach: async (house) => `${await anOpenCard(house)}/arrival`, link: link('/cards/{id}/arrival') },
  { name: 'card-close', as: 'artist', reach: async (house) => `${await anOpenCard(house)}/close`, link: link('/cards/{id}/close') },
  { name: 'card-close-refused', as: 'artist', reach: async (house) => `${await anOpenCard(house)}/close`, link: link('/cards/{id}/close'), then: sendThroughOutbox, status: 422 },
  { name: 'card-record', as: 'artist', reach: async (house) => `${await anOpenCard(house)}/record`, link: link('/cards/{id}/record') },
  { name: 'card-correct', as: 'artist', reach: toCorrectACard, link: link('/cards/{id}/correct') },
  { name: 'card-correct-refused', as: 'artist', reach: toCorrectACard, link: link('/cards/{id}/correct'), then: sendThroughOutbox, status: 422 },
  { name: 'card-version', as: 'artist', reach: anEarlierVersion, link: link('/cards/{id}/versions/{id}') },
  { name: 'cards-tomorrow', as: 'desk', path: '/cards/sheets/tomorrow' },
  { name: 'cards-blank', as: 'desk', path: '/cards/sheets/card', link: words('/cards/sheets/') },
  { name: 'cards-aftercare', as: 'desk', path: '/cards/sheets/aftercare' },
  { name: 'aftercare', as: 'nobody', path: '/aftercare' },
  { name: 'cards-her', as: 'artist', reach: toHerCards, link: link('/cards/her/{id}') },
  { name: 'card-open-booked', as: 'artist', reach: toOpenABookedCard, link: link('/cards/of/{id}') },
  { name: 'cards-settings', as: 'owner', path: '/cards/settings' },
  { name: 'empty-cards', as: 'owner', in: 'empty', path: '/cards' },
  { name: 'empty-book', as: 'owner', in: 'empty', path: '/book' },
  { name: 'empty-beds', as: 'owner', in: 'empty', path: '/book/beds' },

  { name: 'office', as: 'owner', path: '/office' },
  { name: 'settings', as: 'owner', path: '/office/settings' },
  { name: 'people', as: 'owner', path: '/office/people' },
  { name: 'person', as: 'owner', on: '/office/people', link: link('/office/people/{id}') },
  { name: 'first-aid-edit', as: 'owner', path: '/office/first-aid' },
  { name: 'settings-refused', as: 'owner', path: '/office/settings', then: refuseSettings, status: 422 },
  { name: 'tablets', as: 'owner', path: '/office/tablets' },
  { name: 'digits', as: 'artist', path: '/office/code' },
  { name: 'tokens', as: 'owner', path: '/office/tokens' },
  { name: 'token', as: 'owner', on: '/office/tokens', link: link('/office/tokens/{id}') },
  { name: 'audit', as: 'owner', path: '/office/audit' },
  { name: 'office-artist', as: 'artist', path: '/office' },
  { name: 'sessions', as: 'artist', path: '/office/sessions' },

  // Clearance. Pages of one client are found through the demo's own expected clients.
  { name: 'not-cleared', as: 'desk', path: '/door/not-cleared' },
  { name: 'not-cleared-artist', as: 'artist', path: '/door/not-cleared' },
  { name: 'visit-who', as: 'desk', path: '/door/visits/new' },
  { name: 'walk-in-who', as: 'desk', path: '/door/walk-in' },
  { name: 'house-adhesive', as: 'owner', path: '/door/house-adhesive' },
  { name: 'house-adhesive-refused', as: 'owner', path: '/door/house-adhesive', then: (page) => page.fill('[name=from]', '2020-01-01T00:00').then(() => send(page)), status: 422 },
  { name: 'lots', as: 'owner', path: '/door/lots' },
  { name: 'stops', as: 'owner', path: '/door/stops' },
  { name: 'stop-new', as: 'owner', path: '/door/stops/new' },
  { name: 'stop-new-refused', as: 'owner', path: '/door/stops/new', then: sendThroughOutbox, status: 422 },
  { name: 'staff-incidents', as: 'owner', path: '/door/staff-incidents' },
  { name: 'staff-incidents-refused', as: 'artist', path: '/door/staff-incidents', then: sendThroughOutbox, status: 422 },
  { name: 'clearance-rules', as: 'owner', path: '/office/clearance' },
  { name: 'clearance', as: 'artist', reach: demoClient('Alva Lindqvist', '/clearance'), link: link('/door/clients/{id}/clearance') },
  { name: 'clearance-desk', as: 'desk', reach: demoClient('Alva Lindqvist', '/clearance') },
  { name: 'clearance-held', as: 'owner', reach: demoClient('Dagny Holte', '/clearance') },
  { name: 'test-new', as: 'desk', reach: demoClient('Alva Lindqvist', '/tests/new'), link: link('/door/clients/{id}/tests/new') },
  { name: 'test-new-refused', as: 'desk', reach: demoClient('Alva Lindqvist', '/tests/new'), then: (page) => page.fill('[name=at]', '').then(() => sendThroughOutbox(page)), status: 422 },
  { name: 'test', as: 'owner', on: '/door/not-cleared', link: link('/door/tests/{id}') },
  { name: 'visit-new', as: 'desk', reach: demoClient('Alva Lindqvist', '/visits/new'), link: link('/door/clients/{id}/visits/new') },
  { name: 'visit-new-refused', as: 'desk', reach: demoClient('Alva Lindqvist', '/visits/new'), then: (page) => page.fill('[name=at]', '').then(() => sendThroughOutbox(page)), status: 422 },
  { name: 'walk-in', as: 'desk', reach: demoClient('Alva Lindqvist', '/walk-in'), link: link('/door/clients/{id}/walk-in') },
  { name: 'reaction-new', as: 'artist', reach: demoClient('Alva Lindqvist', '/reactions/new'), link: link('/door/clients/{id}/reactions/new') },
  { name: 'reaction-new-refused', as: 'owner', reach: demoClient('Alva Lindqvist', '/reactions/new'), then: sendThroughOutbox, status: 422 },
  { name: 'reaction', as: 'owner', on: '/door/not-cleared', link: link('/door/reactions/{id}') },
  { name: 'complaint-new', as: 'desk', reach: demoClient('Alva Lindqvist', '/complaints/new'), link: link('/door/clients/{id}/complaints/new') },
  { name: 'finding-new', as: 'owner', reach: demoClient('Alva Lindqvist', '/findings/new'), link: link('/door/clients/{id}/findings/new') },
  { name: 'statement-new', as: 'owner', reach: demoClient('Alva Lindqvist', '/statements/new'), link: link('/door/clients/{id}/statements/new') },
  { name: 'stop', as: 'owner', on: '/door/stops', link: link('/door/stops/{id}') },
  { name: 'stop-told-refused', as: 'owner', on: '/door/stops', link: link('/door/stops/{id}'), then: (page) => page.click('[action$="/told"] .act'), status: 422 },
  { name: 'test-photos', as: 'owner', reach: aTest, link: link('/door/tests/{id}') },
  { name: 'test-photo-refused', as: 'owner', reach: aTest, then: (page) => page.click('[data-photo] button'), status: 422 },
  { name: 'test-look-refused', as: 'owner', reach: aTest, then: refuseLook, status: 422 },
  { name: 'complaint', as: 'owner', reach: aComplaint, link: link('/door/complaints/{id}') },
  { name: 'complaint-photo-refused', as: 'owner', reach: aComplaint, then: (page) => page.click('[data-photo] button'), status: 422 },
  { name: 'complaint-refused', as: 'owner', reach: aComplaint, then: refuseDecision, status: 422 },
  { name: 'complaint-twice', as: 'owner', reach: aComplaint, then: decidedMeanwhile, status: 409 },
  { name: 'complaint-new-refused', as: 'desk', reach: demoClient('Alva Lindqvist', '/complaints/new'), then: sendThroughOutbox, status: 422 },
  { name: 'finding-new-refused', as: 'owner', reach: demoClient('Alva Lindqvist', '/findings/new'), then: sendThroughOutbox, status: 422 },
  { name: 'statement-new-refused', as: 'owner', reach: demoClient('Alva Lindqvist', '/statements/new'), then: sendThroughOutbox, status: 422 },
  { name: 'decision-new', as: 'owner', reach: demoClient('Ebba Sorensdal', '/decisions/new'), link: link('/door/clients/{id}/decisions/new') },
  { name: 'decision-new-refused', as: 'owner', reach: demoClient('Ebba Sorensdal', '/decisions/new'), then: sendThroughOutbox, status: 422 },
  { name: 'walk-in-refused', as: 'desk', reach: demoClient('Alva Lindqvist', '/walk-in'), then: sendThroughOutbox, status: 422 },
  { name: 'reaction-look-refused', as: 'owner', on: '/door/not-cleared', link: link('/door/reactions/{id}'), then: (page) => refusedBy(page, '[action*="/follow-ups/"] .go'), status: 422 },
  { name: 'reaction-told-refused', as: 'owner', on: '/door/not-cleared', link: link('/door/reactions/{id}'), then: (page) => page.click('[action$="/told"] .act'), status: 422 },
  { name: 'lots-found', as: 'owner', path: '/door/lots', then: traceALot },
  { name: 'clearance-rules-refused', as: 'owner', path: '/office/clearance', then: (page) => page.fill('[name=wait_hours]', '12').then(() => send(page)), status: 422 },
  { name: 'cover-refused', as: 'owner', reach: coverOf, then: (page) => page.fill('[name=last_day]', 'soon').then(() => send(page)), status: 422 },
  { name: 'client-edit-refused', as: 'desk', reach: onClient('/edit'), then: (page) => page.fill('[name=name]', '').then(() => sendThroughOutbox(page)), status: 422 },
  { name: 'client-erasure-refused', as: 'owner', reach: onClient('/erasure'), then: (page) => page.click('main form .halt'), status: 422 },
  { name: 'client-file-open', as: 'owner', reach: onClient('/file?open=yes') },
  { name: 'question-new-refused', as: 'owner', path: '/door/questions/new', then: send, status: 422 },
  { name: 'question-refused', as: 'owner', path: '/door/questions/lens', then: (page) => page.fill('[name=text]', '').then(() => send(page)), status: 422 },
  { name: 'consent-text-refused', as: 'owner', path: '/door/consents/treatment', then: (page) => page.fill('[name=body]', '').then(() => send(page)), status: 422 },
  { name: 'ages-refused', as: 'owner', path: '/door/ages', then: (page) => page.fill('[name=guardian_below]', 'grown up').then(() => send(page)), status: 422 },
  { name: 'ages-moved', as: 'owner', path: '/door/ages', then: overNewer('answers_days', '90'), status: 409 },
  { name: 'first-aid-moved', as: 'owner', path: '/office/first-aid', then: overNewer('sheets_at', 'In the drawer'), status: 409 },
  { name: 'client-advice-first', as: 'owner', reach: adviceFirst, link: link('/door/clients/{id}/consultations/{id}') },
  { name: 'client-advice-first-refused', as: 'owner', reach: adviceFirst, then: (page) => refusedBy(page, '[action$="/advice"] .act'), status: 422 },
  { name: 'cover', as: 'owner', reach: coverOf, link: link('/office/people/{id}/cover') },
  { name: 'empty-not-cleared', as: 'owner', in: 'empty', path: '/door/not-cleared' },

  { name: 'claim', as: 'nobody', in: 'unclaimed', reach: claimPath },
  { name: 'claim-refused', as: 'nobody', in: 'unclaimed', reach: claimPath, then: send, status: 422 },
  { name: 'invited', as: 'nobody', reach: invite },
  { name: 'empty-today', as: 'owner', in: 'empty', path: '/' },
  { name: 'empty-rooms', as: 'owner', in: 'empty', path: '/rooms' },
  { name: 'empty-tokens', as: 'owner', in: 'empty', path: '/office/tokens' },
  { name: 'one-room-today', as: 'owner', in: 'one-room', path: '/' },
  { name: 'one-room', as: 'owner', in: 'one-room', on: '/rooms', link: link('/rooms/{id}') },

  { name: 'no-such-page', as: 'owner', path: '/no-such-page', status: 404 },
  { name: 'not-hers', as: 'artist', path: '/office/settings', status: 403 },
];

/** The same with a word at its end: a purpose, a form, a question. */
function words(path, end = '') {
  return new RegExp(`^${path.replaceAll('{id}', ID)}[a-z_]+${end}$`);
}

/** The page on which somebody else is chosen for an artist's clients. */
async function coverOf(house) {
  const page = await (await house.as('owner')).newPage();
  await page.goto(`${house.address}/office/people`);
  const href = await page.getAttribute('main a:has-text("Ines Okafor")', 'href');
  await page.close();
  return `${href}/cover`;
}

/** The list of clients with somebody in it. */
async function onClients(house) {
  await aClient(house);
  return '/door/clients';
}

/** A record of hers: the one that was made first. */
function onRecord(place, which) {
  return async (house) => {
    const client = await aClient(house);
    return `/door/clients/${client.id}/${place}/${client[which]}`;
  };
}

/** A decision while somebody else takes another one. */
async function decidedMeanwhile(page) {
  const decide = async (on, what) => {
    await on.check(`[name=decision][value=${what}]`);
    // The row before this one may have left an amount that is none.
    await on.fill('[name=refund]', '');
    await on.click('[action$="/decision"] .go');
  };
  const other = await page.context().newPage();
  await other.goto(page.url());
  const stands = await other.inputValue('[name=decision]:checked');
  await Promise.all([other.waitForNavigation(), decide(other, stands === 'refused' ? 'explained' : 'refused')]);
  await other.close();
  await decide(page, 'fix');
}

/** Money back, and how much in words. */
async function refuseDecision(page) {
  await page.check('[name=decision][value=refund]');
  await page.fill('[name=refund]', 'a lot');
  await refusedBy(page, '[action$="/decision"] .go');
}

/** Who met the first product of the list, whatever the lot. */
async function traceALot(page) {
  await page.selectOption('[name=product]', { index: 1 });
  await Promise.all([page.waitForNavigation(), page.click('main form .act')]);
}

/** Two records that look like one person. */
async function onPair(house) {
  await aClient(house);
  const links = await linksOn(await house.as('desk'), house.address, '/door/clients/duplicates');
  return links.find((path) => path.includes('/merge/'));
}

/** A page of the artist who signs in. */
function onHands(place) {
  return async (house) => `${await anArtist(house)}${place}`;
}

/** One of her timing sessions. */
async function onSession(house) {
  const links = await linksOn(await house.as('artist'), house.address, await anArtist(house));
  return links.find((path) => /\/sessions\/[0-9a-f-]{36}$/.test(path));
}

/** An advice that was taken: the owner takes the bottle that one of the day sheet's cells proposes. */
async function onAdviceTaken(house) {
  const context = await house.as('owner');
  const page = await context.newPage();
  await page.goto(`${house.address}/`);
  for (const path of await page.$$eval('.board .cell', (cells) => cells.map((cell) => cell.getAttribute('href')))) {
    await page.goto(house.address + path);
    const take = page.locator('#advice form[action$="/advice"] button:visible');
    if (!(await take.count())) continue;
    await Promise.all([page.waitForURL(/kept=/), take.click()]);
    break;
  }
  await page.close();
  const links = await linksOn(context, house.address, '/advice');
  return links.find((path) => /^\/advice\/[0-9a-f-]{36}$/.test(path));
}

/** The shelf with a bottle on it. */
async function onShelf(house) {
  await bottleOf(house);
  return '/shelf';
}

/** A bottle that came on no day. */
async function refuseBottle(page) {
  await page.fill('[name=received]', '');
  await sendThroughOutbox(page);
}

/** Where an invitation to the studio leads. */
async function invite(house) {
  const page = await (await house.as('owner')).newPage();
  await page.goto(`${house.address}/office/people`);
  await page.fill('[name=name]', 'Maximiliane-Konstanze Ostwaldhausenberger-Niederreutherstein');
  await page.check('[name=role][value=artist]');
  await send(page);
  const link = await page.textContent('[data-invitation]');
  await page.close();
  return new URL(link).pathname;
}

/** The upper end of a band below its lower end. */
async function refuseSettings(page) {
  await page.fill('[name=humidity_high]', '30');
  await send(page);
}

/** The path of a page, looked up through the page that links to it where it holds an id. */
export async function pathOf(page, context, address) {
  if (page.path) return page.path;
  // A page that stands on a room's page is looked for on the first room's.
  const on = page.on instanceof RegExp ? await follow(page.on, '/rooms', context, address) : page.on;
  const found = await follow(page.link, on, context, address);
  return page.query ? `${found}?${page.query}` : found;
}

async function follow(link, on, context, address) {
  const links = await linksOn(context, address, on);
  const found = links.find((path) => link.test(path.split('?')[0]));
  if (!found) throw new Error(`no link like ${link} on ${on}, only\n${links.join('\n')}`);
  return found;
}

/** The paths that a page links to, in order, without places within a page. */
export async function linksOn(context, address, path) {
  const answer = await ask(context, address, path);
  return linksIn(await answer.text());
}

/** The paths of all links in this HTML. */
export function linksIn(html) {
  return [...html.matchAll(/<a\s[^>]*?href="([^"]*)"/g)]
    .map((match) => match[1].replaceAll('&amp;', '&').replaceAll('&#38;', '&').split('#')[0])
    .filter((href) => href.startsWith('/'));
}

/** The path with every id taken out, so that two rooms are one kind of page. */
export function kindOf(path) {
  return path.split('?')[0].replaceAll(new RegExp(ID, 'g'), '{id}');
}

/** True when the list holds a page of this kind. */
export function isListed(kind) {
  return pages.some((page) => ((page.path && kindOf(page.path) === kind) || page.link?.test(kind.replaceAll('{id}', '00000000-0000-0000-0000-000000000000'))));
}
