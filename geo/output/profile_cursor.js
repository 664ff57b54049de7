"use strict";
/* The panel of the side view: directions, rods, a cursor that the map shares, and a readout in words. */
function makeProfile(chart) {
  const { map, plan, words } = chart;
  const panel = el("section");
  panel.id = "profile";
  panel.hidden = true;
  panel.setAttribute("aria-label", "Side view of the line chosen");
  const head = el("div", undefined, "profile-head");
  const rods = el("div", undefined, "rods");
  rods.setAttribute("role", "group");
  rods.setAttribute("aria-label", "Rods shown");
  const title = el("h2");
  const verdict = el("span", undefined, "verdict");
  const ways = el("div", undefined, "ways");
  ways.setAttribute("role", "group");
  ways.setAttribute("aria-label", "Running direction");
  const fold = button("Fold", "fold", () => setFolded(!panel.classList.contains("folded")));
  const close = button("Close", "close-profile", () => chart.choose(null));
  const name = el("div", undefined, "name");
  name.append(title, verdict);
  head.append(name, rods, ways, fold, close);
  const svg = svgEl("svg", { class: "profile-drawing", tabindex: "0", role: "slider", "aria-label": "Boat along the line" });
  const readout = el("div", undefined, "readout");
  readout.id = "readout";
  const body = el("div", undefined, "profile-body");
  const drawn = el("div", undefined, "profile-box");
  drawn.append(svg);
  body.append(drawn, readout);
  panel.append(head, body);

  const WAYS = [["out", "out"], ["back", "back"]];
  const buttons = WAYS.map(([way, text]) => {
    const node = button("", "way", () => setWay(way));
    node.append(text);
    node.setAttribute("aria-label", "running " + text);
    node.dataset.way = way;
    ways.append(node);
    return node;
  });
  let line = null;
  let way = "out";
  let shown = new Set();
  let view = null;
  let cursor = 0;
  const onMap = L.layerGroup().addTo(map);

  function setFolded(isFolded) {
    panel.classList.toggle("folded", isFolded);
    fold.textContent = isFolded ? "Unfold" : "Fold";
    fold.setAttribute("aria-expanded", String(!isFolded));
    map.invalidateSize({ animate: false });
    draw();
  }
  chart.foldProfile = setFolded;
  function setWay(to) {
    way = to;
    buttons.forEach((b) => b.setAttribute("aria-pressed", String(b.dataset.way === way)));
    draw();
  }
  function drawRods() {
    rods.replaceChildren();
    line.rods.forEach((rod, i) => {
      const chip = el("label", undefined, "rod");
      const box = el("input");
      box.type = "checkbox";
      box.checked = shown.has(i);
      box.addEventListener("change", () => {
        if (box.checked) shown.add(i);
        else shown.delete(i);
        shown = new Set([...shown].sort((a, b) => a - b));
        draw();
      });
      const sample = svgEl("svg", { class: "rod-sample", viewBox: "0 0 34 14" });
      sample.append(svgEl("path", { class: "lure lure-" + (i % LURE_INKS), d: "M2 7H32" }));
      const tag = el("span", undefined, "rod-name");
      tag.append(el("b", rod.rod), sample);
      chip.append(box, tag);
      rods.append(chip);
    });
  }

  function draw() {
    if (!line || panel.hidden || panel.classList.contains("folded")) return;
    // room for a row for each rod that fails in this direction
    const failing = sideOf(line, plan).rods.filter((rod, i) => shown.has(i) && rod.stretches.some((s) => s.way === way));
    panel.style.setProperty("--rows", String(Math.min(failing.length, 5)));
    const width = Math.max(260, Math.floor(drawn.clientWidth));
    const height = Math.max(170, Math.floor(drawn.clientHeight));
    view = drawProfile(svg, { line, plan, words, way, shown, width, height });
    svg.append(svgEl("g", { class: "cursor" }));
    svg.setAttribute("aria-valuemin", "0");
    svg.setAttribute("aria-valuemax", line.length_m.toFixed(0));
    showCursor();
  }

  // ---- the cursor: here, on the map, and in words
  function setCursor(chainage) {
    if (!line) return;
    cursor = Math.min(line.length_m, Math.max(0, chainage));
    showCursor();
  }
  chart.setCursor = setCursor;

  function atLure(lure, s) {
    const k = nearestIndex(lure.at, s);
    const isThere = lure.at.length && s >= lure.at[0] - 0.06 && s <= lure.at[lure.at.length - 1] + 0.06;
    if (!isThere) return null;
    return { runs: lure.runs[k], sd: lure.sd[k], depth: lure.depth[k], clearance: lure.clearance[k], lower: lure.lower[k], bottom: plan.bottoms[lure.bottom[k]].name };
  }
  function showCursor() {
    if (!view) return;
    const { side, lures, x, y } = view;
    const k = nearestIndex(side.at, cursor);
    const group = svg.querySelector(".cursor");
    group.replaceChildren(svgEl("path", { d: "M" + x(cursor).toFixed(1) + " " + view.top + "V" + view.floor }));
    lures.forEach((lure) => {
      const here = between(lure.at, lure.runs, cursor);
      if (here !== null) group.append(svgEl("circle", { class: "dot lure-" + (lure.i % LURE_INKS), cx: x(cursor).toFixed(1), cy: y(here).toFixed(1), r: 5 }));
    });
    svg.dataset.chainageM = cursor.toFixed(2);
    svg.setAttribute("aria-valuenow", cursor.toFixed(0));
    tell(k);
    svg.setAttribute("aria-valuetext", readout.textContent);
    onMap.clearLayers();
    const at = line.track.placeAt(cursor);
    const turn = line.track.headingAt(Math.min(cursor, line.length_m - 0.01)) + (way === "out" ? 0 : 180);
    lures.forEach((lure) => {
      const p = lure.places;
      const [lat, lon] = [between(p.at, p.lat, cursor), between(p.at, p.lon, cursor)];
      if (lat !== null) onMap.addLayer(L.circleMarker([lat, lon], { ...chart.style("cursor", "lure-dot lure-" + (lure.i % LURE_INKS)), radius: 5 }));
    });
    const icon = el("span", undefined, "boat");
    icon.style.transform = "rotate(" + turn.toFixed(0) + "deg)";
    const boat = svgEl("svg", { viewBox: "-14 -14 28 28" });
    boat.append(svgEl("path", { d: "M0 -12C7 -4 7 4 5 11H-5C-7 4 -7 -4 0 -12Z" }));
    icon.append(boat);
    onMap.addLayer(L.marker(at, { pane: "cursor", interactive: false, keyboard: false, icon: L.divIcon({ className: "boat-box", html: icon, iconSize: [28, 28] }) }));
  }

  function tell(k) {
    const { side, lures } = view;
    const s = cursor;
    const under = side.depth[k] === null ? "no depth known under the boat" : words.depth(side.depth[k]) + " under the boat, " + plan.bottoms[side.bottom[k]].name;
    const met = line.marks.filter(([at]) => Math.abs(at - s) <= 15).map(([, text]) => words.said(text));
    const boat = el("p", words.chainage(s) + " of " + words.chainage(line.length_m) + " from start: " + [under, ...met].join("; ") + ".", "under-boat");
    const table = el("table");
    const top = el("tr");
    ["Lure", "Runs at", "Bottom", "Above it", "At least"].forEach((text) => top.append(el("th", text)));
    table.append(top);
    lures.forEach((lure) => {
      const rod = line.rods[lure.i];
      const row = el("tr");
      row.append(el("th", rod.rod));
      const here = atLure(lure, s);
      if (!here) {
        const cell = el("td", "not yet on the line");
        cell.colSpan = 4;
        row.append(cell);
      } else {
        const runs = here.runs === null ? "may hang slack" : words.depthNumber(here.runs) + " \u00b1 " + words.depthValue(SD_95 * here.sd).toFixed(1) + " " + words.depthUnit();
        const ground = here.depth === null ? "no depth known" : words.depth(here.depth) + ", " + here.bottom;
        row.append(el("td", runs), el("td", ground), el("td", words.clearance(here.clearance)), el("td", words.clearance(here.lower)));
      }
      table.append(row);
      const wrong = lure.stretches.filter((t) => s >= t.from - 0.05 && s <= t.to + 0.05);
      if (wrong.length) {
        const says = el("tr", undefined, "wrong");
        const cell = el("td", rod.rod + ": " + [...new Set(wrong.map(stretchWords))].join("; "));
        cell.colSpan = 5;
        says.append(cell);
        table.append(says);
      }
    });
    const small = el("p", "\u00b1 and at least: 95 %. " + (lures.length === 1 ? "Range wanted: over the bottom at this lure." : "Range wanted: over the bottom under the boat; show one rod to see it over the bottom at that lure."), "small");
    readout.replaceChildren(boat, ...(lures.length ? [table] : [el("p", "No rod is shown.")]), small);
  }

  // ---- hands: pointer over the drawing, pointer over the map, keys
  const toCursor = (event) => {
    if (!view) return;
    const box = svg.getBoundingClientRect();
    setCursor(view.chainageAt(((event.clientX - box.left) / box.width) * svg.viewBox.baseVal.width));
  };
  svg.addEventListener("pointerdown", (event) => {
    svg.setPointerCapture(event.pointerId);
    toCursor(event);
  });
  svg.addEventListener("pointermove", (event) => {
    if (event.pointerType === "mouse" || event.buttons) toCursor(event);
  });
  const NEAR_PX = 40;
  map.on("mousemove", (event) => {
    if (!line || chart.isMeasuring()) return;
    const found = line.track.nearest([event.latlng.lat, event.latlng.lng]);
    const at = map.latLngToContainerPoint(line.track.placeAt(found.chainage));
    if (at.distanceTo(event.containerPoint) <= NEAR_PX) setCursor(found.chainage);
  });
  svg.addEventListener("keydown", (event) => {
    if (!line) return;
    const { at } = view.side;
    const n = at.length;
    const k = nearestIndex(at, cursor);
    const moves = { ArrowRight: k + 1, ArrowUp: k + 1, ArrowLeft: k - 1, ArrowDown: k - 1, PageUp: k + 10, PageDown: k - 10, Home: 0, End: n - 1 };
    if (!(event.key in moves)) return;
    event.preventDefault();
    setCursor(at[Math.min(n - 1, Math.max(0, moves[event.key]))]);
  });

  chart.on("choose", (to, options) => {
    line = to;
    view = null;
    onMap.clearLayers();
    panel.hidden = !line;
    document.body.classList.toggle("has-profile", Boolean(line));
    map.invalidateSize({ animate: false });
    if (!line) return;
    title.textContent = line.name;
    verdict.textContent = line.verdict_words;
    verdict.className = "verdict " + line.verdict;
    shown = new Set(line.rods.map((_, i) => i));
    // where it was tapped, else at the first stretch that fails, else half way
    const fails = sideOf(line, plan).rods.flatMap((rod) => rod.stretches).filter((s) => s.way === "out" && KIND_RISKY.includes(s.kind));
    const first = fails.sort((a, b) => a.from - b.from)[0];
    cursor = first ? (first.from + first.to) / 2 : line.length_m / 2;
    if (options.at) cursor = line.track.nearest([options.at.lat, options.at.lng]).chainage;
    drawRods();
    setFolded(false);
    setWay("out");
  });
  chart.on("units", draw);
  new ResizeObserver(() => draw()).observe(drawn);
  return panel;
}
