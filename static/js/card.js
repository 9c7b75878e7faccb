// The card at the bed: counts the time of a drop on and says when a fresh one is due.

const shown = document.querySelector("[data-since]");
if (shown) {
  const begun = Date.now() - Number(shown.dataset.since) * 1000;
  const due = Number(shown.dataset.due);
  const over = document.querySelector("[data-due-now]");
  const tell = () => {
    const seconds = Math.floor((Date.now() - begun) / 1000);
    shown.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
    if (over && over.hidden !== seconds < due) over.hidden = seconds < due;
  };
  tell();
  setInterval(tell, 1000);
}
