// Timing placements: three marks each, by taps of a second person or while stepping through a video.
//
// Marks are written into the form's field `marks`, a line a placement: picked;touches;still in milliseconds, "x;" before
// one struck out. A line with fewer than three marks is not finished: the last one goes on, one struck out was left when the next
// was picked up. That field is all there is: the outbox keeps it on the device at each mark, so that lock, rotation, reload
// and a lost network cost nothing, and the server reads the same lines.
//
// A tap counts from the instant the finger comes down, by the event's own time stamp: how long the page takes to answer
// is no part of it.

import { read as typedNumber, written } from "./decimal.js";
import { keepDraft, restored } from "./outbox.js";

const form = document.querySelector("form[data-timing]");
const field = form.elements.marks;
const at = form.querySelector("[data-at]");
const film = form.dataset.timing === "video" ? watchFilm() : null;
const KINDS = ["picked", "touches", "still"];
const WORDS = { picked: "Picked up", touches: "Touches", still: "Still" };
/** Beyond these a placement was a double touch or an interruption: kept, struck out. In milliseconds. */
const BELIEVABLE = [50, 60_000];

/** Placements: { struck, marks: [ms, …] }; one that was left unfinished is struck out, and only the last may go on. */
let placements = [];

function read() {
  placements = field.value
    .split("\n")
    .map((text) => text.trim())
    .filter((text) => text !== "")
    .map((text) => ({ struck: text.startsWith("x;"), marks: text.replace(/^x;/, "").split(";").map(Number) }));
}

function write() {
  field.value = placements.map(({ struck, marks }) => (struck ? "x;" : "") + marks.map((ms) => ms.toFixed(1)).join(";")).join("\n");
  show();
  keepDraft(form).catch(() => {});
}

const open = () => {
  const last = placements.at(-1);
  return last && !last.struck && last.marks.length < 3 ? last : null;
};
const isDone = ({ marks }) => marks.length === 3;
const next = () => KINDS[open()?.marks.length ?? 0];

function mark(kind, ms) {
  const current = open();
  if (kind === "picked") {
    // So soon after another mark it is the same finger; in a video, the same picture.
    if (current && Math.abs(ms - current.marks.at(-1)) < (film ? 1 : BELIEVABLE[0])) return;
    // Picked up anew: the placement begun before it is not one. It stays, struck out.
    if (current) current.struck = true;
    placements.push({ struck: false, marks: [ms] });
  } else {
    if (kind !== next() || ms <= current.marks.at(-1)) return;
    current.marks.push(ms);
    if (kind === "still") {
      const spans = [current.marks[1] - current.marks[0], current.marks[2] - current.marks[1]];
      current.struck = spans.some((span) => span < BELIEVABLE[0] || span > BELIEVABLE[1]);
    }
  }
  if (at.value === "") at.value = String(Math.round(Date.now()));
  write();
}

function undo() {
  const last = placements.at(-1);
  if (!last) return;
  last.marks.pop();
  last.struck = false;
  if (last.marks.length === 0) {
    placements.pop();
    // The placement that was left for it goes on.
    const before = placements.at(-1);
    if (before && !isDone(before)) before.struck = false;
  }
  write();
}

function show() {
  const counted = placements.filter((placement) => isDone(placement) && !placement.struck).length;
  form.querySelector("[data-count]").textContent = String(counted);
  form.querySelector("[data-counted]").textContent = counted === 1 ? "placement" : "placements";
  form.querySelector("[data-next]").textContent = `next: ${WORDS[next()].toLowerCase()}`;
  for (const pad of form.querySelectorAll("[data-pad]")) pad.classList.toggle("next", pad.dataset.pad === next());
  const undoing = form.querySelector("[data-undo]");
  const last = placements.at(-1);
  undoing.disabled = !last;
  undoing.textContent = last ? `Take back “${WORDS[KINDS[last.marks.length - 1]].toLowerCase()}”` : "Take back";
  list();
}

const seconds = (ms) => written(ms / 1000, 2, form.dataset.decimal);

