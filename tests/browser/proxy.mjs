// A network that goes: a proxy before the house that cuts connections off before or after the house has answered, stalls, or is down.
import { randomUUID } from 'node:crypto';
import { createServer, request } from 'node:http';

/** Numbers between 0 and 1, the same for the same seed (a linear congruential generator modulo 2^32). */
export function chance(seed) {
  let state = seed >>> 0;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  };
}

/** Tells a page that the network is back, as the browser does. One that is just being loaded anew sees for itself. */
export const tellOnline = (page) => page.evaluate(() => void dispatchEvent(new Event('online'))).catch(() => {});

/**
 * Stands before `address` (http://host:port). What may be set on it:
 *   down       every connection is cut at once
 *   blocked    forms whose address matches are cut, and nothing else is
 *   cut        { before, after, stalls, roll }: shares of forms cut before they are sent and after they were kept, how many are held
 *              for five seconds first, and the chance behind it
 *   freshKeys  each form is sent on under a form key nobody has used
 * And what it has seen: `kept`, the form keys the house said it has, in the order of its answers; `cuts`, how many of each.
 */
export async function startProxy(address) {
  const to = new URL(address);
  const proxy = { down: false, blocked: null, cut: null, freshKeys: false, kept: [], cuts: { before: 0, after: 0, stalls: 0 } };

  const server = createServer({ keepAlive: false }, async (asked, answer) => {
    if (proxy.down || (asked.method === 'POST' && proxy.blocked?.test(asked.url))) return asked.socket.destroy();
    const parts = [];
    try {
      for await (const part of asked) parts.push(part);
    } catch {
      return;
    }
    let body = Buffer.concat(parts);
    const form = asked.method === 'POST' ? new URLSearchParams(body.toString()) : null;
    const cut = (form && proxy.cut) || { before: 0, after: 0, stalls: 0, roll: () => 1 };
    const roll = cut.roll();
    if (proxy.cuts.stalls < cut.stalls && cut.roll() < 0.2) {
      proxy.cuts.stalls += 1;
      await new Promise((done) => setTimeout(done, 5_000));
    }
    if (roll < cut.before) {
      proxy.cuts.before += 1;
      return asked.socket.destroy();
    }
    const key = form?.get('form_key');
    const opens = asked.url.endsWith('/outbox/open');
    if (form && proxy.freshKeys && !opens) {
      form.set('form_key', randomUUID());
      body = Buffer.from(form.toString());
    }
    const headers = { ...asked.headers, connection: 'close' };
    if (asked.method === 'POST') headers['content-length'] = String(body.length);
    const sent = request({ host: to.hostname, port: to.port, method: asked.method, path: asked.url, headers }, (got) => {
      if (got.headers['stillroom-kept'] && key) proxy.kept.push(key);
      if (roll < cut.before + cut.after) {
        proxy.cuts.after += 1;
        got.resume();
        got.once('end', () => asked.socket.destroy());
        return;
      }
      answer.writeHead(got.statusCode, { ...got.headers, connection: 'close' });
      got.pipe(answer);
      got.once('error', () => answer.destroy());
    });
    sent.once('error', () => asked.socket.destroy());
    answer.once('close', () => sent.destroy());
    sent.end(body);
  });
  await new Promise((done) => server.listen(0, '127.0.0.1', done));
  proxy.address = `http://127.0.0.1:${server.address().port}`;
  proxy.close = () => {
    server.closeAllConnections();
    return new Promise((done) => server.close(done));
  };
  return proxy;
}
