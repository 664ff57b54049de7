"use strict";
/* Draws the plan that stands in #plan-data onto the map. Numbers arrive as words, ready for people.
   Text of the user's reaches the page by textContent alone; no markup is ever built from it. */
function drawPlan(map) {
  const page = document.documentElement;
  const plan = JSON.parse(document.getElementById("plan-data").textContent);
  const SVG = "http://www.w3.org/2000/svg";
  const HIT_PX = 26;
  const byId = (id) => document.getElementById(id);

  function el(tag, text, kind) {
    const node = document.createElement(tag);
    if (text !== undefined) node.textContent = text;
    if (kind) node.className = kind;
    return node;
  }

  // paths come as whole millionths of a degree, each point as a step from the one before
  function unpack(steps) {
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
  const unpackAll = (parts) => parts.map(unpack);
  const unpackAreas = (areas) => areas.map(unpackAll);

  // ---- layers: one pane each, so that switching never changes what lies on top
  const layers = {};
  const renderers = {};
  ["ground", "picture", "bands", "bottom", "contours", "transitions", "hazards", "chosen", "lines", "hits", "marks"].forEach(
    (name, i) => {
      map.createPane(name).style.zIndex = 300 + 10 * i;
      renderers[name] = L.svg({ pane: name, padding: 0.4 });
    },
  );
  map.createPane("labels").style.zIndex = 500;
  const style = (pane, kind, interactive) => ({
    pane,
    renderer: renderers[pane],
    className: kind,
    interactive: Boolean(interactive),
    bubblingMouseEvents: false,
    smoothFactor: 0.6,
  });
  const addLayer = (key, items, shown) => {
    layers[key] = L.layerGroup(items);
    if (shown) layers[key].addTo(map);
  };

  const bounds = L.latLngBounds(plan.bounds);
  L.rectangle(bounds.pad(0.03), style("ground", "no-depth")).addTo(map);
  addLayer("picture", [L.imageOverlay(byId("picture").getAttribute("href"), bounds, { pane: "picture" })], true);
  addLayer("bands", plan.bands.map((b) => {
    const area = L.polygon(unpackAreas(b.areas), style("bands", "band"));
    area.on("add", () => { area.getElement().style.fill = b.colour; });
    return area;
  }), false);
  addLayer("bottom", plan.bottom.map((b) => L.polygon(unpackAreas(b.areas), style("bottom", "bottom tile-of-" + b.tile))), false);
  const cased = (paths, pane, thin, kind) => [
    L.polyline(paths, style(pane, thin)),
    L.polyline(paths, style(pane, kind)),
  ];
  plan.contours.forEach((c) => { c.paths = unpackAll(c.paths); });
  plan.transitions.forEach((t) => { t.paths = unpackAll(t.paths); });
  addLayer("contours", plan.contours.flatMap((c) => cased(c.paths, "contours", c.index ? "casing thin" : "casing thin minor", c.index ? "contour index" : "contour minor")), true);
  addLayer("transitions", plan.transitions.flatMap((t) => cased(t.paths, "transitions", "casing thin", "transition")), true);

  function mark(at, kind, path, label, box) {
    const icon = el("span", undefined, "mark " + kind);
    const drawing = document.createElementNS(SVG, "svg");
    drawing.setAttribute("viewBox", box);
    const shape = document.createElementNS(SVG, "path");
    shape.setAttribute("d", path);
    drawing.append(shape);
    icon.append(drawing);
    return L.marker(at, {
      pane: "labels",
      icon: L.divIcon({ className: "mark-box", html: icon, iconSize: [40, 40] }),
      keyboard: kind !== "launch",
      interactive: kind !== "launch",
      alt: label,
    });
  }

  addLayer("hazards", plan.hazards.flatMap((h) => {
    const area = L.polygon(unpackAreas(h.areas), style("hazards", "keep-out", true));
    const point = mark(h.at, "hazard", "M20 8L32 20 20 32 8 20zM16 16l8 8M24 16l-8 8", h.title, "0 0 40 40");
    [area, point].forEach((item) => item.on("click keypress", () => showHazard(h)));
    return [area, point];
  }), true);
  addLayer("launch", plan.launch ? [mark(plan.launch, "launch", "M20 20v-17h13l-4 5 4 5h-13", "launch", "0 0 40 40")] : [], true);

  // ---- troll lines: casing, ink by period, dashes and weight by verdict, a wide unseen line to tap
  plan.lines.forEach((line) => {
    line.path = unpack(line.path);
    const ink = " ink-" + (line.period % 4);
    const hit = L.polyline(line.path, style("hits", "hit", true));
    hit.on("click", (event) => pick(event.containerPoint));
    const ends = [L.circleMarker(line.path[0], { ...style("marks", "start" + ink), radius: 5 })];
    if (!line.ring) ends.push(L.circleMarker(line.path[line.path.length - 1], { ...style("marks", "end" + ink), radius: 5 }));
    line.marks = ends;
    line.items = [...cased(line.path, "lines", "casing", "troll " + line.verdict + ink), hit];
  });
  plan.periods.forEach((period, i) => addLayer("period-" + i, plan.lines.filter((l) => l.period === i).flatMap((l) => l.items), true));
  const marks = L.layerGroup().addTo(map);
  const isShown = (line) => map.hasLayer(layers["period-" + line.period]);
  function drawMarks() {
    marks.clearLayers();
    if (switches.marks.checked) plan.lines.filter(isShown).forEach((l) => l.marks.forEach((m) => marks.addLayer(m)));
  }

  // beside the buttons where there is room for that
  function fitWhole() {
    map.fitBounds(bounds, { paddingTopLeft: [map.getSize().x > 700 ? 64 : 0, 0], animate: false });
  }

  // ---- labels: laid anew for every view, none over another
  const labels = L.layerGroup().addTo(map);
  const world = (paths) => paths.map((path) => {
    const flat = new Float64Array(path.length * 2);
    path.forEach((at, i) => {
      const p = map.project(at, 0);
      flat[2 * i] = p.x;
      flat[2 * i + 1] = p.y;
    });
    return flat;
  });
  plan.contours.forEach((c) => { c.world = world(c.paths); });
  plan.transitions.forEach((t) => { t.world = world(t.paths); });
  plan.lines.forEach((l) => { l.world = world([l.path]); });

  function layLabels() {
    labels.clearLayers();
    const size = map.getSize();
    const scale = map.getZoomScale(map.getZoom(), 0);
    const origin = map.project(map.containerPointToLatLng([0, 0]), 0);
    const taken = [[0, 0, 66, 162], [0, size.y - 36, 180, size.y]]; // zoom and scale
    const isCoarse = plan.coarse && size.x < 700 && map.getZoom() < fitted + 1;
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
    const spots = map.hasLayer(layers.hazards) ? plan.hazards.map((h) => h.at) : [];
    if (plan.launch && map.hasLayer(layers.launch)) spots.push(plan.launch);
    spots.map((at) => map.latLngToContainerPoint(at)).forEach((p) => taken.push([p.x - 15, p.y - 16, p.x + 15, p.y + 15]));
    plan.lines.filter(isShown).forEach((line) => {
      const flat = line.world[0];
      const n = flat.length / 2;
      const width = 9 * Math.min(line.name.length, 14) + 14;
      for (const share of [0.5, 0.38, 0.62, 0.25, 0.75, 0.12, 0.88, 0.03, 0.97]) {
        const [x, y] = toView(flat, Math.round(share * (n - 1)));
        const item = put(x, y - 17, width, 24, line.name, "line-tag ink-" + (line.period % 4)) ||
          put(x, y + 17, width, 24, line.name, "line-tag ink-" + (line.period % 4));
        if (item) {
          item.on("click", () => showLine(line));
          break;
        }
      }
    });
    if (map.hasLayer(layers.hazards)) plan.hazards.forEach((h) => {
      const p = map.latLngToContainerPoint(h.at);
      const width = 7.5 * Math.min(h.name.length, 20) + 10;
      put(p.x + 18 + width / 2, p.y, width, 20, h.name, "hazard-tag");
    });
    if (plan.launch && map.hasLayer(layers.launch)) {
      const p = map.latLngToContainerPoint(plan.launch);
      put(p.x + 46, p.y - 8, 56, 20, "launch", "launch-tag");
    }
    if (map.hasLayer(layers.contours)) plan.contours.filter((c) => c.index || !isCoarse).forEach((c) => {
      c.world.forEach((flat) => along(flat, 320, 8 * c.label.length, c.label, "contour-tag"));
    });
    if (map.hasLayer(layers.transitions) && map.getZoom() > fitted + 1) plan.transitions.forEach((t) => {
      t.world.forEach((flat) => along(flat, 420, 7 * t.label.length, t.label, "transition-tag"));
    });
  }

  // ---- the side: lines, layers, key, and one line or hazard at a time
  const side = byId("side");
  const isPhone = () => window.matchMedia("(max-width: 800px)").matches;
  const tabs = el("nav");
  const facts = el("section", undefined, "pane");
  facts.id = "pane-facts";
  facts.setAttribute("aria-live", "polite");
  const layersPane = el("section", undefined, "pane");
  layersPane.id = "pane-layers";
  const names = { lines: "Lines", layers: "Layers", key: "Key" };
  let open = null;
  function show(name) {
    open = name;
    side.classList.toggle("shut", !name);
    side.querySelectorAll(".pane").forEach((pane) => { pane.hidden = pane.id !== "pane-" + name; });
    tabs.querySelectorAll("button").forEach((b) => b.setAttribute("aria-expanded", String(b.dataset.pane === name)));
    side.scrollTop = 0;
    map.invalidateSize({ animate: false });
  }
  Object.entries(names).forEach(([key, text]) => {
    const button = el("button", text);
    button.type = "button";
    button.dataset.pane = key;
    button.addEventListener("click", () => show(open === key && isPhone() ? null : key));
    tabs.append(button);
  });
  side.prepend(tabs);
  side.append(layersPane, facts);

  const chosen = L.layerGroup().addTo(map);
  const list = (parent, pairs) => {
    const dl = el("dl");
    pairs.forEach(([term, text]) => dl.append(el("dt", term), el("dd", text)));
    parent.append(dl);
  };
  function startFacts(title, kind) {
    facts.replaceChildren();
    const back = el("button", "All lines", "back");
    back.type = "button";
    back.addEventListener("click", () => {
      chosen.clearLayers();
      show("lines");
    });
    facts.append(back, el("h2", title, kind));
  }

  // the part of a path between two distances from start; Mercator stretches alike along one line
  function cut(line, from, to) {
    const flat = line.world[0];
    const n = flat.length / 2;
    const at = [0];
    for (let i = 1; i < n; i += 1) at.push(at[i - 1] + Math.hypot(flat[2 * i] - flat[2 * i - 2], flat[2 * i + 1] - flat[2 * i - 1]));
    const total = at[n - 1] || 1;
    const [a, b] = [from * total, to * total];
    const place = (s) => {
      let i = 1;
      while (i < n - 1 && at[i] < s) i += 1;
      const k = at[i] > at[i - 1] ? (s - at[i - 1]) / (at[i] - at[i - 1]) : 0;
      const [p, q] = [line.path[i - 1], line.path[i]];
      return [p[0] + k * (q[0] - p[0]), p[1] + k * (q[1] - p[1])];
    };
    return [place(a), ...line.path.filter((_, i) => at[i] > a && at[i] < b), place(b)];
  }

  function showLine(line, zoom) {
    startFacts(line.name, "verdict-" + line.verdict);
    facts.append(el("p", line.verdict_words, "verdict " + line.verdict));
    if (line.reasons.length) {
      const why = el("ul", undefined, "reasons");
      line.reasons.forEach((text) => why.append(el("li", text)));
      facts.append(why);
    }
    list(facts, line.facts);
    line.rods.forEach((rod) => {
      const block = el("article");
      block.append(el("h3", rod.rod));
      list(block, rod.facts);
      if (rod.stretches.length) {
        block.append(el("h4", "Stretches to watch, by distance from start"));
        const ul = el("ul", undefined, "stretches");
        rod.stretches.forEach((text) => ul.append(el("li", text)));
        block.append(ul);
      }
      facts.append(block);
    });
    chosen.clearLayers();
    chosen.addLayer(L.polyline(line.path, style("chosen", "halo")));
    line.items.forEach((item) => { if (map.hasLayer(item)) item.bringToFront(); });
    line.failing.forEach(([from, to]) => chosen.addLayer(L.polyline(cut(line, from, to), style("chosen", "failing"))));
    show("facts");
    const box = L.latLngBounds(line.path);
    if (zoom || !map.getBounds().intersects(box)) map.fitBounds(box, { paddingTopLeft: [90, 40], paddingBottomRight: [40, 50], maxZoom: fitted + 2, animate: false });
    facts.querySelector("h2").scrollIntoView({ block: "nearest" });
  }

  function showHazard(hazard) {
    startFacts(hazard.title);
    list(facts, hazard.facts);
    chosen.clearLayers();
    show("facts");
  }

  // where lines run close together a tap offers all of them
  function pick(point) {
    const near = plan.lines.filter(isShown).filter((line) => {
      const path = line.path.map((at) => map.latLngToContainerPoint(at));
      return path.some((p, i) => i && L.LineUtil.pointToSegmentDistance(point, path[i - 1], p) <= HIT_PX / 2 + 1);
    });
    if (near.length < 2) {
      if (near.length) showLine(near[0]);
      return;
    }
    startFacts("Lines here");
    chosen.clearLayers();
    near.forEach((line) => {
      const button = el("button", line.name + ": " + line.verdict_words + ", " + plan.periods[line.period].name, "choice");
      button.type = "button";
      button.addEventListener("click", () => showLine(line));
      facts.append(button);
    });
    show("facts");
  }

  // ---- switches
  const switches = {};
  const stills = (key, shown) => document.querySelectorAll('#drawing [data-layer="' + key + '"]').forEach((g) => g.classList.toggle("off", !shown));
  function addSwitch(parent, key, text, shown, note, ink) {
    const row = el("label", undefined, "switch");
    const box = el("input");
    box.type = "checkbox";
    box.checked = shown;
    box.dataset.layer = key;
    const words = el("span", text);
    if (note) words.append(el("small", note));
    row.append(box);
    if (ink !== undefined) row.append(el("i", undefined, "swatch ink-" + ink));
    row.append(words);
    parent.append(row);
    switches[key] = box;
    box.addEventListener("change", () => {
      if (layers[key]) map[box.checked ? "addLayer" : "removeLayer"](layers[key]);
      stills(key, box.checked);
      document.querySelectorAll('#pane-lines [data-layer="' + key + '"]').forEach((row) => { row.hidden = !box.checked; });
      drawMarks();
      layLabels();
    });
  }
  layersPane.append(el("h2", "Periods"));
  plan.periods.forEach((p, i) => addSwitch(layersPane, "period-" + i, p.name, true, p.note, i % 4));
  layersPane.append(el("h2", "Layers"));
  addSwitch(layersPane, "marks", "Start and end marks", true);
  addSwitch(layersPane, "hazards", "Hazards", true);
  addSwitch(layersPane, "launch", "Launch", true);
  addSwitch(layersPane, "transitions", "Transitions of the bottom", true);
  addSwitch(layersPane, "contours", "Depth contours", true);
  addSwitch(layersPane, "bottom", "Bottom types", false, "on screen only");
  addSwitch(layersPane, "bands", "Depth bands", false, "on screen only");
  addSwitch(layersPane, "picture", "Depth picture", true);

  document.querySelectorAll("#pane-lines tr[data-line]").forEach((row) => {
    const line = plan.lines[Number(row.dataset.line)];
    row.tabIndex = 0;
    row.addEventListener("click", () => showLine(line, true));
    row.addEventListener("keydown", (event) => {
      if (event.key === "Enter" || event.key === " ") {
        event.preventDefault();
        showLine(line, true);
      }
    });
  });

  // ---- the frame: scale, zoom, whole lake, caution that opens at a tap on a small screen
  L.control.scale({ metric: !plan.us, imperial: plan.us, maxWidth: 160 }).addTo(map);
  const zoom = L.control.zoom({ position: "topleft", zoomInTitle: "Closer", zoomOutTitle: "Farther" }).addTo(map);
  const whole = el("a", "\u2922");
  whole.href = "#";
  whole.title = "Whole lake";
  whole.setAttribute("role", "button");
  whole.setAttribute("aria-label", "Whole lake");
  L.DomEvent.disableClickPropagation(whole);
  whole.addEventListener("click", (event) => {
    event.preventDefault();
    fitWhole();
  });
  zoom.getContainer().append(whole);
  byId("caution").addEventListener("click", () => {
    byId("caution").classList.toggle("whole");
    map.invalidateSize({ animate: false });
  });

  // what is printed is the still drawing, cut to the view
  const drawing = byId("drawing");
  const wholeBox = drawing.getAttribute("viewBox");
  window.addEventListener("beforeprint", () => {
    const frame = byId("picture");
    const [wide, high] = ["width", "height"].map((k) => Number(frame.getAttribute(k)));
    const [nw, se] = [bounds.getNorthWest(), bounds.getSouthEast()].map((at) => map.project(at, 0));
    const view = map.getBounds();
    const [a, b] = [view.getNorthWest(), view.getSouthEast()].map((at) => map.project(at, 0));
    const k = wide / (se.x - nw.x);
    const box = [(a.x - nw.x) * k, (a.y - nw.y) * k, (b.x - a.x) * k, (b.y - a.y) * k];
    const isClose = box[2] < wide * 0.9 && box[3] < high * 0.9;
    drawing.setAttribute("viewBox", isClose ? box.map((v) => v.toFixed(2)).join(" ") : wholeBox);
    drawing.style.setProperty("--closer", isClose ? String(box[2] / wide) : "1");
    drawing.classList.toggle("close", isClose);
    const scale = drawing.querySelector(".scale-bar");
    const bar = scale.getBBox();
    const fits = isClose && bar.width < 0.9 * box[2];
    scale.classList.toggle("off", isClose && !fits);
    if (fits) scale.setAttribute("transform", "translate(" + (box[0] + 0.02 * box[2]) + " " + (box[1] + 0.97 * box[3] - bar.y - bar.height) + ")");
    else scale.removeAttribute("transform");
  });

  page.classList.add("live");
  map.invalidateSize({ animate: false });
  show(isPhone() ? null : "lines");
  fitWhole();
  let fitted = map.getZoom();
  map.setMinZoom(fitted - 1.5);
  drawMarks();
  layLabels();
  map.on("moveend zoomend resize", layLabels);
  new ResizeObserver(() => map.invalidateSize({ animate: false })).observe(map.getContainer());
  page.dataset.ready = "true";
}
