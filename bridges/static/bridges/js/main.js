// Finds what the page has and hands it to the modules.

import { startMap } from "./map.js";
import { followMap } from "./take.js";

const WIDE = "(min-width: 62rem)";

for (const details of document.querySelectorAll("[data-open-when-wide]")) {
  details.open ||= matchMedia(WIDE).matches;
}

const section = document.querySelector("[data-map-section]");
if (section && globalThis.L) {
  const settings = JSON.parse(document.getElementById("map-settings").textContent);
  startMap(globalThis.L, section, settings);
}

const take = document.querySelector("[data-take]");
if (take && section) followMap(take, section.querySelector("[data-map]"));
