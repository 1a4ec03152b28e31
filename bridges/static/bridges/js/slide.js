// The slide of years: the map shows what stood in the year under the thumb.

import { queryAt } from "./view.js";

const WAIT_MS = 150;

// section holds [data-slide] with a range and an output, and [data-slide-list].
export function startSlide(section, settings, refresh) {
  const slide = section.querySelector("[data-slide]");
  if (!slide) return;
  const range = slide.querySelector("input");
  const told = slide.querySelector("output");
  const list = section.querySelector("[data-slide-list]");
  let waiting = 0;
  slide.hidden = false;
  range.addEventListener("input", () => {
    const year = range.value === range.max ? "" : range.value;
    told.textContent = year || "today";
    settings.query = queryAt(settings.query, year);
    list.href = settings.query ? `?${settings.query}` : location.pathname;
    list.hidden = false;
    clearTimeout(waiting);
    waiting = setTimeout(refresh, WAIT_MS);
  });
}
