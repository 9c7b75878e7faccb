// A button that copies the words beside it, where the browser lets a page do so. Without this script the words are marked by hand.

if (navigator.clipboard) {
  const show = (inside) => inside.querySelectorAll("[data-copy][hidden]").forEach((button) => (button.hidden = false));
  show(document);
  // Parts of a page that keeps up are fetched anew.
  new MutationObserver(() => show(document)).observe(document.getElementById("main"), { childList: true, subtree: true });
  document.addEventListener("click", async (event) => {
    const button = event.target.closest("[data-copy]");
    if (!button) return;
    const words = button.parentElement.querySelector("[data-words]").textContent;
    try {
      await navigator.clipboard.writeText(words);
      button.textContent = "Copied";
    } catch {
      button.textContent = "Not copied: mark the words";
    }
  });
}
