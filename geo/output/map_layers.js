"use strict";
/* What lies on the map, each kind in a pane of its own, so that switching never changes what is on top. */
function makeLayers(chart) {
  const { map, plan } = chart;
  const PANES = ["ground", "picture", "bands", "bottom", "contours", "transitions", "hazards", "lines", "swath", "chosen", "hits", "marks", "cursor"];
  const layers = {};
  const renderers = {};
  PANES.forEach((name, i) => {
    map.createPane(name).style.zIndex = 300 + 10 * i;
    renderers[name] = L.svg({ pane: name, padding: 0.4 });
  });
  map.createPane("labels").style.zIndex = 500;
  map.createPane("hand").style.zIndex = 520;
  renderers.hand = L.svg({ pane: "hand", padding: 0.4 });

  const style = (pane, kind, interactive) => ({
    pane,
    renderer: renderers[pane],
    className: kind,
    interactive: Boolean(interactive),
    bubblingMouseEvents: false,
    smoothFactor: 0.6,
  });
  const add = (key, items, shown) => {
    layers[key] = L.layerGroup(items);
    if (shown) layers[key].addTo(map);
  };
  const cased = (paths, pane, thin, kind) => [L.polyline(paths, style(pane, thin)), L.polyline(paths, style(pane, kind))];

  function mark(at, kind, path, label, onTap) {
    const icon = el("span", undefined, "mark " + kind);
    const drawing = svgEl("svg", { viewBox: "0 0 40 40" });
    drawing.append(svgEl("path", { d: path }));
    icon.append(drawing);
    const item = L.marker(at, {
      pane: "labels",
      icon: L.divIcon({ className: "mark-box", html: icon, iconSize: [44, 44] }),
      keyboard: Boolean(onTap),
      interactive: Boolean(onTap),
      alt: label,
    });
    if (onTap) item.on("click keypress", onTap);
    return item;
  }

  const bounds = L.latLngBounds(plan.bounds);
  L.rectangle(bounds.pad(0.03), style("ground", "no-depth")).addTo(map);
  const picture = document.getElementById("picture").getAttribute("href");
  add("picture", [L.imageOverlay(picture, bounds, { pane: "picture" })], true);
  add("bands", plan.bands.map((b) => {
    const area = L.polygon(unpackAreas(b.areas), style("bands", "band"));
    area.on("add", () => { area.getElement().style.fill = b.colour; });
    return area;
  }), false);
  add("bottom", plan.bottom.map((b) => L.polygon(unpackAreas(b.areas), style("bottom", "bottom tile-of-" + b.tile))), false);
  plan.contours.forEach((c) => { c.paths = unpackPaths(c.paths); });
  plan.transitions.forEach((t) => { t.paths = unpackPaths(t.paths); });
  const strength = (c) => (c.index ? "" : " minor");
  add("contours", plan.contours.flatMap((c) => cased(c.paths, "contours", "casing thin" + strength(c), "contour" + (c.index ? " index" : strength(c)))), true);
  add("transitions", plan.transitions.flatMap((t) => cased(t.paths, "transitions", "casing thin", "transition")), true);
  add("hazards", plan.hazards.flatMap((h) => {
    const tell = () => chart.showThing(h);
    const area = L.polygon(unpackAreas(h.areas), style("hazards", "keep-out", true));
    area.on("click", tell);
    return [area, mark(h.at, "hazard", "M20 8L32 20 20 32 8 20zM16 16l8 8M24 16l-8 8", h.title, tell)];
  }), true);
  add("spots", plan.spots.flatMap((s) => {
    const point = mark(s.at, "spot", "M12 12h16v16h-16z", s.title, () => chart.showThing(s));
    return s.stand ? [L.polyline([s.stand, s.at], style("marks", "stand-off")), L.circleMarker(s.stand, { ...style("marks", "stand-off"), radius: 4 }), point] : [point];
  }), true);
  add("launch", plan.launch ? [mark(plan.launch, "launch", "M20 20v-17h13l-4 5 4 5h-13", "launch")] : [], true);

  // troll lines: casing, ink by period, dashes and weight by verdict, a wide unseen line to tap
  plan.lines.forEach((line) => {
    const ink = " ink-" + (line.period % 4);
    line.path = unpackPath(line.path);
    line.track = makeTrack(line.path, line.length_m);
    line.ink = ink;
    const hit = L.polyline(line.path, style("hits", "hit", true));
    hit.on("click", (event) => chart.pick(event.containerPoint, event.latlng));
    const ends = [line.path[0], ...(line.ring ? [] : [line.path[line.path.length - 1]])];
    const marks = ends.map((at, i) => L.circleMarker(at, { ...style("marks", (i ? "end" : "start") + ink), radius: 5 }));
    line.drawn = L.layerGroup([...cased(line.path, "lines", "casing", "troll " + line.verdict + ink), hit, ...marks]);
    line.drawn.addTo(map);
  });

  const chosen = L.layerGroup().addTo(map);
  chart.on("choose", (line) => {
    chosen.clearLayers();
    map.getContainer().classList.toggle("has-chosen", Boolean(line));
    if (!line) return;
    if (line.swath.length) chosen.addLayer(L.polygon(unpackAreas(line.swath), style("swath", "swath")));
    chosen.addLayer(L.polyline(line.path, style("chosen", "halo")));
    line.failing.forEach(([from, to]) => {
      chosen.addLayer(L.polyline(line.track.part(from * line.length_m, to * line.length_m), style("chosen", "failing")));
    });
    cased(line.path, "chosen", "casing", "troll " + line.verdict + line.ink).forEach((item) => chosen.addLayer(item));
    line.marks.forEach(([at, text]) => {
      const spot = L.circleMarker(line.track.placeAt(at), { ...style("marks", "line-mark", true), radius: 8 });
      spot.on("click", () => {
        chart.setCursor(at);
        chart.note(chart.words.said(text) + ", " + chart.words.chainage(at) + " from start of " + line.name);
      });
      chosen.addLayer(spot);
    });
  });
  chart.on("lines", () => plan.lines.forEach((line) => map[chart.isShown(line) ? "addLayer" : "removeLayer"](line.drawn)));
  return { layers, style, bounds };
}
