// The guide's pages for observers, as they are kept with the screen.
import { gettext } from "../language.js";
import { h } from "../dom.js";

/** The list of pages, or the page `slug` from its heading `anchor` on. */
export async function screen(app, anchor, slug) {
  const pages = await fetchPages(app.config.guide);
  const page = pages.find((one) => one.slug === slug);
  const reveal = (aim) => document.getElementById(aim.anchor)?.scrollIntoView();
  if (page && anchor) app.aim = { anchor };
  if (page) return { title: page.short ?? page.title, node: pageNode(page), reveal };
  return { title: gettext("Guide"), node: h("div", null, slug && notHere(slug), listNode(pages)) };
}

async function fetchPages(address) {
  const answer = await fetch(address).catch(() => null);
  return answer?.ok ? (await answer.json()).pages : [];
}

/** Of the pages for coordinators, and of those that no guide has. */
const notHere = (slug) =>
  h(
    "p",
    null,
    gettext("This page is not on this phone."),
    " ",
    h("a", { href: `/guide/${slug}/` }, gettext("Open it on the site")),
  );

function listNode(pages) {
  if (!pages.length)
    return h(
      "p",
      null,
      gettext("The guide is not on this phone yet. Open the survey once where there is signal."),
    );
  const link = ({ slug, title }) => h("a", { class: "btn btn--block", href: `#/guide/${slug}` }, title);
  return h(
    "ul",
    { class: "plain-list picks" },
    pages.map((page) => h("li", null, link(page))),
  );
}

/** Links lead on within the survey, as far as the phone has the page. */
function pageNode({ slug, title, short, html, language }) {
  const { body } = new DOMParser().parseFromString(html, "text/html");
  for (const link of body.querySelectorAll("a[href]")) {
    const href = link.getAttribute("href");
    if (href.startsWith("#")) link.setAttribute("href", `#/guide/${slug}/${href.slice(1)}`);
    else if (href.startsWith("/guide/")) link.setAttribute("href", `#${href.replace(/\/?(#|$)/, "/")}`);
  }
  const whole = short && h("p", { class: "muted" }, title);
  const node = h("div", { class: "prose", lang: language }, whole, ...body.childNodes);
  if (node.querySelector("[data-call]"))
    import("../../calls/page.js").then(({ showPlayers }) => showPlayers(node));
  return node;
}
