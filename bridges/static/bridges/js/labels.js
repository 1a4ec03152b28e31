// Which names fit on the map without lying over each other.

const CHARACTER_PX = { town: 7.6, county: 8.6, river: 6.6, creek: 6.2, bridge: 7.6 };
const HEIGHT_PX = 18;
// From which zoom a name is worth its place.
const LEAST_ZOOM = { county: 7, town: 8, river: 8, creek: 11, bridge: 6, road: 99 };
const RANK = { bridge: 0, town: 1, county: 2, river: 3, creek: 4 };

// candidates: [{ kind, name, pixel: {x, y}, offset }]; taken: boxes already filled;
// width: of the map in pixels, beyond which a bridge's name would be cut.
// Returns those that fit, the more important first.
export function fitting(candidates, zoom, taken = [], width = Infinity) {
  const filled = [...taken];
  const fits = [];
  const ordered = candidates
    .filter(({ kind, name }) => name && zoom >= (LEAST_ZOOM[kind] ?? 99))
    .sort((a, b) => RANK[a.kind] - RANK[b.kind] || (a.name < b.name ? -1 : 1));
  for (const candidate of ordered) {
    const box = boxOf(candidate);
    if (candidate.kind === "bridge" && box.right > width) continue;
    if (filled.some((other) => overlap(box, other))) continue;
    filled.push(box);
    fits.push(candidate);
  }
  return fits;
}

export function boxOf({ kind, name, pixel, offset = 0 }) {
  const width = name.length * CHARACTER_PX[kind];
  const left = offset ? pixel.x + offset : pixel.x - width / 2;
  return {
    left,
    right: left + width,
    top: pixel.y - HEIGHT_PX / 2,
    bottom: pixel.y + HEIGHT_PX / 2,
  };
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

// The middle of the box around a ring of points: near enough to write a name at.
export function centre(points) {
  const xs = points.map(([x]) => x);
  const ys = points.map(([, y]) => y);
  return [(Math.min(...xs) + Math.max(...xs)) / 2, (Math.min(...ys) + Math.max(...ys)) / 2];
}

// Where the name of a feature of the base map is written, as [longitude, latitude].
export function placeOf({ geometry: { type, coordinates } }) {
  if (type === "Point") return coordinates;
  if (type === "LineString") return halfWay(coordinates);
  if (type === "MultiLineString") return halfWay(longest(coordinates));
  if (type === "Polygon") return centre(coordinates[0]);
  if (type === "MultiPolygon") return centre(longest(coordinates.map(([ring]) => ring)));
  return null;
}

function longest(lists) {
  return lists.reduce((best, list) => (list.length > best.length ? list : best));
}
