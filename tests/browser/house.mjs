// The invented studio in a real browser: one server, one browser, one signed-in context per person.
import { readFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { chromium } from 'playwright-core';
import { startProgram } from './program.mjs';

const require = createRequire(import.meta.url);

const FLAGS = [
  '--headless',
  '--no-sandbox',
  '--disable-gpu',
  '--disable-quic',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
];

/** Opens the browser that all tests use, with an empty profile. */
export function openBrowser() {
  return chromium.launch({ executablePath: process.env.STILLROOM_TEST_CHROMIUM ?? '/usr/bin/chromium', args: FLAGS });
}

/** Starts the demo, with these options more, and a browser. Close with `house.close()`. */
export async function openHouse({ options = [] } = {}) {
  const program = await startProgram('demo', { options: ['--print-tokens', ...options] });
  // The last of what it prints before it serves.
  await program.line('read-token ');
  const browser = await openBrowser();
  const house = new House(program, browser);
  house.signIns = readSignIns(program.printed);
  // Devices in a client's hands, each a sign-in of its own.
  for (const form of ['consultation', 'treatment']) house.signIns[`handed-${form}`] = { ...house.signIns.owner, handOver: form };
  return house;
}

/** The first person of each role among those whose sign-ins the demo prints: `  NAME  ROLE  passphrase: WORDS`. */
function readSignIns(printed) {
  const people = {};
  for (const line of printed) {
    const match = /^ {2}(\S.*?) +(owner|artist|desk|accountant) +passphrase: (.+)$/.exec(line);
    if (match) people[match[2]] ??= { name: match[1], passphrase: match[3] };
  }
  return people;
}

/** A program that serves, and a browser in which people are signed in to it. */
export class House {
  #contexts = new Map();

  constructor(program, browser) {
    this.program = program;
    this.browser = browser;
    this.address = program.address;
  }

  /** A browser context in which the person with this role is signed in ("nobody" is not). Made once, then shared. */
  async as(role, options = {}) {
    const key = `${role} ${JSON.stringify(options)}`;
    if (!this.#contexts.has(key)) this.#contexts.set(key, this.#newContext(role, options));
    return this.#contexts.get(key);
  }

  /** A context of its own for whoever is not signed in: two pages of strangers would take each other's guest cookie. */
  stranger() {
    return this.#newContext('nobody', {});
  }

  // Without a service worker, which would answer before the tests' own routes do; offline.test.mjs has one.
  async #newContext(role, options) {
    const context = await this.browser.newContext({ locale: 'en-GB', timezoneId: 'Europe/Lisbon', reducedMotion: 'reduce', serviceWorkers: 'block', ...options });
    await stayInside(context, this.address);
    if (role !== 'nobody') {
      const person = this.signIns[role];
      if (!person) throw new Error(`the demo printed no sign-in for ${role}`);
      const page = await context.newPage();
      await signIn(page, this.address, person);
      if (person.handOver) await (await import('./clients.mjs')).handOver(page, this, person.handOver);
      await page.close();
    }
    return context;
  }

  async close() {
    await this.browser.close();
    await this.program.stop();
  }
}

/** Where the link leads that a house nobody has claimed yet prints in the terminal. */
export async function claimPath(house) {
  return new URL(await house.program.line('claim this studio:')).pathname;
}

/** Signs a person in through the form, as she would. */
export async function signIn(page, address, { name, passphrase }) {
  await page.goto(`${address}/sign-in`);
  await page.fill('[name=name]', name);
  await page.fill('[name=passphrase]', passphrase);
  await Promise.all([page.waitForURL((url) => !url.pathname.endsWith('/sign-in')), page.click('main button[type=submit], main form button')]);
}

/**
 * Asks for a path as the person of this context would, without a page around it. (The browser's own request object
 * keeps Secure cookies to itself on a loopback address, where Chromium's pages send them.)
 */
export async function ask(context, address, path, { form, redirect = 'follow' } = {}) {
  const cookies = await context.cookies();
  return fetch(address + path, {
    method: form ? 'POST' : 'GET',
    body: form && new URLSearchParams(form),
    headers: { cookie: cookies.map(({ name, value }) => `${name}=${value}`).join('; ') },
    redirect,
  });
}

/** A page that reaches for another host is a broken promise: such requests are refused, and the test page sees an error. */
export async function stayInside(context, address) {
  await context.route((url) => url.origin !== new URL(address).origin, (route) => route.abort());
}

/** Everything a page complains about while it is open: console errors, script errors, broken or foreign requests. */
export function listenForTrouble(page) {
  const trouble = [];
  page.on('console', (message) => {
    if (message.type() === 'error') trouble.push(`console: ${message.text()}`);
  });
  page.on('pageerror', (error) => trouble.push(`script: ${error.message}`));
  page.on('requestfailed', (request) => {
    // A navigation that the next one replaces is no trouble.
    if (request.failure()?.errorText !== 'net::ERR_ABORTED') trouble.push(`request: ${request.url()} ${request.failure()?.errorText}`);
  });
  page.on('response', (response) => {
    if (response.status() >= 400 && !response.request().isNavigationRequest()) trouble.push(`answer: ${response.status()} ${response.url()}`);
  });
  return trouble;
}

/** The source of axe-core. It enters a context as an init script: a script tag would be stopped by the pages' own policy. */
export function axeSource() {
  return readFile(require.resolve('axe-core/axe.min.js'), 'utf8');
}