/** The placements that do not go on, newest first: finished ones with their strike, those that were left with what they lack. */
function list() {
  const rows = placements.filter((placement) => placement !== open()).map((placement, i) => {
    const [picked, touches, still] = placement.marks;
    const row = document.createElement("li");
    const words = document.createElement("span");
    row.append(words);
    if (!isDone(placement)) {
      const lacks = touches === undefined ? "“touches” and “still”" : "“still”";
      words.textContent = `${i + 1}: not finished, without ${lacks}; picked up anew. It is not kept with the sitting.`;
      return row;
    }
    words.textContent = `${i + 1}: travel ${seconds(touches - picked)}, settle ${seconds(still - touches)} s${placement.struck ? ", struck out" : ""}`;
    const button = Object.assign(document.createElement("button"), { type: "button", className: "act plain" });
    button.textContent = placement.struck ? "Take back" : "Strike out";
    button.setAttribute("aria-label", `${button.textContent} placement ${i + 1}`);
    button.addEventListener("click", () => {
      placement.struck = !placement.struck;
      write();
    });
    row.append(button);
    return row;
  });
  form.querySelector("[data-placed]").replaceChildren(...rows.reverse());
}

for (const pad of form.querySelectorAll("[data-pad]")) {
  const marked = (event) => mark(pad.dataset.pad, film ? film.now() : performance.timeOrigin + event.timeStamp);
  pad.addEventListener("pointerdown", (event) => event.button === 0 && marked(event));
  // The keyboard makes a click without a pointer.
  pad.addEventListener("click", (event) => event.detail === 0 && marked(event));
}
form.querySelector("[data-undo]").addEventListener("click", undo);
form.addEventListener("outbox-restored", () => (read(), show()));
form.addEventListener("outbox-empty", () => {
  field.value = "";
  at.value = "";
  read();
  show();
});
// Not before what was marked earlier is back: a mark made meanwhile would be lost.
Promise.race([restored, new Promise((done) => setTimeout(done, 3000))]).then(() => {
  read();
  show();
  for (const part of form.querySelectorAll("[data-watch]")) part.hidden = false;
});

/** The video: opened from the device, shown from memory, stepped a frame at a time; it is sent nowhere. */
function watchFilm() {
  const screen = form.querySelector("[data-screen]");
  const chosen = form.querySelector("[data-film]");
  const rate = () => typedNumber(form.elements.rate.value) || 30;
  const frame = () => Math.floor(screen.currentTime * rate() + 1e-6);
  const told = form.querySelector("[data-frame]");
  let shown = "";

  const tell = () => {
    told.textContent = `frame ${frame()}, ${seconds(1000 * screen.currentTime)} s`;
  };
  // The middle of a frame, so that rounding never shows its neighbour.
  const step = (by) => {
    screen.pause();
    screen.currentTime = Math.max(0, Math.min((frame() + by + 0.5) / rate(), screen.duration || Infinity));
  };
  const play = () => (screen.paused ? screen.play().catch(() => {}) : screen.pause());

  chosen.addEventListener("change", () => {
    if (shown) URL.revokeObjectURL(shown);
    const [file] = chosen.files;
    if (!file) return;
    shown = URL.createObjectURL(file);
    screen.src = shown;
    screen.hidden = false;
    form.querySelector("[data-steps]").hidden = false;
    warnOfVaryingRate(screen, form.querySelector("[data-varies]"));
  });
  for (const event of ["timeupdate", "seeked", "loadedmetadata"]) screen.addEventListener(event, tell);
  for (const button of form.querySelectorAll("[data-step]")) button.addEventListener("click", () => step(Number(button.dataset.step)));
  form.querySelector("[data-play]").addEventListener("click", play);
  document.addEventListener("keydown", (event) => {
    if (screen.hidden || event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select, textarea")) return;
    const does = { ",": () => step(-1), ".": () => step(1), " ": play, 1: () => mark("picked", now()), 2: () => mark("touches", now()), 3: () => mark("still", now()) }[event.key];
    if (!does || (event.key === " " && event.target.closest("button, a, summary"))) return;
    event.preventDefault();
    does();
  });
  const now = () => (frame() / rate()) * 1000;
  return { now };
}

/** While it plays, browsers that can say when each picture was due tell whether they come at one rate. */
function warnOfVaryingRate(screen, warning) {
  if (!screen.requestVideoFrameCallback) return;
  const gaps = [];
  let before = null;
  const look = (_, { mediaTime, presentedFrames }) => {
    if (before && presentedFrames === before.presentedFrames + 1 && mediaTime > before.mediaTime) gaps.push(mediaTime - before.mediaTime);
    before = { mediaTime, presentedFrames };
    if (gaps.length >= 20) {
      const sorted = [...gaps].sort((a, b) => a - b);
      warning.hidden = sorted[Math.floor(0.9 * sorted.length)] < 1.25 * sorted[Math.floor(0.1 * sorted.length)];
    }
    if (gaps.length < 600) screen.requestVideoFrameCallback(look);
  };
  screen.requestVideoFrameCallback(look);
}
