// Every page of the house, as one list: what is checked in the browser and what the contact sheet shows.
//
// name    short, also the file name of its picture
// as      whose page it is: nobody, owner, artist, desk, accountant
// path    where it is; or
// on,link the page on which to look, and the link to follow from there (a page whose address holds an id)
// status  what it answers, when that is not 200
// picture the file name under docs/pictures, for the pages that the README shows

const ID = '[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}';

/** A link whose path is this, with `{id}` standing for any id. */
const link = (path) => new RegExp(`^${path.replaceAll('{id}', ID)}$`);

export const pages = [
  { name: 'sign-in', as: 'nobody', path: '/sign-in' },
  { name: 'first-aid', as: 'nobody', path: '/first-aid' },
  { name: 'no-such-page', as: 'owner', path: '/no-such-page', status: 404 },
  { name: 'rooms', as: 'artist', path: '/rooms' },
  { name: 'room', as: 'artist', on: '/rooms', link: link('/rooms/{id}') },
];

/** The path of a page, looked up through the page that links to it where it holds an id. */
export async function pathOf(page, context, address) {
  if (page.path) return page.path;
  const on = await pathOf(typeof page.on === 'string' ? { path: page.on } : page.on, context, address);
  const links = await linksOn(context, address, on);
  const found = links.find((path) => page.link.test(path.split('?')[0]));
  if (!found) throw new Error(`${page.name}: no link like ${page.link} on ${on}, only\n${links.join('\n')}`);
  return found;
}

/** The paths that a page links to, in order, without places within a page. */
export async function linksOn(context, address, path) {
  const answer = await context.request.get(address + path);
  return linksIn(await answer.text());
}

/** The paths of all links in this HTML. */
export function linksIn(html) {
  return [...html.matchAll(/<a\s[^>]*?href="([^"]*)"/g)]
    .map((match) => match[1].replaceAll('&amp;', '&').replaceAll('&#38;', '&').split('#')[0])
    .filter((href) => href.startsWith('/'));
}

/** The path with every id taken out, so that two rooms are one kind of page. */
export function kindOf(path) {
  return path.split('?')[0].replaceAll(new RegExp(ID, 'g'), '{id}');
}

/** True when the list holds a page of this kind. */
export function isListed(kind) {
  return pages.some((page) => (page.path ? kindOf(page.path) === kind : page.link.test(kind.replaceAll('{id}', '00000000-0000-0000-0000-000000000000'))));
}
