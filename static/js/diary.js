// The diary with a keyboard: arrow keys go from link to link as they lie, over what spans several rows too. Tab works as ever.

const steps = { ArrowUp: [0, -1], ArrowDown: [0, 1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] };

/** The link nearest in that direction: first those in the same row or column, then the nearest of all. */
function next(from, table, [right, down]) {
  const own = from.getBoundingClientRect();
  let best = null;
  for (const link of table.querySelectorAll("tbody a")) {
    if (link === from) continue;
    const other = link.getBoundingClientRect();
    const along = right !== 0 ? (other.left - own.left) * right : (other.top - own.top) * down;
    if (along < 1) continue;
    const across = right !== 0 ? Math.max(own.top - other.bottom, other.top - own.bottom, 0) : Math.abs(other.left - own.left);
    const aside = right !== 0 ? Math.abs(other.top - own.top) / 1000 : 0;
    const far = along + 10 * across + aside;
    if (best === null || far < best.far) best = { link, far };
  }
  return best?.link ?? null;
}

document.addEventListener("keydown", (event) => {
  const step = steps[event.key];
  const from = event.target instanceof Element ? event.target.closest("[data-diary] tbody a") : null;
  if (!step || from === null || event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
  const to = next(from, from.closest("[data-diary]"), step);
  if (to === null) return;
  event.preventDefault();
  to.focus();
});
