// What is printed of clients, as Chromium prints it: at most two pages of A4, with the hash of the wording and page numbers.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { after, before, describe, test } from 'node:test';
import { anOpenCard } from './cards.mjs';
import { aClient } from './clients.mjs';
import { openHouse } from './house.mjs';

const PURPOSES = ['treatment', 'health_data', 'patch_test', 'record_photos', 'publicity_photos', 'marketing'];

describe('printed on A4', () => {
  let house;
  let page;
  let client;
  const folder = mkdtempSync(join(tmpdir(), 'stillroom-print-'));

  before(async () => {
    house = await openHouse();
    client = await aClient(house);
    page = await (await house.as('owner')).newPage();
  });
  after(async () => {
    await house?.close();
    rmSync(folder, { recursive: true, force: true });
  });

  /** The pages of the PDF of a path, as text. */
  async function printed(path) {
    await page.goto(house.address + path);
    const file = join(folder, 'page.pdf');
    writeFileSync(file, await page.pdf({ preferCSSPageSize: true }));
    const size = execFileSync('pdfinfo', [file], { encoding: 'utf8' });
    assert.match(size, /Page size:\s+59[45](\.\d+)? x 84[12]/, size);
    return execFileSync('pdftotext', ['-layout', file, '-'], { encoding: 'utf8' }).split('\f').slice(0, -1);
  }

  for (const [what, path] of [
    ['a signed consent', () => `/door/clients/${client.id}/consents/${client.consent}`],
    ...PURPOSES.map((purpose) => [`the blank consent to ${purpose}`, () => `/door/consents/${purpose}/blank`]),
  ]) {
    test(`${what} fits two pages and says which wording and which page it is`, async () => {
      const pages = await printed(path());
      assert.ok(pages.length <= 2, `${pages.length} pages`);
      const whole = pages.join(' ').replaceAll(/\s+/g, '');
      assert.match(whole, /[0-9a-f]{64}/);
      pages.forEach((text, at) => assert.match(text, new RegExp(`page\\s+${at + 1}\\s+of\\s+${pages.length}`), `page ${at + 1}: ${text.slice(-300)}`));
    });
  }

  test('the first-aid card fits one page, for the wall', async () => {
    const pages = await printed('/first-aid');
    assert.equal(pages.length, 1, `${pages.length} pages`);
    assert.match(pages[0], /Adhesive in an open eye/);
  });

  // What a careful house adds: where its own things stand, who does what, whom to tell.
  const OWN_WORDS = [
    'One of us stays with her and speaks calmly; somebody else fetches the water and opens the door to the stairs.',
    'The eye bath and the saline stand in the white cupboard behind the reception, upper shelf, with a towel.',
    'Write down when it began and what was used, with the lot from the bottle, before anything is tidied away.',
    'never: send her home alone, or let her drive herself, before somebody trained has looked at her',
  ];
  /** The smallest letters of the card as it is printed, in points. */
  async function smallestLetters() {
    await page.emulateMedia({ media: 'print' });
    const smallest = await page.evaluate(() => {
      const texts = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
      const sizes = [];
      while (texts.nextNode()) {
        const on = texts.currentNode.parentElement;
        if (texts.currentNode.textContent.trim() && on.checkVisibility() && !on.closest('.vh')) sizes.push(parseFloat(getComputedStyle(on).fontSize));
      }
      return Math.min(...sizes) * 0.75;
    });
    await page.emulateMedia({ media: null });
    return smallest;
  }

  // Letters that are read from a step away come first: what does not fit one sheet in them takes a second one, and the form says so.
  for (const [lines, sheets, says] of [[0, 1, /fits one sheet of A4/], [2, 2, /takes two sheets of A4/], [4, 2, /takes two sheets of A4/]]) {
    test(`the first-aid card of a house that adds ${lines} lines to every block fits ${sheets} in letters of 11 points, as its form says`, async () => {
      await page.goto(`${house.address}/office/first-aid`);
      const blocks = await page.locator('textarea[name^=section]').evaluateAll((all) => all.map((one) => one.name));
      assert.ok(blocks.length >= 5, `${blocks.length} blocks`);
      for (const name of blocks) {
        const before = (await page.inputValue(`[name=${name}]`)).split('\n').filter((line) => !OWN_WORDS.includes(line));
        await page.fill(`[name=${name}]`, [...before, ...OWN_WORDS.slice(0, lines)].join('\n'));
      }
      await page.fill('[name=sheets_at]', 'Blue folder in the cupboard beside the door of Gable, second shelf; copies in the office, first drawer of the desk');
      await Promise.all([page.waitForNavigation(), page.click('main form .go')]);
      const pages = await printed('/first-aid');
      assert.equal(pages.length, sheets, `${pages.length} pages`);
      assert.ok((await smallestLetters()) >= 11 - 1e-6, `${await smallestLetters()} points`);
      const words = pages.join(' ').replaceAll(/\s+/g, ' ');
      assert.match(words, /Adhesive in an open eye/);
      assert.match(words, /Blue folder/);
      // All of it is on the sheets: once a block, whatever the columns make of its lines.
      if (lines > 0) assert.ok(words.split(lines === 4 ? 'drive' : 'saline').length - 1 >= blocks.length, words);
      await page.goto(`${house.address}/office/first-aid`);
      assert.match(await page.textContent('main'), says);
    });
  }

  test('the blank questions fit two pages', async () => {
    const pages = await printed('/door/questions/blank');
    assert.ok(pages.length <= 2, `${pages.length} pages`);
  });

  test('a treatment card fits one page and says what was used', async () => {
    const card = await anOpenCard(house);
    const pages = await printed(`${card}/record`);
    assert.equal(pages.length, 1, `${pages.length} pages`);
    assert.match(pages[0], /Used/);
    assert.match(pages[0], /Clearance at the start/);
  });

  test('who met a lot is printed with everybody’s name, how to reach her, when and which lot', async () => {
    await page.goto(`${house.address}/door/lots`);
    const products = await page.locator('[name=product] option').evaluateAll((all) => all.map((one) => one.value).filter(Boolean));
    let traced = '';
    for (const product of products) {
      traced = `/door/lots?product=${product}&lot=`;
      await page.goto(house.address + traced);
      if ((await page.locator('main tbody tr').count()) > 0) break;
    }
    const cells = await page.locator('main tbody tr').evaluateAll((rows) => rows.map((row) => [...row.cells].map((cell) => cell.textContent.trim())));
    assert.ok(cells.length > 0, 'nobody of the invented studio met anything');
    // Word by word: a cell that turns its words over stands beside its neighbours' on the lines of the paper.
    const paper = (await printed(traced)).join(' ').toLowerCase();
    const words = (text) => text.toLowerCase().split(/\s+/).filter((word) => word && word.length < 20);
    for (const word of words('Client To reach her When Lot')) assert.ok(paper.includes(word), `${word}: ${paper}`);
    for (const [name, reach, , lot] of cells) {
      for (const word of words(`${name} ${reach} ${lot}`)) assert.ok(paper.includes(word), `${word} of ${name} is not on the paper: ${paper}`);
    }
  });

  test('tomorrow’s sheet fits two pages, the blank card and the aftercare one each', async () => {
    assert.ok((await printed('/cards/sheets/tomorrow')).length <= 2);
    for (const sheet of ['card', 'test', 'incident', 'aftercare']) {
      const pages = await printed(`/cards/sheets/${sheet}`);
      assert.equal(pages.length, 1, `${sheet}: ${pages.length} pages`);
    }
    assert.ok(await page.locator('figure.scan img').evaluate((image) => image.naturalWidth > 0), 'the code is printed');
  });
});
