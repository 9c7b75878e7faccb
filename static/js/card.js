// The card at the bed: counts the time of a drop on, says when a fresh one is due, and takes a new one by one key. While a drop runs,
// when it began is kept on the device for the lock of a shared tablet (locked.js): a time, the card's id and the mark that it lay here; no name.

const running = "stillroom.running";
const attempt = (what) => {
  try {
    return what();
  } catch {
    return null; // Storage switched off: the lock then shows what the server knows.
  }
};

// Looked for anew each time: a page that keeps up puts a fresh one in its place.
const shown = () => document.querySelector("[data-since]");
const madeAt = new WeakMap();
const seconds = (timer) => {
  if (!madeAt.has(timer)) madeAt.set(timer, Date.now());
  return Math.floor(Number(timer.dataset.since) + (Date.now() - madeAt.get(timer)) / 1000);
};

let kept = "";
function tell() {
  const timer = shown();
  if (!timer) return;
  const gone = seconds(timer);
  timer.textContent = `${Math.floor(gone / 60)}:${String(gone % 60).padStart(2, "0")}`;
  const over = document.querySelector("[data-due-now]");
  const due = gone >= Number(timer.dataset.due);
  if (over && over.hidden === due) over.hidden = !due;
  // To the second, and once a drop: a page that refreshes itself begins no new one.
  const mark = `${timer.dataset.card} ${timer.dataset.drop}`;
  if (mark === kept) return;
  kept = mark;
  const began = madeAt.get(timer) - Number(timer.dataset.since) * 1000;
  attempt(() => localStorage.setItem(running, JSON.stringify({ began, card: timer.dataset.card, lay: timer.dataset.lay ?? "" })));
}

tell();
setInterval(tell, 1000);

// Kept on this device while the network is away: the time begins anew here, too, and the page says so when it has been sent.
document.addEventListener(
  "outbox-empty",
  (event) => {
    const timer = shown();
    if (!event.target.matches("[data-new-drop]") || !timer) return;
    timer.dataset.since = "0";
    timer.dataset.drop = `waiting ${Date.now()}`;
    madeAt.set(timer, Date.now());
    tell();
  },
  { capture: true },
);

// A card that is closed runs no more; another one's timer is left alone.
const ended = document.querySelector("[data-ended]")?.dataset.ended;
if (ended && JSON.parse(attempt(() => localStorage.getItem(running)) ?? "null")?.card === ended) {
  attempt(() => localStorage.removeItem(running));
}

// One key, or a foot switch that sends it, is a new drop while nothing has focus. A key held down, or a switch that bounces, is one
// drop: what is younger than five seconds stays.
document.addEventListener("keydown", (event) => {
  if (event.repeat || !["Enter", "PageDown"].includes(event.key)) return;
  if (event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
  if (document.activeElement && !["BODY", "MAIN"].includes(document.activeElement.tagName)) return;
  const timer = shown();
  const button = document.querySelector("form[data-new-drop] button.go");
  if (!button || !timer || seconds(timer) < 5) return;
  event.preventDefault();
  button.form.requestSubmit(button);
});
