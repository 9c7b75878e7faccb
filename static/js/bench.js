// The bench's timers. They act on pointer-down and reckon with the event's own time stamps, so a busy tablet does not
// make an adhesive slower. A pressed key counts like a finger. A timer that runs goes on after a reload. Without this script
// the seconds are typed.

import { written } from "./decimal.js";
import { restored } from "./outbox.js";

const bounce = 80; // ms in which a second press of the same finger is no press
const longest = 600_000; // ms; what was begun earlier was forgotten

for (const form of document.querySelectorAll("[data-bench]")) {
  const sign = form.dataset.decimal;
  const timers = [...form.querySelectorAll("[data-timer]")].map((box) => ({
    box,
    face: box.querySelector("[data-face]"),
    button: box.querySelector("[data-press]"),
    field: form.elements[box.dataset.timer],
    keep: box.dataset.then ? form.querySelector(`[data-keep="${box.dataset.then}"]`) : null,
    begun: null,
    last: -Infinity,
  }));

  for (const timer of timers) {
    const { box, button } = timer;
    box.hidden = false;
    button.addEventListener("pointerdown", (event) => {
      if (!event.isPrimary || event.button !== 0) return;
      event.preventDefault();
      press(timer, event.timeStamp);
    });
    button.addEventListener("keydown", (event) => {
      if (event.repeat || (event.key !== " " && event.key !== "Enter")) return;
      event.preventDefault();
      press(timer, event.timeStamp);
    });
    button.addEventListener("keyup", (event) => {
      if (event.key === " ") event.preventDefault();
    });
    // A reader of the screen clicks without finger or key.
    button.addEventListener("click", (event) => {
      if (event.detail === 0 && event.timeStamp - timer.last > 500) press(timer, event.timeStamp);
    });
  }

  function press(timer, at) {
    if (at - timer.last < bounce) return;
    timer.last = at;
    if (timer.begun === null) {
      timer.begun = at;
      run(timer);
      keepRunning(timer);
      return;
    }
    const seconds = (at - timer.begun) / 1000;
    halt(timer);
    timer.face.textContent = written(seconds, 2, sign);
    form.elements.at.value = String(Math.round(performance.timeOrigin + at));
    timer.field.value = written(seconds, 3, sign);
    if (timer.keep) form.requestSubmit(timer.keep);
  }

  function run(timer) {
    timer.button.textContent = timer.button.dataset.stop;
    timer.box.dataset.running = "";
    requestAnimationFrame(() => show(timer));
  }

  function halt(timer) {
    timer.begun = null;
    delete timer.box.dataset.running;
    timer.button.textContent = timer.button.dataset.start;
    keepRunning(timer);
  }

  // Of this tab alone, and only while it runs.
  const slot = (timer) => `bench:${form.action}:${timer.box.dataset.timer}`;

  function keepRunning(timer) {
    try {
      if (timer.begun === null) sessionStorage.removeItem(slot(timer));
      else sessionStorage.setItem(slot(timer), String(performance.timeOrigin + timer.begun));
    } catch {
      // Without storage a reload costs the bond that is being timed.
    }
  }

  function goOn(timer) {
    const begun = Number(sessionStorage.getItem(slot(timer)) ?? NaN) - performance.timeOrigin;
    if (!(performance.now() - begun < longest)) return;
    timer.begun = begun;
    run(timer);
  }

  form.addEventListener("outbox-empty", () => {
    for (const timer of timers) timer.face.textContent = written(0, 1, sign);
    form.elements.at.value = "";
  });
  restored.finally(() => {
    for (const timer of timers) {
      try {
        if (timer.begun === null) goOn(timer);
      } catch {
        // As above.
      }
    }
  });

  function show(timer) {
    if (timer.begun === null) return;
    // Once in a while is enough: what counts is the last press.
    timer.face.textContent = written(Math.max(0, (performance.now() - timer.begun) / 1000), 1, sign);
    setTimeout(() => requestAnimationFrame(() => show(timer)), 100);
  }
}
