// Every page × portrait and landscape × bright and dim: nothing for axe to find (contrast 7 to 1), nothing wider than the narrowest
// phone or at 200 %, nothing cut off where text alone is twice as large, nothing too small for a gloved finger, and no complaint of the browser under the pages' own policy. On paper: no button,
// nothing wider than the sheet. The demonstration says on each of its pages that it is one, and no other house does.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { accessibility, contrast, cutOff, demonstrationLine, layout, shown, shownButtons, sidewaysScroll, skeleton, smallTargets } from './checks.mjs';
import { ask, axeSource, listenForTrouble } from './house.mjs';
import { Houses } from './houses.mjs';
import { act, isListed, kindOf, linksIn, pages } from './pages.mjs';
import { forget } from './stored.mjs';
import { until } from './until.mjs';

const WINDOWS = { portrait: { width: 800, height: 1280 }, landscape: { width: 1280, height: 800 } };
const LIGHTS = { bright: 'light', dim: 'dark' };
const NARROWEST = { width: 320, height: 640 };
// 1280 × 800 at 200 %.
const ZOOMED = { width: 640, height: 400 };
// A4 within the margins of the stylesheet (14 mm at the sides), in CSS pixels.
const SHEET = { width: 688, height: 1017 };

// The promise for a page that the browser has never seen, and for one whose assets it already has (compressed bytes).
const FIRST_LOAD_AT_MOST = 120_000;
const PAGE_AT_MOST = 40_000;

