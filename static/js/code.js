// Six digits by large keys. The sixth sends the form; without this script the device's own keyboard types them.

for (const form of document.querySelectorAll("[data-code]")) {
  const field = form.elements.passphrase;
  const keys = form.querySelector("[data-code-keys]");
  keys.hidden = false;
  let sent = false;
  const whenFull = () => {
    if (field.value.length < 6 || sent) return;
    sent = true;
    form.requestSubmit();
  };
  keys.addEventListener("pointerdown", (event) => {
    const key = event.target.closest("button");
    if (!key) return;
    event.preventDefault();
    press(key);
  });
  // The keyboard's Enter and Space, and whatever else presses without a pointer.
  keys.addEventListener("click", (event) => {
    if (event.detail === 0) press(event.target.closest("button"));
  });
  function press(key) {
    if (!key) return;
    if ("wipe" in key.dataset) field.value = "";
    else if (field.value.length < 6) field.value += key.dataset.digit;
    whenFull();
  }
  field.addEventListener("input", whenFull);
}
