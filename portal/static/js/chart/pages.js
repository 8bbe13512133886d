// The engraved pages of a chart, drawn into the page itself, so that the bar that plays can be lit on them.
import { attach } from "kitpost/lib/attach";

let lit = null;

/** Light written bar `number` wherever it is drawn; null for none. */
export function lightOnPages(number) {
  lit = number;
  for (const bar of document.querySelectorAll(".chart-page .is-playing")) bar.classList.remove("is-playing");
  document.querySelector(`.chart-page [data-bars~="${number}"]`)?.classList.add("is-playing");
}

/** The house's own drawings, and nothing but drawings. */
async function draw(place) {
  const answer = await fetch(place.dataset.chartSvg).catch(() => null);
  const text = answer?.ok ? await answer.text() : "";
  const drawn = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
  if (drawn.localName !== "svg") return;
  drawn.removeAttribute("width");
  drawn.removeAttribute("height");
  place.replaceChildren(document.adoptNode(drawn));
  place.dataset.state = "drawn";
  lightOnPages(lit);
}

attach("[data-chart-svg]", (place) => {
  draw(place);
});
