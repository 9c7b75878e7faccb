// In a client's hands: other open pages of this browser close themselves (forms.js listens), and what the browser held ready of
// earlier pages is asked for anew when it comes back.

import { forget } from "./kept.js";
import { canSeal } from "./seal.js";

// What people of the studio left unfinished here is not left in a client's hands, sealed or not; what waits opens in the house alone.
if (canSeal) forget((person) => person !== "handed").catch(() => {});

try {
  localStorage.setItem("stillroom.handed", "1");
  new BroadcastChannel("stillroom.handed").postMessage("handed over");
} catch {
  // Storage or channels switched off: the server answers nothing but the form all the same.
}
