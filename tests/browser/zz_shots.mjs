import { mkdir } from 'node:fs/promises';
import { Houses } from './houses.mjs';
import { act, pages } from './pages.mjs';
import { forget } from './stored.mjs';
const [folder, w, h, scheme, from, to] = process.argv.slice(2);
await mkdir(folder, { recursive: true });
const houses = new Houses();
const list = pages.slice(Number(from), Number(to));
for (const listed of list) {
  try {
    const house = await houses.house(listed.in);
    const page = await (await house.as(listed.as)).newPage();
    await page.setViewportSize({ width: +w, height: +h });
    await page.emulateMedia({ colorScheme: scheme, reducedMotion: 'reduce' });
    await page.goto(house.address + (await houses.pathOf(listed)), { waitUntil: 'load' });
    if (listed.then) await act(page, listed);
    const n = String(pages.indexOf(listed)).padStart(3, '0');
    await page.screenshot({ path: `${folder}/${n}-${listed.name}.png`, fullPage: true });
    if (listed.then) await forget(page);
    await page.close();
  } catch (e) { console.log(listed.name, String(e).slice(0, 200)); }
}
await houses.close();
console.log('done');
process.exit(0);
