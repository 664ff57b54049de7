"use strict";
/* Places on the earth, and on a troll line. Latitude comes first here, as the map library has it. */
const WGS84_A_M = 6378137;
const WGS84_F = 1 / 298.257223563;

/* Shortest way between two places on the ellipsoid: Vincenty's inverse formulae, Survey Review 23 (1975).
   Bearings are true. Places opposite each other on the earth do not converge; no lake is that long. */
function geodesic([lat1, lon1], [lat2, lon2]) {
  const rad = Math.PI / 180;
  const b = WGS84_A_M * (1 - WGS84_F);
  const u1 = Math.atan((1 - WGS84_F) * Math.tan(lat1 * rad));
  const u2 = Math.atan((1 - WGS84_F) * Math.tan(lat2 * rad));
  const [sinU1, cosU1, sinU2, cosU2] = [Math.sin(u1), Math.cos(u1), Math.sin(u2), Math.cos(u2)];
  const apart = (lon2 - lon1) * rad;
  let lambda = apart;
  let state = null;
  for (let i = 0; i < 100; i += 1) {
    const [sinL, cosL] = [Math.sin(lambda), Math.cos(lambda)];
    const sinS = Math.hypot(cosU2 * sinL, cosU1 * sinU2 - sinU1 * cosU2 * cosL);
    if (sinS === 0) return { distance: 0, bearing: 0, back: 180 };
    const cosS = sinU1 * sinU2 + cosU1 * cosU2 * cosL;
    const sigma = Math.atan2(sinS, cosS);
    const sinA = (cosU1 * cosU2 * sinL) / sinS;
    const cos2A = 1 - sinA * sinA;
    const cos2M = cos2A > 1e-12 ? cosS - (2 * sinU1 * sinU2) / cos2A : 0;
    const c = (WGS84_F / 16) * cos2A * (4 + WGS84_F * (4 - 3 * cos2A));
    const next = apart + (1 - c) * WGS84_F * sinA * (sigma + c * sinS * (cos2M + c * cosS * (2 * cos2M ** 2 - 1)));
    state = { sinS, cosS, sigma, cos2A, cos2M, sinL, cosL };
    if (Math.abs(next - lambda) < 1e-12) break;
    lambda = next;
  }
  const { sinS, cosS, sigma, cos2A, cos2M, sinL, cosL } = state;
  const uu = (cos2A * (WGS84_A_M ** 2 - b * b)) / (b * b);
  const a1 = 1 + (uu / 16384) * (4096 + uu * (-768 + uu * (320 - 175 * uu)));
  const b1 = (uu / 1024) * (256 + uu * (-128 + uu * (74 - 47 * uu)));
  const less = b1 * sinS * (cos2M + (b1 / 4) * (cosS * (2 * cos2M ** 2 - 1) - (b1 / 6) * cos2M * (4 * sinS ** 2 - 3) * (4 * cos2M ** 2 - 3)));
  const turn = (y, x) => ((Math.atan2(y, x) / rad) + 360) % 360;
  return {
    distance: b * a1 * (sigma - less),
    bearing: turn(cosU2 * sinL, cosU1 * sinU2 - sinU1 * cosU2 * cosL),
    back: (turn(cosU1 * sinL, -sinU1 * cosU2 + cosU1 * sinU2 * cosL) + 180) % 360,
  };
}

/* Metres in a degree of latitude and of longitude, near a latitude. */
function degreeMetres(lat) {
  const e2 = WGS84_F * (2 - WGS84_F);
  const s = Math.sin((lat * Math.PI) / 180);
  const w = Math.sqrt(1 - e2 * s * s);
  return [((WGS84_A_M * (1 - e2)) / w ** 3) * (Math.PI / 180), (WGS84_A_M / w) * Math.sqrt(1 - s * s) * (Math.PI / 180)];
}

