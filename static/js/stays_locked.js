// A tablet that was locked while the house could not be reached stays locked: until the house has been told, no page of whoever was signed
// in is shown, and none of its scripts runs. Not a module, so that it comes before all of them. The lock does the telling (locked.js).
(() => {
  let next;
  try {
    next = JSON.parse(localStorage.getItem("stillroom.lock") ?? "null")?.next;
  } catch {
    return; // Storage switched off: nothing was written down either.
  }
  if (typeof next !== "string") return;
  const base = new URL(document.currentScript.src).pathname.split("/static/")[0];
  document.documentElement.hidden = true;
  window.stop();
  location.replace(`${base}/tablet?${new URLSearchParams({ next })}`);
})();
