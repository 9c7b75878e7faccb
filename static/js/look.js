// Looks up, while a booking is typed, whose record it may be and how she stands for that service at that time. What is typed is
// posted, so that no name stands in an address; without this script a button of the form does the same.

const form = document.querySelector("[data-look]");
const pause = 150;
let waiting;
let asked = 0;
// The record that was chosen in a draft: its choice stands here once it was looked up again.
let chosen = "";

async function look() {
  const mine = asked;
  const body = new URLSearchParams(new FormData(form));
  body.set("part", "found");
  if (chosen !== "" && !body.get("client")) body.set("client", chosen);
  const answer = await fetch(form.dataset.look, { method: "POST", body, headers: { accept: "text/html" } }).catch(() => null);
  // An answer that a later letter, or a choice, has overtaken is dropped.
  if (!answer?.ok || mine !== asked) return;
  const found = new DOMParser().parseFromString(await answer.text(), "text/html");
  if (mine !== asked) return;
  chosen = "";
  const held = document.activeElement?.name === "client" ? document.activeElement.value : null;
  for (const id of ["who", "stands"]) {
    document.getElementById(id).replaceChildren(...found.getElementById(id).childNodes);
  }
  if (held !== null) form.querySelector(`[name=client][value="${held}"]`)?.focus();
}

function soon() {
  clearTimeout(waiting);
  asked += 1;
  waiting = setTimeout(look, pause);
}

form?.addEventListener("input", soon);
form?.addEventListener("outbox-restored", ({ detail }) => {
  chosen = detail?.find(([name]) => name === "client")?.[1] ?? "";
  soon();
});
