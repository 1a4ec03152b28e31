// The map's own ground: land, water, roads, county lines and names, in paper tones.

import { fitting, placeOf } from "./labels.js";

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
  const places = collection.features
    .filter(({ properties }) => properties.name && properties.kind !== "land")
    .map((feature) => ({
      kind: feature.properties.kind === "water" ? "river" : feature.properties.kind,
      name: feature.properties.name,
      place: placeOf(feature),
    }))
    .filter(({ place }) => place);
  const written = L.layerGroup().addTo(map);

  function label(taken = []) {
    const view = map.getBounds().pad(0.2);
    const candidates = places
      .filter(({ place }) => view.contains([place[1], place[0]]))
      .map((one) => ({
        ...one,
        pixel: map.latLngToContainerPoint([one.place[1], one.place[0]]),
        offset: one.kind === "town" ? 6 : 0,
      }));
    written.clearLayers();
    for (const { kind, name, place } of fitting(candidates, map.getZoom(), taken)) {
      const text = document.createElement("span");
      text.textContent = name;
      L.marker([place[1], place[0]], {
        pane: "names",
        interactive: false,
        keyboard: false,
        icon: L.divIcon({ className: `ground-name ground-name-${kind}`, html: text, iconSize: null }),
      }).addTo(written);
    }
  }

  return { bounds: drawn.getBounds(), label };
}
