// "4 min ago" goes on counting. The age comes from the server with the page and time is added to it here, so a device
// whose clock is wrong still counts right. After an hour the time of day stands there instead.

const loaded = Date.now();

function show() {
  for (const place of document.querySelectorAll("[data-ago]")) {
    const age = Number(place.dataset.ago) + (Date.now() - Number(place.dataset.since ?? loaded)) / 1000;
    if (!Number.isFinite(age)) continue;
    const minutes = Math.floor(age / 60);
    const words = minutes < 1 ? "just now" : minutes <= 60 ? `${minutes} min ago` : place.dataset.then;
    if (words && place.textContent !== words) place.textContent = words;
    const limit = Number(place.dataset.stale);
    const after = place.nextElementSibling;
    if (limit > 0 && after?.classList.contains("gone-stale")) {
      after.hidden = !(age > limit && Number(place.dataset.ago) <= limit);
    }
  }
}

setInterval(show, 15_000);
addEventListener("pageshow", show);
addEventListener("visibilitychange", show);
show();
