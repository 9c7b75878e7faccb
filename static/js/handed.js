// In a client's hands: other open pages of this browser close themselves (forms.js listens), and what the browser held ready of
// earlier pages is asked for anew when it comes back.
//
// Nothing a client answers waits in the outbox. What waits is opened for the live sign-in of whoever entered it, and here nobody is
// signed in as the one who answers: it would go out later under somebody else's hand. And nothing counts before she has looked over all
// her answers, which stand in the house: an entry sent after the device was given back would be given without that. So each page is
// kept by the house before the next is shown, and without network she is asked in person.

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
