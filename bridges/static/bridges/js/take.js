// "Take these with me" takes what the map shows, once somebody has moved it.

import { readHash } from "./view.js";

// The ground a map of this size shows, as west,south,east,north (web Mercator, tiles of
// 256 px). Pure.
export function groundOf({ zoom, latitude, longitude }, { width, height }) {
  const world = 256 * 2 ** zoom;
  const x = ((longitude + 180) / 360) * world;
  const sin = Math.sin((latitude * Math.PI) / 180);
  const y = (0.5 - Math.log((1 + sin) / (1 - sin)) / (4 * Math.PI)) * world;
  const lonAt = (px) => Math.min(180, Math.max(-180, (px / world) * 360 - 180));
  const latAt = (py) => (Math.atan(Math.sinh(Math.PI * (1 - (2 * py) / world))) * 180) / Math.PI;
  const edges = [lonAt(x - width / 2), latAt(y + height / 2), lonAt(x + width / 2), latAt(y - height / 2)];
  return edges.map((edge) => edge.toFixed(5)).join(",");
}

export function followMap(link, map) {
  const [address, query = ""] = link.getAttribute("href").split("?");
  const point = () => {
    const view = readHash(location.hash);
    if (!view) return;
    const box = groundOf(view, { width: map.clientWidth, height: map.clientHeight });
    link.href = `${address}?bbox=${box}&zoom=${Math.round(view.zoom)}${query ? `&${query}` : ""}`;
    link.textContent = "Take what the map shows with me";
  };
  // As the finger or the keyboard comes to it: the hash is written without an event.
  for (const kind of ["pointerover", "focus", "pointerdown"]) link.addEventListener(kind, point);
  point();
}
