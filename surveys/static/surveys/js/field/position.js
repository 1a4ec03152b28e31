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
