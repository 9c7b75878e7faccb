// In a client's hands: other open pages of this browser close themselves (forms.js listens), and what the browser held ready of
// earlier pages is asked for anew when it comes back.

try {
  localStorage.setItem("stillroom.handed", "1");
  new BroadcastChannel("stillroom.handed").postMessage("handed over");
} catch {
  // Storage or channels switched off: the server answers nothing but the form all the same.
}
