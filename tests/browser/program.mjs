// Starts the program under test in a folder of its own and takes both away again.
import { spawn } from 'node:child_process';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';

export const repository = resolve(dirname(fileURLToPath(import.meta.url)), '../..');

const binary = process.env.STILLROOM_TEST_BINARY ?? join(process.env.CARGO_TARGET_DIR ?? join(repository, 'target'), 'debug/stillroom');

// The demo seeds months of data before it listens; a debug build on a busy machine takes its time over that.
const READY_WITHIN_MS = 120_000;

/**
 * Starts `stillroom COMMAND` on a free loopback port and waits until it says where it listens.
 * `printed` holds every line of its output so far; `stop()` ends it and removes its folder.
 */
export async function startProgram(command, { options = [], environment = {} } = {}) {
  const folder = await mkdtemp(join(tmpdir(), 'stillroom-browser-'));
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
    const stuck = setTimeout(endChild, 5_000);
    await ended;
    clearTimeout(stuck);
    await rm(folder, { recursive: true, force: true });
  };
  try {
    const address = await listeningAddress(child, printed);
    return { address, printed, folder, stop };
  } catch (problem) {
    await stop();
    throw problem;
  }
}

/** The environment without this program's own options, so that a developer's settings don't leak into the tests. */
function withoutOurOptions(environment) {
  return Object.fromEntries(Object.entries(environment).filter(([name]) => !name.startsWith('STILLROOM_')));
}

function listeningAddress(child, printed) {
  return new Promise((found, failed) => {
    const patience = setTimeout(() => failed(new Error(`not listening after ${READY_WITHIN_MS} ms:\n${printed.join('\n')}`)), READY_WITHIN_MS);
    const read = (line) => {
      printed.push(line);
      const match = /^listening on (http:\/\/\S+)/.exec(line);
      if (match) {
        clearTimeout(patience);
        found(match[1].replace(/\/$/, ''));
      }
    };
    createInterface({ input: child.stdout }).on('line', read);
    createInterface({ input: child.stderr }).on('line', (line) => printed.push(line));
    child.once('error', failed);
    child.once('close', (code) => failed(new Error(`ended with ${code} before it listened:\n${printed.join('\n')}`)));
  });
}
