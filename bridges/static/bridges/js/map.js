// The map of a view: our ground, the marks, and the ways to move it without a mouse.

import { layGround } from "./base.js";
import { startSlide } from "./slide.js";
import { startViews } from "./views.js";
import { around, boxOf, fitting } from "./labels.js";
import { areOnOneSpot, gather, isOneBridge, nameOf } from "./marks.js";
import { panBy, readHash, viewAddress, writeHash } from "./view.js";

const MARK_PX = 44;
const CLOSEST = 17;
const WAIT_MS = 120;
// With more marks than this the names wait until the map is nearer.
const ROOMY = 25;
const NAMED_ZOOM = 12;
// Where the buttons for nearer and farther lie over the map.
const CONTROLS = { left: 0, top: 0, right: 62, bottom: 108 };

// section holds [data-map], its tools and the templates of the marks.
export function startMap(L, section, settings) {
  const box = section.querySelector("[data-map]");
  const said = section.querySelector("[data-said]");
  const templates = new Map(
    [...section.querySelectorAll("template[data-mark]")].map((one) => [one.dataset.mark, one]),
  );
  box.replaceChildren();
  const map = L.map(box, {
    attributionControl: Boolean(settings.tiles),
    maxBounds: [[-86, -180], [86, 180]],
    minZoom: 2,
    maxZoom: CLOSEST,
    // The page scrolls under the wheel until the map is the thing in hand.
    scrollWheelZoom: false,
    // Half steps fit a region better; tiles are only sharp at whole ones.
    zoomSnap: settings.tiles ? 1 : 0.5,
  });
  L.control.scale({ position: "bottomright" }).addTo(map);
  box.addEventListener("focusin", () => map.scrollWheelZoom.enable());
  box.addEventListener("focusout", () => map.scrollWheelZoom.disable());
  box.addEventListener("keydown", (event) => {
    if (event.key === "Escape") map.closePopup();
  });

  const marks = new Map();
  let ground = null;
  let asked = null;
  let waiting = 0;
  let groups = [];

  function lookAtAll() {
    const { bounds } = settings;
    if (bounds) {
      const [west, south, east, north] = bounds;
      map.fitBounds([[south, west], [north, east]], { padding: [36, 36], maxZoom: 13 });
    } else if (ground?.bounds.isValid()) {
      map.fitBounds(ground.bounds);
    } else {
      map.setView([20, 0], 2);
    }
  }

  async function refresh() {
    asked?.abort();
    asked = new AbortController();
    const view = map.getBounds();
    const degrees = {
      west: view.getWest(), south: view.getSouth(), east: view.getEast(), north: view.getNorth(),
    };
    const address = viewAddress(settings.view_url, settings.query, degrees, map.getZoom());
    try {
      const response = await fetch(address, { signal: asked.signal });
      if (!response.ok) throw new Error(`answered ${response.status}`);
      const answer = await response.json();
      groups = gather(answer.features, ([longitude, latitude]) =>
        map.project([latitude, longitude], map.getZoom()));
      draw();
      say(answer);
    } catch (error) {
      if (error.name !== "AbortError") {
        said.textContent = "The map could not be brought up to date. The list is not affected.";
      }
    }
  }

  function say({ in_view: inView, total }) {
    said.textContent = inView === total
      ? `All ${total} in view.`
      : `${inView} of ${total} in view; the list has them all.`;
  }

  function draw() {
    const kept = new Set(groups.map(({ key }) => key));
    for (const [key, mark] of marks) {
      if (!kept.has(key)) {
        mark.remove();
        marks.delete(key);
      }
    }
    for (const group of groups) {
      if (!marks.has(group.key)) marks.set(group.key, put(group));
    }
    write();
  }

  // Names of bridges where there is room, then names of the ground around them.
  function write() {
    const pixel = ([longitude, latitude]) => map.latLngToContainerPoint([latitude, longitude]);
    const taken = [CONTROLS, ...groups.map(({ place }) => around(pixel(place), 17))];
    const isRoomy = groups.length <= ROOMY || map.getZoom() >= NAMED_ZOOM;
    const bridges = groups.filter((group) => isRoomy && isOneBridge(group)).map((group) => ({
      kind: "bridge",
      name: group.members[0].properties.name,
      pixel: pixel(group.place),
      offset: 20,
      key: group.key,
    }));
    const named = fitting(bridges, map.getZoom(), taken, map.getSize());
    const sides = new Map(named.map(({ key, offset }) => [key, offset]));
    for (const [key, mark] of marks) {
      const { classList } = mark.getElement();
      classList.toggle("is-named", sides.has(key));
      classList.toggle("is-left", sides.get(key) < 0);
    }
    ground?.label([...taken, ...named.map(boxOf)]);
  }

  function put(group) {
    const [longitude, latitude] = group.place;
    const mark = L.marker([latitude, longitude], {
      icon: L.divIcon({
        className: isOneBridge(group) ? "mark" : "mark mark-ring",
        html: picture(group),
        iconSize: [MARK_PX, MARK_PX],
      }),
      riseOnHover: true,
      autoPanOnFocus: false,
    }).addTo(map);
    const element = mark.getElement();
    element.setAttribute("aria-label", nameOf(group));
    mark.on("click", () => open(group, element, false));
    element.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      event.stopPropagation();
      open(group, element, true);
    });
    return mark;
  }

  function picture(group) {
    const html = document.createElement("span");
    if (!isOneBridge(group)) {
      html.className = "ring";
      html.textContent = group.count;
      return html;
    }
    const { family, shape, name, changed_lately: changed } = group.members[0].properties;
    html.className = "mark-face";
    const drawing = templates.get(`${family}-${shape}`) ?? templates.get(`other-${shape}`);
    html.append(drawing.content.cloneNode(true));
    if (changed) {
      const tick = templates.get("tick").content.querySelector("path:last-child");
      html.querySelector("svg").append(tick.cloneNode(true));
    }
    const label = document.createElement("span");
    label.className = "mark-name";
    label.textContent = name;
    html.append(label);
    return html;
  }

  function open(group, element, byKey) {
    const [longitude, latitude] = group.place;
    if (isOneBridge(group) || isAsCloseAsItGets(group)) {
      show(group, element, byKey);
      return;
    }
    const places = group.members.map(({ geometry: { coordinates: [x, y] } }) => [y, x]);
    // Bridges can be looked at as a box; a cluster is only a place with a count.
    if (group.members.every(({ properties }) => properties.kind === "bridge")) {
      map.fitBounds(places, { padding: [60, 60], maxZoom: map.getZoom() + 4 });
    } else {
      map.setView([latitude, longitude], Math.min(map.getZoom() + 2, CLOSEST));
    }
    // The ring is about to go; whoever held it with the keyboard holds the map.
    if (byKey) box.focus();
  }

  function isAsCloseAsItGets(group) {
    const { members } = group;
    if (!members.every(({ properties }) => properties.kind === "bridge")) return false;
    return areOnOneSpot(group) || map.getZoom() >= CLOSEST;
  }

  function show(group, element, byKey) {
    const [longitude, latitude] = group.place;
    const popup = L.popup({ minWidth: 200, maxWidth: 280, offset: [0, -8], autoPanPadding: [12, 12] })
      .setLatLng([latitude, longitude])
      .setContent(group.members.length === 1 ? about(group.members[0]) : listed(group.members));
    if (byKey) popup.on("remove", () => element.isConnected && element.focus());
    popup.openOn(map);
    if (byKey) popup.getElement().querySelector("a").focus();
  }

  function about({ properties: one }) {
    const content = document.createElement("div");
    content.className = "map-popup";
    content.append(link(one));
    const built = one.built === "date unknown" ? one.built : `built ${one.built}`;
    line(content, `${one.form}, ${built}`);
    line(content, [one.number, one.place].filter(Boolean).join(" · "));
    line(content, one.status_words, `tag tag-${one.shape}`);
    if (one.changed_lately) {
      line(content, `Seen changed ${one.changed.slice(0, 4)}`, "tag tag-changed");
    }
    if (!one.is_exact) line(content, "Shown to about 2 miles only");
    return content;
  }

  function listed(members) {
    const content = document.createElement("div");
    content.className = "map-popup";
    const items = document.createElement("ul");
    for (const { properties } of members) {
      const item = document.createElement("li");
      item.append(link(properties), ` ${properties.form}, ${properties.built}`);
      items.append(item);
    }
    content.append(items);
    return content;
  }

  function link({ name, url }) {
    const anchor = document.createElement("a");
    anchor.href = url;
    anchor.className = "map-popup-name";
    anchor.textContent = name;
    return anchor;
  }

  function line(content, text, className = "") {
    const paragraph = document.createElement("p");
    const words = document.createElement("span");
    words.className = className;
    words.textContent = text;
    paragraph.append(words);
    content.append(paragraph);
  }

  function findMe() {
    if (!navigator.geolocation) {
      said.textContent = "This browser cannot say where you are.";
      return;
    }
    said.textContent = "Looking for where you are.";
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => {
        here ??= L.circleMarker([0, 0], { radius: 9, className: "here", interactive: false }).addTo(map);
        here.setLatLng([coords.latitude, coords.longitude]);
        map.setView([coords.latitude, coords.longitude], 12);
        offerList(coords);
      },
      () => {
        said.textContent = "Where you are could not be found. Allow it in the browser, or move the map.";
      },
      { maximumAge: 60_000, timeout: 15_000 },
    );
  }
  let here = null;

  // The list of the same ground, as an address that can be kept.
  function offerList({ latitude, longitude }) {
    const line = section.querySelector("[data-near-list]");
    const query = new URLSearchParams(settings.query);
    query.set("near", `${latitude.toFixed(4)},${longitude.toFixed(4)},10`);
    line.querySelector("a").href = `?${query}`;
    line.hidden = false;
  }

  const layer = startViews(L, map, settings, (words) => { said.textContent = words; });
  const views = section.querySelector("[data-views]");
  views.hidden = !settings.views_url;
  views.addEventListener("click", () => {
    const isOn = views.getAttribute("aria-pressed") !== "true";
    views.setAttribute("aria-pressed", String(isOn));
    layer.show(isOn);
  });
  startSlide(section, settings, refresh);

  const tools = section.querySelector("[data-map-tools]");
  tools.hidden = false;
  tools.querySelector("[data-near]").addEventListener("click", findMe);
  tools.querySelector("[data-all]").addEventListener("click", lookAtAll);
  for (const button of tools.querySelectorAll("[data-pan]")) {
    button.addEventListener("click", () => map.panBy(panBy(button.dataset.pan, map.getSize())));
  }

  async function layBase() {
    if (settings.tiles) {
      L.tileLayer(settings.tiles.url, {
        attribution: settings.tiles.attribution,
        maxZoom: CLOSEST,
        maxNativeZoom: settings.tiles.max_zoom,
        referrerPolicy: "strict-origin",
      }).addTo(map);
      return;
    }
    try {
      const response = await fetch(settings.base_url);
      if (!response.ok) return;
      ground = layGround(L, map, await response.json());
      if (!settings.bounds && !readHash(location.hash)) lookAtAll();
      write();
    } catch {
      // Plain paper will do; the marks are what the map is for.
    }
  }

  const begin = readHash(location.hash);
  if (begin) map.setView([begin.latitude, begin.longitude], begin.zoom);
  else lookAtAll();
  map.on("moveend", () => {
    const { lat, lng } = map.getCenter();
    const hash = writeHash({ zoom: map.getZoom(), latitude: lat, longitude: lng });
    history.replaceState(history.state, "", `${location.pathname}${location.search}${hash}`);
    write();
    layer.refresh();
    clearTimeout(waiting);
    waiting = setTimeout(refresh, WAIT_MS);
  });
  refresh();
  layBase();
  return map;
}
