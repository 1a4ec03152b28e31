// Where the phone is, when its owner lets it tell. An edge.

// { latitude, longitude, accuracy, at } or null; never throws, never waits for ever.
export function whereNow({ wait = 15_000, fresh = 60_000 } = {}) {
  if (!("geolocation" in navigator)) return Promise.resolve(null);
  return new Promise((resolve) => {
    navigator.geolocation.getCurrentPosition(
      ({ coords, timestamp }) =>
        resolve({
          latitude: Number(coords.latitude.toFixed(6)),
          longitude: Number(coords.longitude.toFixed(6)),
          accuracy: Math.round(coords.accuracy),
          at: timestamp,
        }),
      () => resolve(null),
      { enableHighAccuracy: true, timeout: wait, maximumAge: fresh },
    );
  });
}

// Which way the phone looks, in degrees from true or magnetic north as it knows it; null
// where it has no compass or does not say. Near steel it goes wrong, and it can be
// written over.
export function headingNow(wait = 700) {
  return new Promise((resolve) => {
    const kind = "ondeviceorientationabsolute" in globalThis ? "deviceorientationabsolute" : "deviceorientation";
    const done = (degrees) => {
      removeEventListener(kind, heard);
      resolve(degrees);
    };
    const heard = ({ absolute, alpha, webkitCompassHeading }) => {
      if (typeof webkitCompassHeading === "number") done(Math.round(webkitCompassHeading) % 360);
      else if (absolute && typeof alpha === "number") done(Math.round(360 - alpha) % 360);
    };
    addEventListener(kind, heard);
    setTimeout(() => done(null), wait);
  });
}
