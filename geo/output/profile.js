"use strict";
/* A troll line from the side: bottom under the boat, each lure with its error, what is wanted, what fails. */
const PROFILE = { left: 46, right: 58, row: 15, foot: 26, axis: 38, top: 8 };
const KIND_CLASS = { "touches": "touches", "may touch": "may-touch", "no depth": "no-depth-known", "slack": "slack", "drags": "drags", "above the range": "above" };
const KIND_MARK = { "touches": "\u00d7", "may touch": "!", "no depth": "?", "slack": "~", "drags": "\u2013", "above the range": "^" };
const KIND_WORDS = { "no depth": "no depth known", "slack": "may hang slack", "above the range": "higher than wanted" };
const KIND_RISKY = ["touches", "may touch", "no depth", "slack"]; // the lure does not run free
const LURE_INKS = 8; // as many inks and dashes as the style has
const SD_95 = 1.96; // two-sided 95 % of a normal error

/* The numbers of a line's side view, unpacked once. Depths in metres, null where none is known. */
function sideOf(line, plan) {
  if (line.side) return line.side;
  const spread = (runs) => {
    const out = [];
    for (let i = 0; i < runs.length; i += 2) for (let k = 0; k < runs[i + 1]; k += 1) out.push(runs[i]);
    return out;
  };
  const metres = (text) => unpackMetres(text, 0.01, 1);
  const p = line.profile;
  const places = ([at, lon, lat]) => {
    const [lons, lats] = [unpackWhole(lon, 1), unpackWhole(lat, 1)];
    return { at: unpackMetres(at, 0.1, 2), lat: lats.map((v) => v / 1e6), lon: lons.map((v) => v / 1e6) };
  };
  const boat = unpackMetres(p.at, 0.1, 2);
  const way = (rod, name, i) => {
    const w = p.rods[rod].ways[name];
    const runs = metres(w.runs);
    const depth = metres(w.depth);
    // numbers of the boat's stations, but for a few of its own; or all its own
    const at = w.own ? unpackWhole(w.at, 2).map((k) => boat[k]) : unpackMetres(w.at, 0.1, 2);
    (w.own || []).forEach(([k, tenths]) => { at[k] = tenths / 10; });
    return {
      at,
      depth,
      runs,
      sd: unpackMetres(w.sd, 0.02, 1),
      lower: metres(w.lower),
      clearance: depth.map((d, k) => (d === null || runs[k] === null ? null : d - runs[k])),
      bottom: spread(w.bottom),
      places: places(line.lures[rod][i]),
    };
  };
  line.side = {
    at: boat,
    depth: metres(p.depth),
    bottom: spread(p.bottom),
    wanted: p.wanted,
    rods: line.rods.map((_, i) => ({
      ways: { out: way(i, "out", 0), back: way(i, "back", 1) },
      stretches: p.rods[i].stretches.map(([kind, from, to, bottom, back]) => ({
        kind: plan.kinds[kind],
        from: from / 10,
        to: to / 10,
        bottom: plan.bottoms[bottom].name,
        way: back ? "back" : "out",
      })),
    })),
  };
  return line.side;
}

/* Shallowest depths that are wanted, where heights above the bottom are. */
function wantedTops(side) {
  if (!side.wanted) return [];
  if (side.wanted.depth_m) return [side.wanted.depth_m[0]];
  return side.depth.filter((d) => d !== null).map((d) => Math.max(0, d - side.wanted.above_m[1]));
}

/* What stands on a stretch: what is wrong, and with which bottom where that matters. */
const stretchWords = (s) => KIND_WORDS[s.kind] || (s.kind === "drags" ? "drags on " : s.kind + " ") + s.bottom;

