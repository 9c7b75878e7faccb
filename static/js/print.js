// A sheet that is printed: a button for it, and at once where it was opened for that. Without this script the browser's own menu prints.

const button = document.querySelector("[data-print]");
if (button) {
  button.hidden = false;
  button.addEventListener("click", () => print());
  if ("printNow" in button.dataset) {
    // A reload, or the way back, prints nothing again.
    history.replaceState(null, "", location.pathname);
    print();
  }
}
