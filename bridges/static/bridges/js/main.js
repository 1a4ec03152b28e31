// Finds what the page has and hands it to the modules.

import { startMap } from "./map.js";

const WIDE = "(min-width: 62rem)";

for (const details of document.querySelectorAll("[data-open-when-wide]")) {
  details.open ||= matchMedia(WIDE).matches;
}

const section = document.querySelector("[data-map-section]");
if (section && globalThis.L) {
  const settings = JSON.parse(document.getElementById("map-settings").textContent);
  startMap(globalThis.L, section, settings);
}