/* Draws a side view into an svg element and returns how places on it and along the line belong together. */
function drawProfile(svg, { line, plan, words, way, shown, width, height }) {
  const side = sideOf(line, plan);
  const lures = [...shown].map((i) => ({ i, ...side.rods[i].ways[way], stretches: side.rods[i].stretches.filter((s) => s.way === way) }));
  const failing = lures.filter((l) => l.stretches.length);
  const { left, right, foot, axis } = PROFILE;
  const row = failing.length > 3 ? 12 : PROFILE.row;
  const top = PROFILE.top + row * failing.length + (failing.length ? 6 : 0);
  const floor = height - axis;
  const length = line.length_m;
  const known = (values) => values.filter((v) => v !== null);
  const most = Math.max(1, ...known(side.depth), ...lures.flatMap((l) => [...known(l.depth), ...l.runs.map((r, k) => (r === null ? 0 : r + SD_95 * l.sd[k]))]));
  // where everything runs deep the water above is cut off, and said to be
  const highest = Math.min(most, ...known(side.depth), ...lures.flatMap((l) => l.runs.map((r, k) => (r === null ? most : Math.min(r - SD_95 * l.sd[k], known([l.depth[k], most])[0])))), ...wantedTops(side));
  const cut = highest > 0.4 * most ? Math.max(0, highest - Math.max(0.25 * (most - highest), 0.2 * most)) : 0;
  const x = (s) => left + (s / length) * (width - left - right);
  const y = (d) => top + ((Math.max(d, cut) - cut) / (most - cut)) * (floor - foot - top);
  const put = (tag, attributes, text) => svg.appendChild(svgEl(tag, attributes, text));
  const f = (v) => v.toFixed(1);
  const lineOf = (at, values) => {
    let d = "";
    let isDown = false;
    values.forEach((v, k) => {
      if (v === null) { isDown = false; return; }
      d += (isDown ? "L" : "M") + f(x(at[k])) + " " + f(y(v));
      isDown = true;
    });
    return d;
  };
  // runs of known values, as pairs of first and last index
  const runsOf = (flags) => {
    const runs = [];
    flags.forEach((flag, k) => {
      if (!flag) return;
      if (k && flags[k - 1]) runs[runs.length - 1][1] = k;
      else runs.push([k, k]);
    });
    return runs;
  };
  const between2 = (at, upper, lower, from, to) => {
    const ks = Array.from({ length: to - from + 1 }, (_, k) => from + k);
    return "M" + [...ks.map((k) => f(x(at[k])) + " " + f(y(upper[k]))), ...ks.reverse().map((k) => f(x(at[k])) + " " + f(y(lower[k])))].join("L") + "Z";
  };
  svg.replaceChildren();
  svg.style.setProperty("--bands", Math.min(0.16, 0.3 / Math.max(1, lures.length)).toFixed(3)); // many overlap
  svg.setAttribute("viewBox", "0 0 " + width + " " + height);
  put("rect", { class: "water", x: left, y: top, width: width - left - right, height: floor - top });

  // ---- axes
  const unit = words.depthUnit();
  const [shallowest, deepest] = [words.depthValue(cut), words.depthValue(most)];
  const stepOf = (whole, room, steps) => steps.find((s) => (s / whole) * room >= 1) || steps[steps.length - 1];
  const depthStep = stepOf(deepest - shallowest, (floor - foot - top) / 19, [0.5, 1, 2, 5, 10, 20, 50, 100]);
  for (let d = Math.ceil(shallowest / depthStep - 1e-9) * depthStep; d <= deepest + 1e-9; d += depthStep) {
    const at = y(words.depthMetres(d));
    put("path", { class: "grid", d: "M" + left + " " + f(at) + "H" + f(width - right) });
    put("text", { class: "tick", x: left - 6, y: f(at + 4), "text-anchor": "end" }, String(Number(d.toFixed(1))));
  }
  put("text", { class: "tick unit", x: 4, y: f(floor - 4) }, unit);
  const [alongUnit, alongM] = words.along(length);
  const whole = length / alongM;
  const step = stepOf(whole, (width - left - right) / 64, [0.05, 0.1, 0.2, 0.25, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000]);
  for (let s = 0; s <= whole + 1e-9; s += step) {
    put("path", { class: "grid", d: "M" + f(x(s * alongM)) + " " + f(floor) + "v5" });
    put("text", { class: "tick", x: f(x(s * alongM)), y: f(floor + 17), "text-anchor": "middle" }, String(Number(s.toFixed(2))));
  }
  const run = width < 420 ? "boat" : "boat runs this way";
  const sense = way === "out" ? run + " \u2192" : "\u2190 " + run;
  put("text", { class: "tick axis-title", x: left, y: height - 5 }, "distance from start, " + alongUnit);
  put("text", { class: "tick axis-title sense", x: width - right, y: height - 5, "text-anchor": "end" }, sense);

  // ---- what is wanted: over the bottom at the lure where one lure is shown, else over that under the boat
  const one = lures.length === 1 ? lures[0] : null;
  const ground = one ? one : side;
  if (side.wanted && side.wanted.above_m) {
    const [low, high] = side.wanted.above_m;
    const upper = ground.depth.map((d) => (d === null ? null : Math.max(0, d - high)));
    const lower = ground.depth.map((d) => (d === null ? null : Math.max(0, d - low)));
    runsOf(upper.map((u) => u !== null)).forEach(([a, b]) => put("path", { class: "wanted", d: between2(ground.at, upper, lower, a, b) }));
  } else if (side.wanted) {
    const [low, high] = side.wanted.depth_m;
    put("rect", { class: "wanted", x: left, y: f(y(low)), width: f(width - left - right), height: f(y(Math.min(high, most)) - y(low)) });
  }

  // ---- the bottom under the boat: filled, its type by pattern and by name along the foot
  const runs = [];
  side.bottom.forEach((b, k) => {
    const isKnown = side.depth[k] !== null;
    const before = runs[runs.length - 1];
    if (before && before.bottom === b && before.isKnown === isKnown) before.to = k;
    else runs.push({ bottom: b, isKnown, from: k, to: k });
  });
  const middle = (k) => (k <= 0 ? 0 : k >= side.at.length ? length : (side.at[k - 1] + side.at[k]) / 2);
  runs.forEach((r) => {
    const [a, b] = [middle(r.from), middle(r.to + 1)];
    if (r.isKnown) {
      const ks = side.at.map((s, k) => [s, side.depth[k]]).slice(r.from, r.to + 1);
      const edge = (s) => [s, between(side.at, side.depth, s)];
      const points = [edge(a), ...ks, edge(b)].filter(([, d]) => d !== null);
      const d = "M" + points.map(([s, v]) => f(x(s)) + " " + f(y(v))).join("L") + "L" + f(x(points[points.length - 1][0])) + " " + f(floor) + "L" + f(x(points[0][0])) + " " + f(floor) + "Z";
      put("path", { class: "ground", d });
      put("path", { class: "ground-type tile-of-" + plan.bottoms[r.bottom].tile, d });
    } else {
      put("rect", { class: "no-depth", x: f(x(a)), y: top, width: f(x(b) - x(a)), height: f(floor - top) });
    }
    const text = r.isKnown ? plan.bottoms[r.bottom].name : "no depth known";
    if (x(b) - x(a) > 7.2 * text.length + 6) put("text", { class: "foot-word", x: f((x(a) + x(b)) / 2), y: f(floor - 8), "text-anchor": "middle" }, text);
    if (r.from > 0) put("path", { class: "change", d: "M" + f(x(a)) + " " + f(top) + "V" + f(floor) });
  });
  put("path", { class: "ground-edge", d: lineOf(side.at, side.depth) });

  // ---- lures: error band, bottom at the lure, path
  lures.forEach((l) => {
    const shallow = l.runs.map((r, k) => (r === null ? null : Math.max(0, r - SD_95 * l.sd[k])));
    const deep = l.runs.map((r, k) => (r === null ? null : r + SD_95 * l.sd[k]));
    runsOf(l.runs.map((r) => r !== null)).forEach(([a, b]) => put("path", { class: "band-95 lure-" + (l.i % LURE_INKS), d: between2(l.at, shallow, deep, a, b) }));
  });
  lures.forEach((l) => put("path", { class: "at-lure lure-" + (l.i % LURE_INKS), d: lineOf(l.at, l.depth) }));
  lures.forEach((l) => {
    put("path", { class: "lure-casing", d: lineOf(l.at, l.runs) });
    put("path", { class: "lure lure-" + (l.i % LURE_INKS), d: lineOf(l.at, l.runs) });
  });

  // ---- failing stretches: a bar with words above, a band and a mark where the lure is
  failing.forEach((l, n) => {
    const at = PROFILE.top + n * row;
    put("text", { class: "tick bar-rod", x: left - 6, y: at + row - 4, "text-anchor": "end" }, shorten(line.rods[l.i].rod, 5));
    put("path", { class: "grid", d: "M" + left + " " + (at + row - 1) + "H" + f(width - right) });
    let free = left;
    l.stretches.forEach((s) => {
      const kind = KIND_CLASS[s.kind];
      const [a, b] = [x(s.from), Math.max(x(s.to), x(s.from) + 4)];
      const group = put("g", { class: "stretch" });
      group.append(svgEl("title", {}, line.rods[l.i].rod + ", " + stretchWords(s) + ", " + words.chainage(s.from) + " to " + words.chainage(s.to)));
      group.append(svgEl("rect", { class: "bar " + kind, x: f(a), y: at, width: f(b - a), height: row - 2 }));
      const long = stretchWords(s);
      const text = b - a > 6.4 * long.length + 8 ? long : KIND_MARK[s.kind];
      const place = Math.max((a + b) / 2, free + 5);
      const wide = text.length > 1 ? 6.4 * text.length : 9;
      if (place - wide / 2 >= free) {
        group.append(svgEl("text", { class: "bar-word", x: f(place), y: at + row - 4, "text-anchor": "middle" }, text));
        free = place + wide / 2;
      }
      if (!KIND_RISKY.includes(s.kind)) return;
      put("rect", { class: "tint " + kind, x: f(a), y: f(top), width: f(b - a), height: f(floor - foot - top) });
      const half = (s.from + s.to) / 2;
      const depth = between(l.at, l.runs, half);
      const mark = put("g", { class: "fail-mark lure-" + (l.i % LURE_INKS) });
      const my = y(depth === null ? most * 0.1 : depth);
      mark.append(svgEl("circle", { cx: f(x(half)), cy: f(my), r: 8 }), svgEl("text", { x: f(x(half)), y: f(my + 5), "text-anchor": "middle" }, KIND_MARK[s.kind]));
    });
  });

  // ---- marks of the line, and a label at the end of each lure's path
  line.marks.forEach(([at]) => put("path", { class: "line-mark", d: "M" + f(x(at)) + " " + f(top - 1) + "l-5 -7h10z" }));
  const ends = lures.map((l) => {
    const last = l.runs.reduce((best, r, k) => (r === null ? best : k), -1);
    return last < 0 ? null : { l, sx: x(l.at[last]), sy: y(l.runs[last]), ly: y(l.runs[last]) };
  }).filter(Boolean).sort((a, b) => a.sy - b.sy);
  ends.forEach((e, k) => { if (k) e.ly = Math.max(e.ly, ends[k - 1].ly + 15); });
  const over = ends.length ? ends[ends.length - 1].ly - (floor - 4) : 0;
  ends.forEach((e) => {
    if (over > 0) e.ly -= over;
    put("path", { class: "leader lure-" + (e.l.i % LURE_INKS), d: "M" + f(e.sx) + " " + f(e.sy) + "H" + f(width - right + 2) + "L" + f(width - right + 9) + " " + f(e.ly) });
    put("text", { class: "end-word lure-" + (e.l.i % LURE_INKS), x: width - right + 11, y: f(e.ly + 5) }, shorten(line.rods[e.l.i].rod, 6));
  });
  put("path", { class: cut ? "surface cut" : "surface", d: "M" + left + " " + f(top) + "H" + f(width - right) });
  if (cut) put("text", { class: "tick", x: left + 6, y: f(top + 14) }, "water above " + words.depth(cut) + " is cut off");
  return { x, y, top, floor, side, lures, chainageAt: (px) => Math.min(length, Math.max(0, ((px - left) / (width - left - right)) * length)) };
}

function shorten(text, most) {
  const letters = [...text];
  return letters.length <= most ? text : letters.slice(0, most - 1).join("") + "\u2026";
}
