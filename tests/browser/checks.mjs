// What every page must hold, each as a function from an open page to a list of complaints. An empty list is good.

/** Finger-sized, also with gloves. */
const LEAST_TARGET = 44;

const AXE_RULES = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];
const COLOUR_RULES = ['color-contrast-enhanced', 'link-in-text-block'];
const LAYOUT_RULES = [...COLOUR_RULES, 'scrollable-region-focusable', 'target-size'];

/** What axe finds, in words: rule, place, and why. Contrast as the strictest level asks, 7 to 1, which the weaker rule asks less than. */
export function accessibility(page) {
  return violations(page, { runOnly: { type: 'tag', values: AXE_RULES }, rules: { 'color-contrast-enhanced': { enabled: true }, 'color-contrast': { enabled: false } } });
}

/** The rules of axe that look at colours: all that another light on the same page can change. */
export function contrast(page) {
  return violations(page, { runOnly: { type: 'rule', values: COLOUR_RULES } });
}

/** The rules of axe that look at where things are and how large: all that another window for the same things can change. */
export function layout(page) {
  return violations(page, { runOnly: { type: 'rule', values: LAYOUT_RULES } });
}

/** Which elements of a page are shown, one mark each: equal for two windows that show and hide the same. */
export function shown(page) {
  return page.evaluate(() => [...document.querySelectorAll('*')].map((element) => Number(element.checkVisibility({ visibilityProperty: true }))).join(''));
}

async function violations(page, options) {
  const found = await page.evaluate((options) => globalThis.axe.run(document, { ...options, resultTypes: ['violations'], preload: false }).then(({ violations }) => violations), options);
  return found.flatMap(({ id, nodes }) => nodes.map((node) => `${id}: ${node.target.join(' ')}: ${node.failureSummary.split('\n').slice(1).join(' ').trim()}`));
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

/** Text that does not fit its box: clipped there, or running out of a button. What is only said, and what scrolls, may. */
export async function cutOff(page) {
  return page.evaluate(() => {
    const hasText = (element) => [...element.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.textContent.trim() !== '');
    const isOut = ({ scrollWidth, clientWidth, scrollHeight, clientHeight }) => [scrollWidth > clientWidth + 1, scrollHeight > clientHeight + 1];
    const name = (element) => `${element.tagName.toLowerCase()}.${element.className?.baseVal ?? element.className} "${element.textContent.trim().slice(0, 40)}"`;
    const found = [];
    for (const element of document.body.querySelectorAll('*')) {
      if (element.closest('svg, select, input, textarea, .vh, .skip') || !element.checkVisibility({ visibilityProperty: true }) || element.clientWidth <= 1) continue;
      const style = getComputedStyle(element);
      const [wide, high] = isOut(element);
      const clips = (overflow) => ['hidden', 'clip'].includes(overflow);
      if ((wide && clips(style.overflowX)) || (high && clips(style.overflowY))) found.push(`${name(element)} is cut off`);
      else if ((wide || high) && element.matches('button, a.act, .choice') && style.display !== 'inline') found.push(`${name(element)} runs out of its box`);
      // Words beyond the window that no region brings back.
      else if (hasText(element) && element.getBoundingClientRect().left < -1) found.push(`${name(element)} begins left of the window`);
    }
    return found.slice(0, 5);
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

/** The line that says all is invented: on every page of the demonstration, on no page of a house that people work in. */
export async function demonstrationLine(page, isDemonstration) {
  const lines = await page.locator('aside.demo').evaluateAll((found) => found.map((line) => ({ words: line.textContent.trim(), shown: line.checkVisibility() && line.getBoundingClientRect().height > 0 })));
  if (!isDemonstration) return lines.map(({ words }) => `says "${words}"`);
  if (lines.length !== 1) return [`${lines.length} lines say that it is a demonstration`];
  const [{ words, shown }] = lines;
  return shown && words === 'Demonstration: everything here is invented.' ? [] : [`"${words}", ${shown ? 'shown' : 'not shown'}`];
}

/** What can only be pressed: on paper it is of no use. */
export async function shownButtons(page) {
  return page.evaluate(() =>
    [...document.querySelectorAll('button, input[type=submit], input[type=button], [role=button], a.act')]
      .filter((element) => element.checkVisibility({ visibilityProperty: true }) && element.getBoundingClientRect().width > 1)
      .map((element) => `${element.tagName.toLowerCase()} "${element.textContent.trim().slice(0, 40)}"`),
  );
}

/** Walks with the Tab key from the top of the page to its end: what is never reached, and what is reached without being seen. */
export async function tabWalk(page) {
  const names = await page.evaluate(() => {
    const isShown = (element) => element.checkVisibility({ visibilityProperty: true });
    const inGroup = (element) => [...(element.form ?? document).querySelectorAll('input[type=radio]')].filter((other) => other.name === element.name && isShown(other));
    // Of radio buttons of one name a browser stops at the chosen one, or at the first.
    const isStop = (element) => {
      if (element.type !== 'radio') return true;
      const group = inGroup(element);
      return element === (group.find((other) => other.checked) ?? group[0]);
    };
    globalThis.stops = [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex="0"]')].filter((element) => !element.disabled && element.tabIndex >= 0 && isShown(element) && isStop(element));
    return globalThis.stops.map((element) => `${element.tagName.toLowerCase()} "${(element.name || element.textContent || '').trim().slice(0, 40)}"`);
  });
  const reached = new Set();
  const found = [];
  for (let pressed = 0; pressed < names.length + 100; pressed += 1) {
    await page.keyboard.press('Tab');
    const at = await page.evaluate(() => {
      const element = document.activeElement;
      if (!element || element === document.body) return null;
      const isMarked = (marked) => {
        const { outlineStyle, outlineWidth, outlineColor } = getComputedStyle(marked);
        return outlineStyle !== 'none' && parseFloat(outlineWidth) >= 2 && !/, 0\)$|^transparent$/.test(outlineColor);
      };
      // A box that is drawn by its label is marked there.
      const holders = [element, element.closest('label, .choice'), ...(element.labels ?? [])].filter(Boolean);
      const marked = holders.filter(isMarked).map((holder) => holder.getBoundingClientRect());
      const isSeen = ({ left, top, right, bottom }) => right - left > 4 && bottom - top > 4 && right > 0 && bottom > 0 && left < innerWidth && top < innerHeight;
      return { index: globalThis.stops.indexOf(element), words: element.outerHTML.slice(0, 80), seen: marked.some(isSeen) };
    });
    if (at === null || (at.index >= 0 && reached.has(at.index))) break;
    reached.add(at.index);
    if (!at.seen) found.push(`no visible focus on ${names[at.index] ?? at.words}`);
  }
  names.forEach((name, index) => reached.has(index) || found.push(`never reached: ${name}`));
  if (names.length === 0) found.push('nothing to reach');
  return found;
}
