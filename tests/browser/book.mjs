// Ways into the book of the invented studio, whatever day it is.
import { ask } from './house.mjs';

const ID = '[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}';
const VISIT = new RegExp(`href="([^"]*/book/${ID})"`);

/** The day so many days from today. */
export const dayAfter = (days) => new Date(Date.now() + days * 86_400_000).toISOString().slice(0, 10);

/** A day within the next week on which the artist who signs in has somebody, and the address of that appointment. */
async function busy(house) {
  const context = await house.as('artist');
  for (let days = 1; days < 8; days += 1) {
    const html = await (await ask(context, house.address, `/book?day=${dayAfter(days)}`)).text();
    const found = VISIT.exec(html);
    if (found) return { day: dayAfter(days), appointment: found[1] };
  }
  throw new Error('nobody is booked within a week');
}

/** The diary of a day on which something is booked. */
export async function onBusyDay(house) {
  return `/book?day=${(await busy(house)).day}`;
}

/** The diary of a day within the next two weeks on which the artist who signs in has half hours to give. */
export async function onDayWithRoom(house) {
  const context = await house.as('artist');
  for (let days = 1; days < 15; days += 1) {
    const path = `/book?day=${dayAfter(days)}`;
    const html = await (await ask(context, house.address, path)).text();
    if ((html.match(/class="plus"/g) ?? []).length > 2) return path;
  }
  throw new Error('nothing is free within two weeks');
}

/** An appointment of the artist who signs in. */
export async function anAppointment(house) {
  return (await busy(house)).appointment;
}

/** Free times for the first service of the list, after four. */
export async function freeTimes(house) {
  const html = await (await ask(await house.as('desk'), house.address, '/book/free')).text();
  const service = new RegExp(`<option value="(${ID})"`).exec(html)[1];
  return `/book/free?service=${service}&after=14:00`;
}

/** Puts somebody on the waiting list. */
export async function waitForATime(page) {
  await page.fill('[name=short_name]', 'Elin V.');
  await page.selectOption('[name=service]', { index: 1 });
  await Promise.all([page.waitForNavigation(), page.click('[action$="/book/waiting"] .go')]);
}
