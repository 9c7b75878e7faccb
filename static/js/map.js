// The lash map without the way to the server and back: a tap on a zone brings its values into the fields, a tap on a value goes into the
// zone, its button and the picture. The same rules as src/cards/typed_zone.rs. Without this script each zone is a button that sends the form.

const form = document.querySelector("[data-map]");
const eyes = form?.querySelector(".eyes");
const at = form?.elements.namedItem("at");

const buttonOf = (key) => document.getElementById(`zone-${key}`);
const heldIn = (key) => form.elements.namedItem(key);
const number = (text) => (text.trim() === "" ? NaN : Number(text.trim().replace(",", ".")));

function read(text) {
  const [length = "", curl = "", diameter = "", fan = ""] = text.trim().split(/\s+/).map((part) => (part === "?" ? "" : part));
  return { length, curl, diameter, fan: fan.replace(/d$/i, "") || "1" };
}

function write({ length, curl, diameter, fan }) {
  const parts = [length, curl, diameter].map((part) => part.replace(/\s+/g, ""));
  if (parts.every((part) => part === "")) return "";
  return parts.map((part) => part || "?").join(" ") + (fan === "1" ? "" : ` ${fan}D`);
}

const tapped = (name) => form.querySelector(`input[name=${name}]:checked`)?.value ?? "";
const typed = (name) => form.elements.namedItem(name);

/** The zone that the fields hold: what was typed goes before what was tapped. */
const fromFields = () => ({
  length: typed("length_typed").value.trim() || tapped("length"),
  curl: tapped("curl"),
  diameter: typed("diameter_typed").value.trim() || tapped("diameter"),
  fan: tapped("fan") || "1",
});

/** Taps the choice of this value, or types it where none is offered. */
function choose(name, value, line) {
  const all = [...form.querySelectorAll(`input[name=${name}]`)];
  const same = (own) => own.value === value || number(own.value) === number(value) || own.value.toLowerCase() === value.toLowerCase();
  const found = all.find(same);
  for (const own of all) own.checked = own === found;
  if (line) line.value = found ? "" : value;
}

function toFields(zone) {
  choose("length", zone.length, typed("length_typed"));
  choose("curl", zone.curl);
  choose("diameter", zone.diameter, typed("diameter_typed"));
  choose("fan", zone.fan);
}

/** A zone's button and its strokes, as its field says. */
function draw(key) {
  const zone = read(heldIn(key).value);
  const out = zone.length === "";
  const button = buttonOf(key);
  button.querySelector("[data-said]").textContent = out ? "left out" : `${zone.length} ${zone.curl || "?"}`;
  button.querySelector("[data-more]").textContent = out ? "" : `${zone.diameter || "?"}, ${zone.fan === "1" ? "single" : `${zone.fan}D`}`;
  const strokes = form.querySelector(`[data-of="${key}"]`);
  const mm = Math.min(number(zone.length), Number(eyes.dataset.longest));
  const high = mm > 0 ? Math.round(mm * Number(eyes.dataset.px) * 10) / 10 : 0;
  strokes.setAttribute("transform", strokes.getAttribute("transform").replace(/scale\(.*\)$/, `scale(1 ${high})`));
  strokes.classList.toggle("out", high === 0);
  strokes.classList.toggle("fan", zone.fan !== "1");
  strokes.classList.toggle("draft", heldIn(key).value !== heldIn(key).dataset.saved);
}

const keys = () => [...form.querySelectorAll("button[name=zone]")].map((button) => button.value);

/** The zone whose values the fields hold: the first one where a draft names a zone that is no longer there. */
function chosen() {
  if (!keys().includes(at.value)) [at.value] = keys();
  return at.value;
}

function hold(key, zone) {
  heldIn(key).value = write(zone);
  draw(key);
}

/** Which zone is chosen, in words and on its button. */
function mark(key) {
  at.value = key;
  for (const other of keys()) buttonOf(other).setAttribute("aria-pressed", String(other === key));
  form.querySelector("#chosen-word").firstChild.textContent = `${buttonOf(key).dataset.words} `;
  const same = form.querySelector("[data-same]");
  same.textContent = same.dataset.same.split("|")[key.startsWith("left") ? 1 : 0];
}

function goTo(key) {
  const before = read(heldIn(chosen()).value);
  const zone = read(heldIn(key).value);
  // Along a lid curl, diameter and fan seldom change.
  const blank = heldIn(key).value.trim() === "";
  if (blank) hold(key, { ...before, length: "" });
  mark(key);
  toFields(blank ? { ...before, length: "" } : zone);
}

/** Zones count from the inner corner, so that the other eye is mirrored. */
function theSame() {
  const [eye, other] = chosen().startsWith("left") ? ["left", "right"] : ["right", "left"];
  for (const key of keys().filter((own) => own.startsWith(eye))) {
    const there = key.replace(eye, other);
    heldIn(there).value = heldIn(key).value;
    draw(there);
  }
}

/** Whoever keeps what is typed hears of it, as if it had come from a keyboard. */
const tell = () => form.dispatchEvent(new Event("input", { bubbles: true }));

form?.addEventListener("input", (event) => {
  if (!event.target.closest("#chosen")) return;
  const line = event.target.name === "length" ? "length_typed" : event.target.name === "diameter" ? "diameter_typed" : null;
  if (line) typed(line).value = "";
  hold(chosen(), fromFields());
});

form?.addEventListener("click", (event) => {
  const button = event.target.closest("button[name=zone], button[name=do][value=same]");
  if (!button) return;
  event.preventDefault();
  if (button.name === "zone") goTo(button.value);
  else theSame();
  tell();
});

// Put back from what the device kept, or sent and emptied but for what the page holds itself.
for (const filled of ["outbox-restored", "outbox-empty"]) {
  form?.addEventListener(filled, () => {
    keys().forEach(draw);
    mark(chosen());
    toFields(read(heldIn(chosen()).value));
  });
}
