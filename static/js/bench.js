// The bench's timers. They act on pointer-down and reckon with the event's own time stamps, so a busy tablet does not
// make an adhesive slower. A pressed key counts like a finger. Without this script the seconds are typed.

const bounce = 80; // ms in which a second press of the same finger is no press

for (const form of document.querySelectorAll("[data-bench]")) {
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
      timer.button.textContent = timer.button.dataset.stop;
      timer.box.dataset.running = "";
      requestAnimationFrame(() => show(timer));
      return;
    }
    const seconds = (at - timer.begun) / 1000;
    timer.begun = null;
    delete timer.box.dataset.running;
    timer.button.textContent = timer.button.dataset.start;
    timer.face.textContent = seconds.toFixed(2);
    timer.field.value = seconds.toFixed(3);
    if (timer.keep) form.requestSubmit(timer.keep);
  }

  function show(timer) {
    if (timer.begun === null) return;
    // Once in a while is enough: what counts is the last press.
    timer.face.textContent = Math.max(0, (performance.now() - timer.begun) / 1000).toFixed(1);
    setTimeout(() => requestAnimationFrame(() => show(timer)), 100);
  }
}
