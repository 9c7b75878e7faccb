// What a person is shown of an entry that came back: beside the fields of its form what stands there now, and the entry itself where
// its form is no longer to be had (a card closed meanwhile, a visit that has its card already). Knows no storage and sends nothing.

// A pasted table is kept as it is; to read it again its beginning does.
const LONGEST = 4_000;

/** What a form shows, by the name of its field: words, as a person reads them. */
export function shownIn(form) {
  const shown = new Map();
  for (const control of form.elements) {
    if (!control.name || ["submit", "button", "file", "password"].includes(control.type)) continue;
    // What is hidden is not read, but for a field whose words stand on a button beside it.
    if (control.type === "hidden" && !("outboxShown" in control.dataset)) continue;
    const ticks = ["checkbox", "radio"].includes(control.type);
    if (ticks && !control.checked) {
      if (!shown.has(control.name)) shown.set(control.name, "");
      continue;
    }
    const words = ticks ? control.labels?.[0]?.textContent.trim() : control.localName === "select" ? control.selectedOptions[0]?.textContent : control.value;
    shown.set(control.name, [shown.get(control.name), words ?? ""].filter(Boolean).join(", "));
  }
  return shown;
}

/** The same under the words that stand at each field, as pairs, those left empty apart. */
export function asRead(form) {
  const named = (name) => {
    const control = [...form.elements].find((one) => one.name === name);
    const group = ["checkbox", "radio"].includes(control.type) && control.closest("fieldset")?.querySelector("legend");
    const words = (group || control.labels?.[0])?.textContent ?? control.getAttribute("aria-label") ?? name;
    return words.replace(/\s+/g, " ").trim();
  };
  const short = (words) => (words.length > LONGEST ? `${words.slice(0, LONGEST)} …` : words);
  return [...shownIn(form)].filter(([, words]) => words !== "").map(([name, words]) => [named(name), short(words)]);
}

function note(sentences, ...acts) {
  const place = document.createElement("div");
  place.className = "note near";
  place.setAttribute("role", "status");
  const buttons = acts.map(([textContent, act]) => {
    const button = Object.assign(document.createElement("button"), { type: "button", className: "act", textContent });
    button.addEventListener("click", act);
    return button;
  });
  place.append(...sentences.map((textContent) => Object.assign(document.createElement("p"), { textContent })), ...buttons);
  return place;
}

/** What was typed too long ago to stand in the form as if it were of now: shown as what it is, to be used for then or left. */
export function standOld(form, typed, { shown }, use, leave) {
  const words = (shown ?? []).map(([name, value]) => `${name} ${value}`).join(", ");
  const sentence = `Typed ${typed} and not kept: ${words || "nothing that can be read"}. It is not of now.`;
  const place = note([sentence], [`Use it: it is dated ${typed}`, () => (place.remove(), use())], ["Leave it", leave]);
  form.before(place);
}

/** Something changed since the draft was begun: beside each field that differs stands what stands there now, and she is asked. */
export function standBeside(form, now, leave) {
  const own = shownIn(form);
  for (const [name, words] of now) {
    if (own.get(name) === words) continue;
    const control = [...form.elements].find((one) => one.name === name);
    const place = control?.closest(".field, td, fieldset") ?? control?.parentElement;
    place?.append(Object.assign(document.createElement("p"), { className: "quiet", textContent: `Stands there now: ${words || "nothing"}` }));
  }
  const sentence = "This changed elsewhere since you began. Your entry is in the form and kept here as a draft; what stands there now is written beside it. Send yours in its place, or leave it.";
  form.prepend(note([sentence], ["Leave mine, take what stands there now", leave]));
}

/** An entry whose form is not on this page: what the house said of it, and what was typed, until she leaves it. */
export function standAlone({ kind, note: why, shown }, leave) {
  const sentence = `An entry of yours came back, and its form is no longer here: ${kind}. It is kept on this device, and here is what you typed. Write down where it belongs what is missing there, then leave it.`;
  const place = note([sentence, why].filter(Boolean), ["Leave it: nothing of it is missing", leave]);
  const lines = document.createElement("dl");
  lines.className = "lines";
  for (const [name, words] of shown ?? []) {
    const line = document.createElement("div");
    line.append(Object.assign(document.createElement("dt"), { textContent: name }), Object.assign(document.createElement("dd"), { textContent: words }));
    lines.append(line);
  }
  place.lastChild.before(lines);
  (document.querySelector("main .head") ?? document.querySelector("main")?.firstElementChild)?.after(place);
}
