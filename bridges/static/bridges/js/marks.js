// Which marks stand on the map, and what each is called.

// Marks nearer to each other than this would hide each other's drawings.
export const REACH_PX = 33;

// Bridges whose marks would lie on one another become one ring with their count.
// toPixel: ([longitude, latitude]) => {x, y} at the zoom that is shown. The order of
// the answer does not depend on which of them the server named first.
export function gather(features, toPixel, reach = REACH_PX) {
  const groups = [];
  const ordered = [...features].sort((a, b) => (keyOf(a) < keyOf(b) ? -1 : 1));
  for (const feature of ordered) {
    const pixel = toPixel(feature.geometry.coordinates);
    const near = groups.find((group) => reaches(group.pixel, pixel, reach));
    if (near) near.members.push(feature);
    else groups.push({ pixel, members: [feature] });
  }
  return groups.map(({ members }) => ({
    key: members.map(keyOf).join(" "),
    members,
    count: members.reduce((sum, { properties }) => sum + properties.count, 0),
    place: middle(members.map(({ geometry }) => geometry.coordinates)),
  }));
}

function keyOf({ properties, geometry }) {
  return properties.slug ?? `ring:${geometry.coordinates.join(",")}:${properties.count}`;
}

function reaches(one, other, reach) {
  return Math.abs(one.x - other.x) < reach && Math.abs(one.y - other.y) < reach;
}

function middle(places) {
  const sum = places.reduce(([x, y], place) => [x + place[0], y + place[1]], [0, 0]);
  return [sum[0] / places.length, sum[1] / places.length];
}

// True where members stand on the same spot, as far as the map can tell.
export function areOnOneSpot({ members }) {
  const [first] = members;
  return members.every(({ geometry }) =>
    geometry.coordinates.every((part, i) =>
      Math.abs(part - first.geometry.coordinates[i]) < 1e-5));
}

export function isOneBridge({ members }) {
  return members.length === 1 && members[0].properties.kind === "bridge";
}

// What somebody hears who cannot see the mark.
export function nameOf(group) {
  if (!isOneBridge(group)) return `${group.count} bridges here`;
  const { name, form, built, status_words: status, changed_lately: changed, is_exact: exact } =
    group.members[0].properties;
  const parts = [name, form, built === "date unknown" ? built : `built ${built}`, status];
  if (changed) parts.push("changed lately");
  if (!exact) parts.push("place to about 2 miles");
  return parts.filter(Boolean).join(", ");
}
