// Forms that forgive. A second press is answered by the server with the first result, so nothing is ever blocked here:
// the button only says that it is sending. What was typed comes back with the back button, together with the form's
// own key, so that sending again cannot make a second entry. Kept for this tab alone and gone at signing out.
// Forms with data-outbox are kept by outbox.js instead.

const store = "stillroom.typed:";
const wait = 8_000;
let forgetting = false;

const forms = () => [...document.querySelectorAll('main form[method="post"]')].filter((form) => !("forget" in form.dataset || "outbox" in form.dataset));
// Whose it is: the person's own mark on this device, or a guest's token. Somebody else who takes the device finds nothing of it.
const whose = document.querySelector("[data-outbox-line]")?.dataset.outboxLine ?? document.querySelector("main form [name=csrf]")?.value ?? "";
const page = `${store}${whose}:${location.pathname}${location.search}#`;
const place = (form, at) => `${page}${at}:${form.getAttribute("action") ?? ""}`;
// A shared tablet was locked over this page: whoever comes back to it finds what she typed.
const wasLocked = () => attempt(() => sessionStorage.getItem("stillroom.locked")) === location.pathname + location.search;
const kept = (control) =>
  control.name !== "" && control.name !== "csrf" && !["password", "file", "submit", "button", "image", "reset"].includes(control.type);

function write() {
  forms().forEach((form, at) => {
    const values = [...form.elements].filter(kept).map((c) => [c.name, c.type === "checkbox" || c.type === "radio" ? c.checked : c.value]);
    attempt(() => sessionStorage.setItem(place(form, at), JSON.stringify({ values })));
  });
}

function read() {
  forms().forEach((form, at) => {
    const { values } = JSON.parse(attempt(() => sessionStorage.getItem(place(form, at))) ?? "{}");
    const controls = [...form.elements].filter(kept);
    // A page that has changed since is not filled with these values.
    if (!values || values.length !== controls.length || values.some(([name], i) => name !== controls[i].name)) return;
    controls.forEach((control, i) => {
      if (control.type === "checkbox" || control.type === "radio") control.checked = values[i][1];
      else control.value = values[i][1];
    });
    form.dispatchEvent(new CustomEvent("typed-again"));
  });
}

function drop(every) {
  attempt(() => {
    const names = Object.keys(sessionStorage).filter((name) => name.startsWith(every ? store : page));
    for (const name of names) sessionStorage.removeItem(name);
  });
}

function attempt(what) {
  try {
    return what();
  } catch {
    return null; // Storage switched off or full: the page works as it would without this script.
  }
}

document.addEventListener("submit", (event) => {
  if (event.defaultPrevented) return;
  if ("forgetAll" in event.target.dataset) {
    drop(true);
    forgetting = true;
    return;
  }
  const button = event.submitter;
  if (!button?.matches(".act, .keep")) return;
  const words = [...button.childNodes];
  button.dataset.sent = "";
  button.replaceChildren("Sending …");
  const back = () => {
    delete button.dataset.sent;
    button.replaceChildren(...words);
  };
  setTimeout(back, wait);
  addEventListener("pageshow", back, { once: true });
});

addEventListener("pagehide", () => {
  if (!forgetting) write();
});

const [entry] = performance.getEntriesByType("navigation");
if (wasLocked()) {
  read();
  attempt(() => sessionStorage.removeItem("stillroom.locked"));
} else if (entry?.type === "back_forward" || entry?.type === "reload") read();
else drop(false);

// A device that was handed to a client shows nothing but her form: pages opened before ask the server anew, which refuses them.
if (!document.body.classList.contains("handed")) {
  attempt(() => localStorage.removeItem("stillroom.handed"));
  attempt(() => new BroadcastChannel("stillroom.handed").addEventListener("message", () => location.reload()));
}
addEventListener("pageshow", (event) => {
  const handed = attempt(() => localStorage.getItem("stillroom.handed")) !== null;
  if (event.persisted && handed !== document.body.classList.contains("handed")) location.reload();
});

document.querySelector("[data-take-focus]")?.focus();
