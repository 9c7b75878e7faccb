// Waits for what has to be asked for over and over, until it is so. Each wait has an end, which is no promise of the house: a slow
// machine with a slow disk may need most of it.
import assert from 'node:assert/strict';
import { setTimeout } from 'node:timers/promises';

const AT_MOST_MS = 30_000;

/** Asks until the answer is good, and gives it. Whatever goes wrong meanwhile, as where a page is just being left, is asked again. */
export async function until(what, ask, isGood = Boolean) {
  const end = Date.now() + AT_MOST_MS;
  for (;;) {
    const { answer, problem } = await ask().then((answer) => ({ answer }), (problem) => ({ problem }));
    if (!problem && isGood(answer)) return answer;
    if (Date.now() > end) assert.fail(`never so: ${what}; at the end ${problem?.message ?? JSON.stringify(answer)}`);
    await setTimeout(50);
  }
}
