// Bright, dim, or as the device has it; large controls. Kept per device: in its storage, and in two cookies without
// meaning for anyone else, so that the next page comes from the server in the right light already.

const root = document.documentElement;
const dark = matchMedia("(prefers-color-scheme: dark)");
const year = 60 * 60 * 24 * 365;

const chosen = () => root.dataset.light ?? "";
const dim = () => (chosen() === "" ? dark.matches : chosen() === "lamp");

function keep(name, value) {
  try {
    localStorage.setItem(`stillroom.${name}`, value);
  } catch {
    // Storage switched off: the cookie alone has to do.
  }
  document.cookie = `${name}=${value}; path=/; max-age=${value === "" ? 0 : year}; samesite=lax`;
}

function show() {
  for (const turn of document.querySelectorAll("[data-light-turn]")) {
    turn.hidden = false;
    turn.textContent = dim() ? "Bright" : "Dim";
  }
  for (const button of document.querySelectorAll("[data-light-to]")) {
    button.setAttribute("aria-pressed", String(button.dataset.lightTo === chosen()));
  }
  for (const button of document.querySelectorAll("[data-large-turn]")) {
    button.setAttribute("aria-pressed", String(root.hasAttribute("data-large")));
  }
  for (const group of document.querySelectorAll("[data-device]")) group.hidden = false;
}

function light(value) {
  if (value === "") delete root.dataset.light;
  else root.dataset.light = value;
  keep("light", value);
  show();
}

document.addEventListener("click", (event) => {
  const button = event.target.closest?.("[data-light-turn], [data-light-to], [data-large-turn]");
  if (!button) return;
  if ("lightTurn" in button.dataset) light(dim() ? "paper" : "lamp");
  else if ("lightTo" in button.dataset) light(button.dataset.lightTo);
  else {
    keep("large", root.toggleAttribute("data-large") ? "1" : "0");
    show();
  }
});
dark.addEventListener("change", show);
show();
