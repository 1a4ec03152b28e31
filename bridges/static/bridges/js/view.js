// What the map looks at: as an address to ask the server with, and as the page's hash.

const WORLD = { west: -180, south: -90, east: 180, north: 90 };
const HASH = /^#map=(\d{1,2}(?:\.5)?)\/(-?\d{1,2}(?:\.\d+)?)\/(-?\d{1,3}(?:\.\d+)?)$/;

function within(value, least, most) {
  return Math.min(Math.max(value, least), most);
}

// Cuts a box of degrees down to the world: at a small zoom a screen shows more.
export function clampBox(box) {
  return {
    west: within(box.west, WORLD.west, WORLD.east),
    south: within(box.south, WORLD.south, WORLD.north),
    east: within(box.east, WORLD.west, WORLD.east),
    north: within(box.north, WORLD.south, WORLD.north),
  };
}

// query is the page's own filters, as the server wrote them.
export function viewAddress(address, query, box, zoom) {
  const { west, south, east, north } = clampBox(box);
  const edges = [west, south, east, north].map((edge) => edge.toFixed(5)).join(",");
  const filters = query ? `&${query}` : "";
  return `${address}?bbox=${edges}&zoom=${Math.round(zoom)}${filters}`;
}

// The same filters as of another year; blank is today.
export function queryAt(query, year) {
  const asked = new URLSearchParams(query);
  asked.delete("as_of");
  if (year) asked.set("as_of", year);
  return asked.toString();
}

export function readHash(hash) {
  const match = HASH.exec(hash);
  if (!match) return null;
  const [zoom, latitude, longitude] = match.slice(1).map(Number);
  if (zoom > 20 || Math.abs(latitude) > 90 || Math.abs(longitude) > 180) return null;
  return { zoom, latitude, longitude };
}

export function writeHash({ zoom, latitude, longitude }) {
  return `#map=${Math.round(zoom * 2) / 2}/${latitude.toFixed(4)}/${longitude.toFixed(4)}`;
}

// How far one press of an arrow moves the map, in pixels.
export function panBy(direction, size) {
  const steps = { west: [-1, 0], east: [1, 0], north: [0, -1], south: [0, 1] };
  const [x, y] = steps[direction];
  return [Math.round((x * size.x) / 3), Math.round((y * size.y) / 3)];
}
