// Finds clients while one types. What is typed is posted, so that no name stands in an address; without this script the
// same form shows the same rows on a page.

const form = document.querySelector("[data-find]");
const found = document.getElementById("found");
const pause = 120;
let waiting;
let asked = 0;

async function look() {
  const mine = (asked += 1);
  const body = new URLSearchParams(new FormData(form));
  body.set("part", "rows");
  const answer = await fetch(form.action, { method: "POST", body, headers: { accept: "text/html" } }).catch(() => null);
  // An answer that a later letter has overtaken is dropped; the button still works where the network does not.
  if (!answer?.ok || mine !== asked) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  if (mine === asked) found.replaceChildren(...page.body.childNodes);
}

form?.elements.typed.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(look, pause);
});
