// Which names fit on the map without lying over each other.

const CHARACTER_PX = { town: 7.6, county: 8.6, river: 6.6, creek: 6.2, bridge: 7.6 };
const HEIGHT_PX = 18;
// From which zoom a name is worth its place.
const LEAST_ZOOM = { county: 7, town: 8, river: 8, creek: 11, bridge: 6, road: 99 };
const RANK = { bridge: 0, town: 1, county: 2, river: 3, creek: 4 };

// candidates: [{ kind, name, pixel: {x, y}, offset }], offset being how far beside the
// place the name begins (0: across it); taken: boxes already filled; size: of the map.
// Returns those that fit whole, the more important first. A name beside its place may
// come back with its offset turned, to stand on the left.
export function fitting(candidates, zoom, taken = [], size = { x: Infinity, y: Infinity }) {
  const filled = [...taken];
  const fits = [];
  const ordered = candidates
    .filter(({ kind, name }) => name && zoom >= (LEAST_ZOOM[kind] ?? 99))
    .sort((a, b) => RANK[a.kind] - RANK[b.kind] || (a.name < b.name ? -1 : 1));
  for (const candidate of ordered) {
    const { offset = 0 } = candidate;
    const sides = offset ? [offset, -offset] : [0];
    const free = sides
      .map((side) => ({ ...candidate, offset: side }))
      .find((one) => isWithin(boxOf(one), size) && !filled.some((box) => overlap(boxOf(one), box)));
    if (!free) continue;
    filled.push(boxOf(free));
    fits.push(free);
  }
  return fits;
}

export function boxOf({ kind, name, pixel, offset = 0 }) {
  const width = name.length * CHARACTER_PX[kind];
  let left = pixel.x - width / 2;
  if (offset > 0) left = pixel.x + offset;
  if (offset < 0) left = pixel.x + offset - width;
  return {
    left,
    right: left + width,
    top: pixel.y - HEIGHT_PX / 2,
    bottom: pixel.y + HEIGHT_PX / 2,
  };
}

function isWithin({ left, right, top, bottom }, { x, y }) {
  return left >= 0 && right <= x && top >= 0 && bottom <= y;
}

export function around({ x, y }, half) {
  return { left: x - half, right: x + half, top: y - half, bottom: y + half };
}

function overlap(one, other) {
  return one.left < other.right && other.left < one.right
    && one.top < other.bottom && other.top < one.bottom;
}

// The point half way along a line of [x, y] points.
export function halfWay(points) {
  const lengths = points.slice(1).map((point, i) =>
    Math.hypot(point[0] - points[i][0], point[1] - points[i][1]));
  let left = lengths.reduce((sum, length) => sum + length, 0) / 2;
  for (const [i, length] of lengths.entries()) {
    if (left <= length && length > 0) {
      const part = left / length;
      const [from, to] = [points[i], points[i + 1]];
      return [from[0] + (to[0] - from[0]) * part, from[1] + (to[1] - from[1]) * part];
    }
    left -= length;
  }
  return points[0];
}

// The middle of what a ring's box and the view share: near enough to write a name at.
function middleIn(points, view) {
  const xs = points.map(([x]) => x);
  const ys = points.map(([, y]) => y);
  const [west, east] = [Math.max(Math.min(...xs), view.west), Math.min(Math.max(...xs), view.east)];
  const [south, north] = [Math.max(Math.min(...ys), view.south), Math.min(Math.max(...ys), view.north)];
  return west < east && south < north ? [(west + east) / 2, (south + north) / 2] : null;
}

// Half way along the longest run of a line that lies in the view.
function halfWayIn(points, view) {
  const runs = [[]];
  for (const point of points) {
    if (isIn(point, view)) runs.at(-1).push(point);
    else if (runs.at(-1).length) runs.push([]);
  }
  const run = longest(runs);
  return run.length > 1 ? halfWay(run) : null;
}

function isIn([x, y], { west, south, east, north }) {
  return x >= west && x <= east && y >= south && y <= north;
}

// Where the name of a feature of the ground is written, as [longitude, latitude], or
// null where none of it is in the view.
export function placeIn({ geometry: { type, coordinates } }, view) {
  if (type === "Point") return isIn(coordinates, view) ? coordinates : null;
  if (type === "LineString") return halfWayIn(coordinates, view);
  if (type === "MultiLineString") return halfWayIn(longest(coordinates), view);
  if (type === "Polygon") return middleIn(coordinates[0], view);
  if (type === "MultiPolygon") return middleIn(longest(coordinates.map(([ring]) => ring)), view);
  return null;
}

function longest(lists) {
  return lists.reduce((best, list) => (list.length > best.length ? list : best));
}
