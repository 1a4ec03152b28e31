// The map's own ground: land, water, roads, county lines and names, in paper tones.

import { fitting, placeIn } from "./labels.js";

const ORDER = ["land", "county", "water", "creek", "river", "road"];

// Draws the collection under everything else. Colours are the style sheet's.
// Returns { bounds, label(taken) }: label() writes the names that fit now.
export function layGround(L, map, collection) {
  const ground = map.createPane("ground");
  ground.classList.add("map-ground");
  const names = map.createPane("names");
  names.classList.add("map-names");
  names.setAttribute("aria-hidden", "true");
  const drawn = L.featureGroup();
  const renderer = L.svg({ pane: "ground", padding: 0.5 });
  for (const kind of ORDER) {
    const features = collection.features.filter((one) => one.properties.kind === kind);
    if (!features.length) continue;
    L.geoJSON(features, {
      pane: "ground",
      renderer,
      interactive: false,
      style: ({ geometry }) => ({
        className: `ground-${kind}`,
        fill: geometry.type.endsWith("Polygon") && kind !== "county",
        smoothFactor: 1.2,
      }),
    }).addTo(drawn);
  }
  drawn.addTo(map);
  const named = collection.features.filter(({ properties }) =>
    properties.name && properties.kind !== "land");
  const written = L.layerGroup().addTo(map);

  function label(taken = []) {
    const bounds = map.getBounds();
    const view = {
      west: bounds.getWest(), south: bounds.getSouth(), east: bounds.getEast(), north: bounds.getNorth(),
    };
    const candidates = named
      .map((feature) => ({ ...feature.properties, place: placeIn(feature, view) }))
      .filter(({ place }) => place)
      .map(({ kind, name, place }) => ({
        kind: kind === "water" ? "river" : kind,
        name,
        place,
        pixel: map.latLngToContainerPoint([place[1], place[0]]),
        offset: kind === "town" ? 7 : 0,
      }));
    written.clearLayers();
    for (const { kind, name, place, offset } of fitting(candidates, map.getZoom(), taken, map.getSize())) {
      const text = document.createElement("span");
      text.textContent = name;
      L.marker([place[1], place[0]], {
        pane: "names",
        interactive: false,
        keyboard: false,
        icon: L.divIcon({ className: `ground-name ground-name-${kind}${offset < 0 ? " is-left" : ""}`, html: text, iconSize: null }),
      }).addTo(written);
    }
  }

  return { bounds: drawn.getBounds(), label };
}
