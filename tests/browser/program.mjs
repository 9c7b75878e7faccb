// Starts the program under test in a folder of its own and takes both away again.
import { spawn } from 'node:child_process';
import { cp, mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { createInterface } from 'node:readline';
import { setTimeout } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';

export const repository = resolve(dirname(fileURLToPath(import.meta.url)), '../..');

const binary = process.env.STILLROOM_TEST_BINARY ?? join(process.env.CARGO_TARGET_DIR ?? join(repository, 'target'), 'debug/stillroom');

// The demo seeds months of data before it listens; a debug build on a busy machine takes its time over that.
const READY_WITHIN_MS = 120_000;

/**
 * Starts `stillroom COMMAND` on a free loopback port and waits until it says where it listens.
 * `line(beginning)` gives the rest of the first line that begins so, as soon as there is one; `stop()` ends the
 * program and removes its folder.
 */
export async function startProgram(command, { options = [], environment = {} } = {}) {
  const folder = await mkdtemp(join(tmpdir(), 'stillroom-browser-'));
  // Each file of tests wants an invented studio of its own, and filling one takes longer than copying one that was filled.
  if (command === 'demo' && process.env.STILLROOM_TEST_DEMO) await cp(process.env.STILLROOM_TEST_DEMO, folder, { recursive: true });
  const child = spawn(binary, [command, '--listen', '127.0.0.1:0', '--data-dir', join(folder, 'data'), ...options], {
    env: { ...withoutOurOptions(process.env), ...environment },
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  const printed = [];
  const ended = new Promise((done) => child.once('close', done));
  // Whatever ends the tests, the server does not outlive them.
  const endChild = () => child.kill('SIGKILL');
  process.once('exit', endChild);

  const stop = async () => {
    process.off('exit', endChild);
    child.kill('SIGTERM');
    await Promise.race([ended, setTimeout(5_000, undefined, { ref: false })]);
    endChild();
    await ended;
    await rm(folder, { recursive: true, force: true });
  };
  try {
    const address = await listeningAddress(child, printed);
    // It serves once it has printed everything it has to say.
    await fetch(`${address}/readyz`);
    await setTimeout(50);
    return { address, printed, folder, stop, line: (beginning) => printedLine(printed, beginning) };
  } catch (problem) {
    await stop();
    throw problem;
  }
}

async function printedLine(printed, beginning) {
  for (let waited = 0; waited < 30_000; waited += 20) {
    const line = printed.find((text) => text.startsWith(beginning));
    if (line !== undefined) return line.slice(beginning.length).trim();
    await setTimeout(20);
  }
  throw new Error(`the program printed no line "${beginning}…":\n${printed.join('\n')}`);
}

/** The environment without this program's own options, so that a developer's settings don't leak into the tests. */
function withoutOurOptions(environment) {
  return Object.fromEntries(Object.entries(environment).filter(([name]) => !name.startsWith('STILLROOM_')));
}

function listeningAddress(child, printed) {
  return new Promise((found, failed) => {
    const giveUp = () => failed(new Error(`not listening after ${READY_WITHIN_MS} ms:\n${printed.join('\n')}`));
    const patience = new AbortController();
    setTimeout(READY_WITHIN_MS, undefined, { signal: patience.signal, ref: false }).then(giveUp, () => {});
    const read = (line) => {
      printed.push(line);
      const match = /^listening on (http:\/\/\S+)/.exec(line);
      if (match) {
        patience.abort();
        found(match[1].replace(/\/$/, ''));
      }
    };
    createInterface({ input: child.stdout }).on('line', read);
    createInterface({ input: child.stderr }).on('line', (line) => printed.push(line));
    child.once('error', failed);
    child.once('close', (code) => failed(new Error(`ended with ${code} before it listened:\n${printed.join('\n')}`)));
  });
}
