// The service worker: where the network is away a page stands in for the one that was wanted, and the first-aid card is there.
//
// It keeps the shell and nothing else: the page for no network and the first-aid card, both asked for without cookies, so that no
// name stands on them, and files under the address of their build. No page of anybody is ever kept, and nothing that is sent passes
// through here: entries wait in the outbox (outbox.js), which needs no worker.
//
// The page that registers it names its build (?v=): another build is another worker, which fills a cache of its own and throws the
// older ones away.

const version = new URL(location.href).searchParams.get("v") ?? "";
const base = new URL(registration.scope).pathname.replace(/\/$/, "");
const ours = `stillroom ${base} `;
const shell = ours + version;
const away = `${base}/offline`;
const firstAid = `${base}/first-aid`;
const FRESH_MS = 10 * 60_000;

/** Fetches a page as a stranger and keeps it, with the files it names. */
async function keep(path) {
  const page = await fetch(path, { credentials: "omit", cache: "no-store", redirect: "error" });
  if (!page.ok) throw new Error(`${path}: ${page.status}`);
  const cache = await caches.open(shell);
  const text = await page.text();
  const files = [...text.matchAll(/(?:href|src)="([^"]*\/static\/[^"]*)"/g)].map(([, file]) => file);
  for (const file of new Set(files)) {
    if (!(await cache.match(file))) await cache.add(file);
  }
  // The time at which it was kept is not the time at which it is read.
  const timeless = text.replace(/(<p class="clock">)[^]*?(<\/p>)/, "$1$2");
  await cache.put(path, new Response(timeless, { headers: page.headers }));
}

/** Asks for the first-aid card again once the one kept here is some minutes old: the house may have changed its numbers. */
async function freshen() {
  const kept = await caches.match(firstAid, { cacheName: shell });
  const age = Date.now() - Date.parse(kept?.headers.get("date") ?? "");
  if (!(age < FRESH_MS)) await keep(firstAid);
}

/** A page: from the house, or what stands in for it. */
async function pageFor(event, path) {
  try {
    const answer = await fetch(event.request);
    event.waitUntil(freshen().catch(() => {}));
    return answer;
  } catch {
    const cache = await caches.open(shell);
    return (await cache.match(path === firstAid ? firstAid : away)) ?? Response.error();
  }
}

/** A file under the address of a build never changes: the one kept here is as good as the house's. */
async function fileFor(request) {
  const cache = await caches.open(shell);
  const kept = await cache.match(request);
  if (kept) return kept;
  const answer = await fetch(request);
  // Only this build's own: the house answers for an older one with today's file.
  if (answer.ok && new URL(request.url).pathname.startsWith(`${base}/static/${version}/`)) await cache.put(request, answer.clone());
  return answer;
}

addEventListener("install", (event) => {
  event.waitUntil(Promise.all([keep(away), keep(firstAid)]).then(() => skipWaiting()));
});

addEventListener("activate", (event) => {
  const clear = async () => {
    const older = (await caches.keys()).filter((name) => name.startsWith(ours) && name !== shell);
    await Promise.all(older.map((name) => caches.delete(name)));
    await clients.claim();
  };
  event.waitUntil(clear());
});

addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  const below = pathname === base || pathname.startsWith(`${base}/`);
  if (request.method !== "GET" || origin !== location.origin || !below) return;
  if (pathname.startsWith(`${base}/static/`)) event.respondWith(fileFor(request));
  else if (request.mode === "navigate") event.respondWith(pageFor(event, pathname));
});