describe('pages', () => {
  const houses = new Houses();
  let house;

  before(async () => {
    house = await houses.house();
  });
  after(() => houses.close());

  // Two at a time: while one page waits for the server, the other is looked at. Each in a browser of its own: what one page has waiting
  // to be sent, another page of the same browser would send.
  const free = new Map();
  let made = 0;
  describe('each', { concurrency: 2 }, () => {
    for (const listed of pages) {
      test(`${listed.name}, for ${listed.as}`, async () => {
        const its = await houses.house(listed.in);
        const kind = `${listed.in ?? 'demo'} ${listed.as}`;
        // The window is set for each look; here it only makes the browser another one.
        const options = () => ({ viewport: { width: 800 + (made += 1), height: 1280 } });
        const context = free.get(kind)?.pop() ?? (await contextFor(listed.as, its, options()));
        const page = context.left ?? (await context.newPage());
        const complaints = await complaintsAbout(page, listed);
        assert.deepEqual(complaints, []);
        // What one page refused is no entry of the next.
        if (listed.then) await forget(page);
        // A page that was good is used again: a new one costs as much as a whole look.
        page.removeAllListeners();
        await page.goto('about:blank');
        context.left = page;
        if (listed.as !== 'nobody') free.set(kind, [...(free.get(kind) ?? []), context]);
      });
    }
  });

  for (const role of ['owner', 'artist', 'desk', 'accountant', 'nobody']) {
    test(`every page that links lead ${role} to answers, and is in the list`, async () => {
      const context = await contextFor(role);
      assert.deepEqual(await strayLinks(context, role), []);
    });
  }

  async function contextFor(role, its = house, options = {}) {
    const known = its.signIns[role] !== undefined || role === 'nobody';
    assert.ok(known, `the house has no ${role}`);
    const context = await (role === 'nobody' ? its.stranger() : its.as(role, options));
    context.withAxe ??= axeSource().then((content) => context.addInitScript({ content }));
    await context.withAxe;
    return context;
  }

  async function complaintsAbout(page, listed) {
    const trouble = listenForTrouble(page);
    const { address } = await houses.house(listed.in);
    const weight = await weigh(page);
    await page.setViewportSize(WINDOWS.portrait);
    await page.emulateMedia({ media: 'screen', colorScheme: 'light', reducedMotion: 'reduce' });
    let answer = await page.goto(address + (await houses.pathOf(listed)));
    // The browser tells of the page and of its weight on two ways.
    await until('the page was weighed', async () => weight.document > 0);
    // What is loaded after the page has been used, or after a form came back with its mistakes, is no first load.
    const first = listed.then && { ...weight };
    if (listed.then) {
      page.on('response', (response) => {
        if (response.request().isNavigationRequest()) answer = response;
      });
      await act(page, listed);
    }
    const complaints = [];
    const tell = (where, found) => complaints.push(...found.map((line) => `${where}: ${line}`));
    if (answer.status() !== (listed.status ?? 200)) tell('answer', [String(answer.status())]);
    tell('skeleton', await skeleton(page));
    tell('demonstration', await demonstrationLine(page, (listed.in ?? 'demo') === 'demo'));
    let before;
    for (const [orientation, size] of Object.entries(WINDOWS)) {
      await page.setViewportSize(size);
      const shows = await shown(page);
      for (const [light, colorScheme] of Object.entries(LIGHTS)) {
        await page.emulateMedia({ colorScheme });
        // The light changes colours and nothing else, and so does a turn of the tablet that shows and hides nothing.
        const look = light === 'dim' ? contrast : shows === before ? layout : accessibility;
        tell(`axe, ${orientation}, ${light}`, await look(page));
      }
      before = shows;
      tell(`sideways, ${orientation}`, await sidewaysScroll(page));
      tell(`target, ${orientation}`, await smallTargets(page));
    }
    tell('weight', heavy(first || weight));
    await page.setViewportSize(ZOOMED);
    tell('sideways, 200 %', await sidewaysScroll(page));
    tell('target, 200 %', await smallTargets(page));
    // Text alone twice as large, which no policy of ours keeps a browser from.
    await page.setViewportSize(WINDOWS.portrait);
    await page.evaluate(() => (document.documentElement.style.fontSize = '200%'));
    tell('sideways, large text', await sidewaysScroll(page));
    tell('cut off, large text', await cutOff(page));
    await page.evaluate(() => (document.documentElement.style.fontSize = ''));
    await page.setViewportSize(NARROWEST);
    tell('sideways, 320', await sidewaysScroll(page));
    tell('target, 320', await smallTargets(page));
    await page.setViewportSize(SHEET);
    await page.emulateMedia({ media: 'print', colorScheme: 'light' });
    tell('sideways, on paper', await sidewaysScroll(page));
    tell('on paper', await shownButtons(page));
    // The browser itself complains about a page that is meant to be missing.
    tell('browser', trouble.filter((line) => !listed.status || !(line.includes(`status of ${listed.status}`) || line.startsWith(`answer: ${listed.status} `))));
    return complaints;
  }

  async function strayLinks(context, role) {
    const stray = [];
    const seen = new Set();
    const open = ['/'];
    while (open.length > 0) {
      const path = open.shift();
      const kind = kindOf(path);
      if (seen.has(kind) || path.startsWith('/static/')) continue;
      seen.add(kind);
      const answer = await ask(context, house.address, path);
      const landed = kindOf(new URL(answer.url).pathname);
      if (answer.status !== 200) stray.push(`${path} answers ${answer.status}`);
      // Nobody is shown a door that does not open: whoever is signed in is not sent to sign in again.
      if (landed === '/sign-in' && role !== 'nobody') stray.push(`${path} sends ${role} to the sign-in`);
      if (!(answer.headers.get('content-type') ?? '').startsWith('text/html')) continue;
      if (!isListed(landed)) stray.push(`${landed} is not in pages.mjs`);
      open.push(...linksIn(await answer.text()));
    }
    return stray;
  }
});

/** Counts the compressed bytes of all that a page loads, and of its document alone, as if the browser had never seen it. */
async function weigh(page) {
  const session = (page.session ??= await page.context().newCDPSession(page));
  session.removeAllListeners();
  await session.send('Network.enable');
  await session.send('Network.setCacheDisabled', { cacheDisabled: true });
  const documents = new Set();
  const weight = { all: 0, document: 0 };
  session.on('Network.responseReceived', ({ requestId, type }) => type === 'Document' && documents.add(requestId));
  session.on('Network.loadingFinished', ({ requestId, encodedDataLength }) => {
    weight.all += encodedDataLength;
    if (documents.has(requestId)) weight.document += encodedDataLength;
  });
  return weight;
}

/** What of a page is heavier than the promise. */
function heavy({ all, document }) {
  const found = [];
  if (all === 0 || document === 0) found.push('nothing was counted');
  if (all > FIRST_LOAD_AT_MOST) found.push(`${all} bytes on the first load`);
  if (document > PAGE_AT_MOST) found.push(`the page alone has ${document} bytes`);
  return found;
}
