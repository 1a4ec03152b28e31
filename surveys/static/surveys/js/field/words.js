// How counts, sizes, ages and places are said. Pure.

const UNITS = ["bytes", "kB", "MB", "GB"];

export function bytesSaid(bytes) {
  let size = bytes;
  let unit = 0;
  while (size >= 1000 && unit < UNITS.length - 1) {
    size /= 1000;
    unit += 1;
  }
  const digits = unit > 1 && size < 10 ? 1 : 0;
  return `${size.toFixed(digits)} ${UNITS[unit]}`;
}

export function plural(count, word, many = `${word}s`) {
  return `${count} ${count === 1 ? word : many}`;
}

export function ageSaid(then, now) {
  const minutes = Math.round((now - then) / 60_000);
  if (minutes < 2) return "just now";
  if (minutes < 60) return `${minutes} minutes ago`;
  const hours = Math.round(minutes / 60);
  if (hours < 36) return `${plural(hours, "hour")} ago`;
  return `${Math.round(hours / 24)} days ago`;
}

export function onlyHereSaid(count) {
  if (!count) return "";
  return `${plural(count, "visit")} only on this phone`;
}

const EARTH_M = 6_371_000;
const POINTS = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];

// Great-circle distance by the haversine formula, in metres.
export function metresBetween(a, b) {
  const [lat1, lat2] = [a.latitude, b.latitude].map(radians);
  const dLat = lat2 - lat1;
  const dLon = radians(b.longitude - a.longitude);
  const half = Math.sin(dLat / 2) ** 2 + Math.cos(lat1) * Math.cos(lat2) * Math.sin(dLon / 2) ** 2;
  return 2 * EARTH_M * Math.asin(Math.min(1, Math.sqrt(half)));
}

export function bearingTo(a, b) {
  const [lat1, lat2] = [a.latitude, b.latitude].map(radians);
  const dLon = radians(b.longitude - a.longitude);
  const y = Math.sin(dLon) * Math.cos(lat2);
  const x = Math.cos(lat1) * Math.sin(lat2) - Math.sin(lat1) * Math.cos(lat2) * Math.cos(dLon);
  return ((Math.atan2(y, x) * 180) / Math.PI + 360) % 360;
}

export function compassSaid(degrees) {
  return POINTS[Math.round(degrees / 45) % 8];
}

const MILE_M = 1609.344;

export function distanceSaid(metres) {
  const feet = metres / 0.3048;
  if (feet < 1000) return `${Math.round(feet / 10) * 10} ft`;
  const miles = metres / MILE_M;
  return `${miles < 10 ? miles.toFixed(1) : Math.round(miles)} mi`;
}

export function nearestFirst(bridges, here) {
  if (!here) return [...bridges].sort((a, b) => a.name.localeCompare(b.name));
  return bridges
    .map((bridge) => ({ ...bridge, metres: metresBetween(here, bridge), bearing: bearingTo(here, bridge) }))
    .sort((a, b) => a.metres - b.metres);
}

function radians(degrees) {
  return (degrees * Math.PI) / 180;
}

// The day where the phone is, as EDTF writes it.
export function dayOf(date) {
  const two = (number) => String(number).padStart(2, "0");
  return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}`;
}

// The day as the record writes it, and the moment by this phone's clock.
export function takenNow(now = new Date()) {
  return { taken: dayOf(now), taken_at: now.toISOString() };
}
