// Where photographs were taken and where to stand, with the way the camera looked.

import { clampBox } from "./view.js";

const LEAST_ZOOM = 11;
const WEDGE = "M12 12 L5 1.5 A12.6 12.6 0 0 1 19 1.5 Z";

export function startViews(L, map, settings, say) {
  const drawn = L.layerGroup();
  let isOn = false;
  let asked = null;

  async function refresh() {
    if (!isOn) return;
    if (map.getZoom() < LEAST_ZOOM) {
      drawn.clearLayers();
      say("Come nearer to see where photographs were taken.");
      return;
    }
    asked?.abort();
    asked = new AbortController();
    const bounds = map.getBounds();
    const { west, south, east, north } = clampBox({
      west: bounds.getWest(), south: bounds.getSouth(), east: bounds.getEast(), north: bounds.getNorth(),
    });
    const box = [west, south, east, north].map((edge) => edge.toFixed(5)).join(",");
    try {
      const response = await fetch(`${settings.views_url}?bbox=${box}`, { signal: asked.signal });
      if (!response.ok) throw new Error(`answered ${response.status}`);
      const { features } = await response.json();
      drawn.clearLayers();
      features.forEach(put);
      say(features.length ? `${features.length} photographs and viewpoints in view.` : "No photograph here says where it was taken.");
    } catch (error) {
      if (error.name !== "AbortError") say("Photographs could not be asked for.");
    }
  }

  function put({ geometry: { coordinates: [longitude, latitude] }, properties }) {
    const picture = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    picture.setAttribute("viewBox", "0 0 24 24");
    picture.setAttribute("class", `view-mark view-${properties.kind}`);
    if (properties.bearing_deg !== null) {
      const wedge = document.createElementNS(picture.namespaceURI, "path");
      wedge.setAttribute("d", WEDGE);
      wedge.setAttribute("transform", `rotate(${properties.bearing_deg} 12 12)`);
      picture.append(wedge);
    }
    const spot = document.createElementNS(picture.namespaceURI, "circle");
    for (const [name, value] of [["cx", 12], ["cy", 12], ["r", 4]]) spot.setAttribute(name, value);
    picture.append(spot);
    const mark = L.marker([latitude, longitude], {
      icon: L.divIcon({ className: "view", html: picture, iconSize: [32, 32] }),
      // Over the bridge itself, which a camera close by would else hide under.
      zIndexOffset: 500,
    }).bindPopup(() => about(properties)).addTo(drawn);
    mark.getElement()?.setAttribute("aria-label", nameOf(properties));
  }

  function about(properties) {
    const content = document.createElement("div");
    content.className = "map-popup";
    const anchor = document.createElement("a");
    anchor.href = properties.url;
    anchor.className = "map-popup-name";
    anchor.textContent = properties.bridge;
    const words = document.createElement("p");
    words.textContent = nameOf(properties);
    content.append(anchor, words);
    return content;
  }

  return {
    refresh,
    show(wanted) {
      isOn = wanted;
      if (isOn) drawn.addTo(map);
      else drawn.remove();
      refresh();
    },
  };
}

// What is read aloud, and written beside the mark when it is opened.
export function nameOf({ kind, name, bridge, taken, facing }) {
  const what = kind === "photo" ? "Photograph" : "Viewpoint";
  return [what, name || bridge, taken, facing && `camera facing ${facing}`].filter(Boolean).join(", ");
}
