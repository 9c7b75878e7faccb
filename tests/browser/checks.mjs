// What every page must hold, each as a function from an open page to a list of complaints. An empty list is good.

/** Finger-sized, also with gloves. */
const LEAST_TARGET = 44;

const AXE_RULES = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];

/** What axe finds, in words: rule, place, and why. Contrast as the strictest level asks: 7 to 1. */
export async function accessibility(page) {
  const violations = await page.evaluate(
    (tags) =>
      globalThis.axe
        .run(document, { runOnly: { type: 'tag', values: tags }, rules: { 'color-contrast-enhanced': { enabled: true } }, resultTypes: ['violations'] })
        .then((found) => found.violations),
    AXE_RULES,
  );
  return violations.flatMap(({ id, nodes }) => nodes.map((node) => `${id}: ${node.target.join(' ')}: ${node.failureSummary.split('\n').slice(1).join(' ').trim()}`));
}

/** One heading of the first rank, a language and a title. */
export async function skeleton(page) {
  return page.evaluate(() => {
    const found = [];
    const headings = document.querySelectorAll('h1').length;
    if (headings !== 1) found.push(`${headings} headings of the first rank`);
    if (!document.documentElement.lang) found.push('no language');
    if (!document.title.trim()) found.push('no title');
    return found;
  });
}

/** What is wider than the window. Regions that scroll by themselves may be. */
export async function sidewaysScroll(page) {
  return page.evaluate(() => {
    const wide = document.documentElement.clientWidth;
    if (document.documentElement.scrollWidth <= wide) return [];
    const scrollsItself = (element) => {
      for (let at = element.parentElement; at; at = at.parentElement) {
        if (['auto', 'scroll', 'hidden', 'clip'].includes(getComputedStyle(at).overflowX)) return true;
      }
      return false;
    };
    const culprits = [...document.body.querySelectorAll('*')]
      .filter((element) => element.getBoundingClientRect().right > wide + 0.5 && !scrollsItself(element))
      .slice(0, 5)
      .map((element) => `${element.tagName.toLowerCase()}.${element.className?.baseVal ?? element.className} reaches ${Math.round(element.getBoundingClientRect().right)} of ${wide}`);
    return culprits.length > 0 ? culprits : [`the page is ${document.documentElement.scrollWidth} wide in a window of ${wide}`];
  });
}

/** Targets smaller than a gloved finger. A box with its label counts as one target; what is only shown on focus does not count. */
export async function smallTargets(page) {
  return page.evaluate((least) => {
    const union = (rects) => {
      const seen = rects.filter((rect) => rect.width > 0 && rect.height > 0);
      const left = Math.min(...seen.map((rect) => rect.left));
      const top = Math.min(...seen.map((rect) => rect.top));
      return { width: Math.max(...seen.map((rect) => rect.right)) - left, height: Math.max(...seen.map((rect) => rect.bottom)) - top };
    };
    const isVisible = (element) => {
      const rect = element.getBoundingClientRect();
      const style = getComputedStyle(element);
      if (rect.width <= 1 || rect.height <= 1 || style.visibility === 'hidden') return false;
      return rect.right > 0 && rect.bottom + scrollY > 0 && style.opacity !== '0';
    };
    const sizeOf = (element) => {
      const rects = [element.getBoundingClientRect()];
      if (['checkbox', 'radio'].includes(element.type)) rects.push(...[...(element.labels ?? [])].map((label) => label.getBoundingClientRect()));
      return union(rects);
    };
    // A fraction of a pixel is rounding, not a smaller finger.
    const small = ({ width, height }) => width < least - 0.5 || height < least - 0.5;
    return [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary, [role=button], [tabindex="0"]')]
      .filter((element) => isVisible(element) || (['checkbox', 'radio'].includes(element.type) && element.labels?.length > 0))
      .map((element) => ({ element, size: sizeOf(element) }))
      .filter(({ size }) => small(size))
      .map(({ element, size }) => `${element.tagName.toLowerCase()} "${(element.textContent || element.name || '').trim().slice(0, 40)}" is ${Math.round(size.width)} × ${Math.round(size.height)}`);
  }, LEAST_TARGET);
}
