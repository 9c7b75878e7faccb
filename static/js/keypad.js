// The keypad without the way to the server and back. The same rules as src/web/keypad.rs: a number that has its whole
// digits passes the turn on, the point goes back for a decimal. Without this script each key sends the form instead.

for (const keypad of document.querySelectorAll("[data-keypad]")) {
  const at = keypad.querySelector("[data-at]");
  const rows = [...keypad.querySelectorAll(".typed")].map((box) => ({
    box,
    input: box.querySelector("input"),
    whole: Number(box.dataset.whole),
    decimals: Number(box.dataset.decimals),
    // A number chosen by hand is typed anew.
    anew: false,
  }));
  const point = keypad.dataset.point;

  const turn = () => Math.min(Number(at.value) || 0, rows.length - 1);
  const parts = (row) => row.input.value.split(/[.,]/);
  const full = (row) => {
    const [whole, decimals] = parts(row);
    return decimals === undefined ? whole.length >= row.whole : decimals.length >= row.decimals;
  };
  const takesPoint = (row) => row.decimals > 0 && row.input.value !== "" && parts(row).length === 1;

  function give(to) {
    at.value = String(to);
    rows.forEach((row, i) => row.box.classList.toggle("here", i === to));
  }

  function passOn() {
    const next = turn() + 1;
    if (next >= rows.length || full(rows[next])) return false;
    give(next);
    return true;
  }

  function digit(key) {
    const chosen = rows[turn()];
    if (chosen.anew) chosen.input.value = "";
    chosen.anew = false;
    if (full(chosen) && !passOn()) return;
    const row = rows[turn()];
    row.input.value += key;
    if (full(row)) passOn();
  }

  function decimal() {
    const before = turn() - 1;
    if (before >= 0 && rows[before + 1].input.value === "" && takesPoint(rows[before])) give(before);
    const row = rows[turn()];
    row.anew = false;
    if (takesPoint(row)) row.input.value += point;
  }

  function wipe() {
    if (turn() > 0 && rows[turn()].input.value === "") give(turn() - 1);
    rows[turn()].input.value = "";
  }

  rows.forEach((row, i) => {
    // The pad is the keyboard here; a real one still types.
    row.input.inputMode = "none";
    row.input.addEventListener("focus", () => {
      row.anew = true;
      give(i);
    });
    row.input.addEventListener("input", () => {
      row.anew = false;
    });
  });

  keypad.addEventListener("click", (event) => {
    const button = event.target.closest("button[name=key]");
    if (!button) return;
    event.preventDefault();
    if (button.value === "point") decimal();
    else if (button.value === "wipe") wipe();
    else digit(button.value);
    // Whoever keeps what is typed hears of it, as if it had come from a keyboard.
    keypad.dispatchEvent(new Event("input", { bubbles: true }));
  });
  // The entry is on its way: the next begins with the first number.
  keypad.closest("form")?.addEventListener("outbox-empty", () => {
    for (const row of rows) row.anew = false;
    give(0);
  });
  for (const filled of ["typed-again", "outbox-restored"]) keypad.closest("form")?.addEventListener(filled, () => give(turn()));
}
