"use strict";
/* Words on the map: laid anew for every view, none over another. */
function makeLabels(chart) {
  const { map, plan, layers, words } = chart;
  const labels = L.layerGroup().addTo(map);
  const flatten = (path) => {
    const flat = new Float64Array(path.length * 2);
    path.forEach((at, i) => {
      const p = map.project(at, 0);
      flat[2 * i] = p.x;
      flat[2 * i + 1] = p.y;
    });
    return flat;
  };
  plan.contours.forEach((c) => { c.world = c.paths.map(flatten); });
  plan.transitions.forEach((t) => { t.world = t.paths.map(flatten); });
  plan.lines.forEach((l) => { l.world = flatten(l.path); });
  const isOn = (key) => map.hasLayer(layers[key]);

  function lay() {
    labels.clearLayers();
    const size = map.getSize();
    const scale = map.getZoomScale(map.getZoom(), 0);
    const origin = map.project(map.containerPointToLatLng([0, 0]), 0);
    const taken = [[0, 0, 66, 162], [0, size.y - 36, 180, size.y]]; // zoom and scale
    const isCoarse = plan.coarse && size.x < 700 && map.getZoom() < chart.fitted + 1;
    map.getContainer().classList.toggle("coarse", isCoarse);
    const isFree = (box) => box[0] > 2 && box[1] > 2 && box[2] < size.x - 2 && box[3] < size.y - 2 &&
      taken.every((t) => box[2] < t[0] || box[0] > t[2] || box[3] < t[1] || box[1] > t[3]);
    const toView = (flat, i) => [(flat[2 * i] - origin.x) * scale, (flat[2 * i + 1] - origin.y) * scale];
    function put(x, y, width, height, text, kind, turn) {
      const box = [x - width / 2, y - height / 2, x + width / 2, y + height / 2];
      if (!isFree(box)) return null;
      taken.push(box);
      const tag = el("span", text, "tag " + kind);
      if (turn) tag.style.transform = "translate(-50%, -50%) rotate(" + turn.toFixed(1) + "deg)";
      const item = L.marker(map.containerPointToLatLng([x, y]), {
        pane: "labels",
        icon: L.divIcon({ className: "tag-box", html: tag, iconSize: [0, 0] }),
        interactive: kind.startsWith("line-tag"),
        keyboard: false,
      });
      labels.addLayer(item);
      return item;
    }
  // every `spacing` pixels along a path, where it is in view and does not bend under the text
    function along(flat, spacing, width, text, kind) {
      const n = flat.length / 2;
      let run = 0;
      let next = spacing * 0.4;
      let [x0, y0] = toView(flat, 0);
      for (let i = 1; i < n; i += 1) {
        const [x1, y1] = toView(flat, i);
        const step = Math.hypot(x1 - x0, y1 - y0);
        if (run + step >= next && step > 0) {
          const k = (next - run) / step;
          const x = x0 + k * (x1 - x0);
          const y = y0 + k * (y1 - y0);
          if (x > 0 && y > 0 && x < size.x && y < size.y) {
            const a = toView(flat, Math.max(0, i - 1 - Math.round(width / 2 / Math.max(step, 1))));
            const b = toView(flat, Math.min(n - 1, i + Math.round(width / 2 / Math.max(step, 1))));
            let turn = (Math.atan2(b[1] - a[1], b[0] - a[0]) * 180) / Math.PI;
            if (turn > 90) turn -= 180;
            if (turn < -90) turn += 180;
            const flatness = Math.abs(Math.cos((turn * Math.PI) / 180));
            const wide = width * flatness + 14 * (1 - flatness) + 8;
            const high = width * (1 - flatness) + 14;
            if (put(x, y, wide, high, text, kind, turn)) next += spacing;
            else next += 24;
          } else next += 24;
          while (next < run + step) next += spacing;
        }
        run += step;
        x0 = x1;
        y0 = y1;
      }
    }
    const spots = isOn("hazards") ? plan.hazards.map((h) => h.at) : [];
    if (isOn("spots")) spots.push(...plan.spots.map((s) => s.at));
    if (plan.launch && isOn("launch")) spots.push(plan.launch);
    spots.map((at) => map.latLngToContainerPoint(at)).forEach((p) => taken.push([p.x - 15, p.y - 16, p.x + 15, p.y + 15]));
    // the line chosen first: it gets the room
    const shown = plan.lines.filter(chart.isShown).sort((a, b) => (b === chart.chosen) - (a === chart.chosen));
    shown.forEach((line) => {
      const n = line.world.length / 2;
      const width = 9 * Math.min(line.name.length, 14) + 14;
      const kind = "line-tag" + line.ink + (line === chart.chosen ? " is-chosen" : "");
      for (const share of [0.5, 0.38, 0.62, 0.25, 0.75, 0.12, 0.88, 0.03, 0.97]) {
        const [x, y] = toView(line.world, Math.round(share * (n - 1)));
        const item = put(x, y - 17, width, 24, line.name, kind) || put(x, y + 17, width, 24, line.name, kind);
        if (item) {
          item.on("click", () => chart.choose(line));
          break;
        }
      }
    });
    const beside = (things, key, kind) => {
      if (isOn(key)) things.forEach((thing) => {
        const text = thing.name === undefined ? thing.title : thing.name;
        const p = map.latLngToContainerPoint(thing.at);
        const width = 7.5 * Math.min(text.length, 20) + 10;
        put(p.x + 18 + width / 2, p.y, width, 20, text, kind);
      });
    };
    beside(plan.hazards, "hazards", "hazard-tag");
    beside(plan.spots, "spots", "spot-tag");
    if (plan.launch && isOn("launch")) {
      const p = map.latLngToContainerPoint(plan.launch);
      put(p.x + 46, p.y - 8, 56, 20, "launch", "launch-tag");
    }
    if (isOn("contours")) plan.contours.filter((c) => c.index || !isCoarse).forEach((c) => {
      const label = words.said(c.label);
      c.world.forEach((flat) => along(flat, 320, 8 * label.length, label, "contour-tag"));
    });
    if (isOn("transitions") && map.getZoom() > chart.fitted + 1) plan.transitions.forEach((t) => {
      t.world.forEach((flat) => along(flat, 420, 7 * t.label.length, t.label, "transition-tag"));
    });
  }
  map.on("moveend zoomend resize", lay);
  ["lines", "layers", "units", "choose"].forEach((event) => chart.on(event, lay));
  return lay;
}
