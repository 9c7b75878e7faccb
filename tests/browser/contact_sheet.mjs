// Pictures of every page on every kind of device, bright and dim, put together into contact sheets to look at.
//
//   tests/contact_sheet [FOLDER] [--pick] [--only NAME]…
//
// FOLDER is target/contact-sheet when not given. --pick also takes the README's pictures, into docs/pictures.
import { mkdir, rm, writeFile } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { openBrowser } from './house.mjs';
import { Houses } from './houses.mjs';
import { act, pages } from './pages.mjs';
import { forget } from './stored.mjs';
import { repository } from './program.mjs';

const DEVICES = {
  'tablet-portrait': { width: 800, height: 1280 },
  'tablet-landscape': { width: 1280, height: 800 },
  'tablet-small': { width: 1024, height: 768 },
  phone: { width: 360, height: 740 },
  'phone-narrow': { width: 320, height: 640 },
  desk: { width: 1440, height: 900 },
};
const LIGHTS = { bright: 'light', dim: 'dark' };

// A longer picture is cut on the sheet, which is for looking at, not for reading.
const TALLEST_THUMB = 1100;

// How wide a picture is on the sheet.
const THUMB = { 'tablet-portrait': 400, 'tablet-landscape': 560, 'tablet-small': 480, phone: 270, 'phone-narrow': 240, desk: 600 };

const { folder, pick, only } = readArguments(process.argv.slice(2));
await rm(folder, { recursive: true, force: true });
await mkdir(folder, { recursive: true });

const houses = new Houses();
const forSheets = await openBrowser();
try {
  const shown = pages.filter((page) => only.length === 0 || only.includes(page.name));
  for (const device of Object.keys(DEVICES)) {
    for (const light of Object.keys(LIGHTS)) {
      await takePictures(shown, device, light);
      await putTogether(shown, device, light);
      console.log(`${device}, ${light}: ${shown.length} pages`);
    }
  }
  await writeIndex(shown);
  if (pick) await pickForReadme(shown);
} finally {
  await forSheets.close();
  await houses.close();
}
console.log(`look at ${join(folder, 'index.html')}`);

function readArguments(words) {
  const chosen = { folder: join(repository, 'target/contact-sheet'), pick: false, only: [] };
  for (let at = 0; at < words.length; at += 1) {
    if (words[at] === '--pick') chosen.pick = true;
    else if (words[at] === '--only') chosen.only.push(words[(at += 1)]);
    else if (words[at].startsWith('-')) throw new Error(`unknown option ${words[at]}`);
    else chosen.folder = resolve(words[at]);
  }
  return chosen;
}

function pictureOf(name, device, light) {
  return `${name}-${device}-${light}.png`;
}

async function takePictures(shown, device, light) {
  for (const listed of shown) {
    const page = await openAt(listed, DEVICES[device], light);
    await page.screenshot({ path: join(folder, pictureOf(listed.name, device, light)), fullPage: true });
    // What was typed for this picture is no draft in the next.
    if (listed.then) await forget(page);
    await page.close();
  }
}

/** A listed page, open in a window of this size, with done on it what the list says. */
async function openAt(listed, size, light) {
  const house = await houses.house(listed.in);
  const page = await (await house.as(listed.as)).newPage();
  await page.setViewportSize(size);
  await page.emulateMedia({ colorScheme: LIGHTS[light], reducedMotion: 'reduce' });
  await page.goto(house.address + (await houses.pathOf(listed)), { waitUntil: 'networkidle' });
  if (listed.then) {
    await act(page, listed);
    await page.waitForLoadState('networkidle');
  }
  return page;
}

/** One picture of all pictures of a device in one light. The browser itself puts it together. */
async function putTogether(shown, device, light) {
  const figures = shown.map(({ name, as }) => `<figure><img src="${pictureOf(name, device, light)}" width="${THUMB[device]}" alt=""><figcaption>${name}, for ${as}</figcaption></figure>`);
  const sheet = `sheet-${device}-${light}`;
  const ground = light === 'dim' ? '#000;color:#ccc' : '#fff;color:#333';
  await writeFile(
    join(folder, `${sheet}.html`),
    `<!doctype html><html lang="en"><meta charset="utf-8"><title>${device}, ${light}</title>
<style>body{margin:16px;background:${ground};font:14px sans-serif;display:flex;flex-wrap:wrap;gap:16px;align-items:flex-start}
figure{margin:0}img{display:block;border:1px solid #888;max-height:${TALLEST_THUMB}px;object-fit:cover;object-position:top}</style>
${figures.join('\n')}</html>`,
  );
  const page = await forSheets.newPage();
  await page.setViewportSize({ width: 5 * (THUMB[device] + 18) + 32, height: 900 });
  await page.goto(pathToFileURL(join(folder, `${sheet}.html`)).href, { waitUntil: 'load' });
  await page.screenshot({ path: join(folder, `${sheet}.png`), fullPage: true });
  await page.close();
}

async function writeIndex(shown) {
  const rows = Object.keys(DEVICES).flatMap((device) => Object.keys(LIGHTS).map((light) => `<li><a href="sheet-${device}-${light}.png">${device}, ${light}</a></li>`));
  const each = shown.map(
    ({ name, as }) =>
      `<li>${name}, for ${as}: ${Object.keys(DEVICES)
        .flatMap((device) => Object.keys(LIGHTS).map((light) => `<a href="${pictureOf(name, device, light)}">${device} ${light}</a>`))
        .join(' · ')}</li>`,
  );
  await writeFile(
    join(folder, 'index.html'),
    `<!doctype html><html lang="en"><meta charset="utf-8"><title>Contact sheet</title><h1>Contact sheet</h1><ul>${rows.join('')}</ul><h2>Page by page</h2><ul>${each.join('')}</ul></html>`,
  );
}

/** The README's pictures: what the window shows, no more, so that they stay light. */
async function pickForReadme(shown) {
  const pictures = join(repository, 'docs/pictures');
  await mkdir(pictures, { recursive: true });
  for (const listed of shown.filter((page) => page.picture)) {
    const { file, device, light, height } = listed.picture;
    const page = await openAt(listed, { ...DEVICES[device], ...(height && { height }) }, light);
    await page.screenshot({ path: join(pictures, file) });
    await page.close();
    console.log(`docs/pictures/${file}`);
  }
}