/* A path by distance from its start. Distances are scaled to the length that the plan has for it. */
function makeTrack(path, length) {
  const [north, east] = degreeMetres(path[0][0]);
  const xy = path.map(([lat, lon]) => [(lon - path[0][1]) * east, (lat - path[0][0]) * north]);
  const at = [0];
  for (let i = 1; i < path.length; i += 1) {
    // a long line's degrees are not all alike: each leg by its own latitude
    const [n, e] = degreeMetres((path[i][0] + path[i - 1][0]) / 2);
    at.push(at[i - 1] + Math.hypot((path[i][0] - path[i - 1][0]) * n, (path[i][1] - path[i - 1][1]) * e));
  }
  const scale = length / (at[at.length - 1] || 1);
  const legOf = (s) => {
    let [low, high] = [0, path.length - 1];
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (at[middle] * scale <= s) low = middle;
      else high = middle;
    }
    return low;
  };
  const placeAt = (s) => {
    const i = legOf(s);
    const [a, b] = [at[i] * scale, at[i + 1] * scale];
    const k = b > a ? Math.min(1, Math.max(0, (s - a) / (b - a))) : 0;
    return [path[i][0] + k * (path[i + 1][0] - path[i][0]), path[i][1] + k * (path[i + 1][1] - path[i][1])];
  };
  return {
    placeAt,
    headingAt: (s) => {
      const i = legOf(s);
      return (Math.atan2(xy[i + 1][0] - xy[i][0], xy[i + 1][1] - xy[i][1]) * 180) / Math.PI;
    },
    part: (from, to) => [placeAt(from), ...path.filter((_, i) => at[i] * scale > from && at[i] * scale < to), placeAt(to)],
    // the nearest place on the path: distance from start, and how far off it is
    nearest: ([lat, lon]) => {
      const [x, y] = [(lon - path[0][1]) * east, (lat - path[0][0]) * north];
      let best = { chainage: 0, off: Infinity };
      for (let i = 1; i < xy.length; i += 1) {
        const [dx, dy] = [xy[i][0] - xy[i - 1][0], xy[i][1] - xy[i - 1][1]];
        const k = Math.min(1, Math.max(0, ((x - xy[i - 1][0]) * dx + (y - xy[i - 1][1]) * dy) / (dx * dx + dy * dy || 1)));
        const off = Math.hypot(x - xy[i - 1][0] - k * dx, y - xy[i - 1][1] - k * dy);
        if (off < best.off) best = { chainage: scale * (at[i - 1] + k * (at[i] - at[i - 1])), off };
      }
      return best;
    },
  };
}

/* Paths are whole millionths of a degree, longitude first, each point as a step from the one before. */
function unpackPath(text) {
  const steps = unpackWhole(text, 0);
  const points = [];
  let lon = 0;
  let lat = 0;
  for (let i = 0; i < steps.length; i += 2) {
    lon += steps[i];
    lat += steps[i + 1];
    points.push([lat / 1e6, lon / 1e6]);
  }
  return points;
}
const unpackPaths = (parts) => parts.map(unpackPath);
const unpackAreas = (areas) => areas.map(unpackPaths);

/* The value at a place between increasing ones, by proportion; null before the first and after the last. */
function between(at, values, s) {
  const n = at.length;
  if (!n || s < at[0] - 0.06 || s > at[n - 1] + 0.06) return null;
  let [low, high] = [0, n - 1];
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (at[middle] <= s) low = middle;
    else high = middle;
  }
  if (values[low] === null || values[high] === null) return null;
  const k = at[high] > at[low] ? Math.min(1, Math.max(0, (s - at[low]) / (at[high] - at[low]))) : 0;
  return values[low] + k * (values[high] - values[low]);
}
function nearestIndex(at, s) {
  let best = 0;
  for (let i = 1; i < at.length; i += 1) if (Math.abs(at[i] - s) < Math.abs(at[best] - s)) best = i;
  return best;
}
