"use strict";
/* Draws the plan that stands in #plan-data onto the map, and puts the page's parts together.
   Text of the user's reaches the page by textContent alone; no markup is ever built from it. */
function drawPlan(map) {
  const page = document.documentElement;
  const plan = JSON.parse(document.getElementById("plan-data").textContent);
  const byId = (id) => document.getElementById(id);
  const heard = {};
  const chart = {
    map,
    plan,
    words: makeWords(plan),
    chosen: null,
    on: (event, act) => { (heard[event] = heard[event] || []).push(act); },
    emit: (event, ...what) => (heard[event] || []).forEach((act) => act(...what)),
    isPhone: () => window.matchMedia("(max-width: 800px)").matches,
    isShown: () => true,
  };

  // ---- one line is chosen, or none
  chart.choose = (line, options = {}) => {
    chart.chosen = line;
    chart.emit("choose", line, options);
    if (!line) {
      if (open === "facts") chart.showPane(chart.isPhone() ? null : "lines");
      return;
    }
    chart.showPane(chart.isPhone() ? null : "facts");
    const box = L.latLngBounds(line.path);
    if (options.fit || !map.getBounds().intersects(box)) {
      map.fitBounds(box, { paddingTopLeft: [chart.isPhone() ? 64 : 90, 36], paddingBottomRight: [30, 44], maxZoom: chart.fitted + 3, animate: false });
    }
  };

  Object.assign(chart, makeLayers(chart));

  // ---- the side: lines, facts, layers, key, tools
  const side = byId("side");
  const tabs = el("nav");
  const NAMES = { lines: "Lines", facts: "Facts", layers: "Layers", key: "Key", tools: "Tools" };
  let open = null;
  chart.showPane = (name) => {
    open = name;
    side.classList.toggle("shut", !name);
    side.querySelectorAll(".pane").forEach((pane) => { pane.hidden = pane.id !== "pane-" + name; });
    tabs.querySelectorAll("button").forEach((b) => b.setAttribute("aria-expanded", String(b.dataset.pane === name)));
    side.scrollTop = 0;
    // on a small screen there is room for the one or the other
    document.body.classList.toggle("has-pane", Boolean(name));
    map.invalidateSize({ animate: false });
  };
  Object.entries(NAMES).forEach(([key, text]) => {
    const tab = button(text, undefined, () => chart.showPane(open === key && chart.isPhone() ? null : key));
    tab.dataset.pane = key;
    tabs.append(tab);
  });
  const facts = makeFacts(chart);
  const panel = makeProfile(chart);
  side.before(panel);
  side.prepend(tabs);
  side.append(facts, ...makeTools(chart));
  makeLines(chart);

  // ---- zoom, whole lake, caution that opens at a tap on a small screen
  const zoom = L.control.zoom({ position: "topleft", zoomInTitle: "Closer", zoomOutTitle: "Farther" }).addTo(map);
  const whole = el("a", "\u2922");
  whole.href = "#";
  whole.title = "Whole lake";
  whole.setAttribute("role", "button");
  whole.setAttribute("aria-label", "Whole lake");
  L.DomEvent.disableClickPropagation(whole);
  // beside the buttons where there is room for that
  const fitWhole = () => map.fitBounds(chart.bounds, { paddingTopLeft: [map.getSize().x > 700 ? 64 : 0, 0], animate: false });
  whole.addEventListener("click", (event) => {
    event.preventDefault();
    fitWhole();
  });
  zoom.getContainer().append(whole);
  byId("caution").addEventListener("click", () => {
    byId("caution").classList.toggle("whole");
    map.invalidateSize({ animate: false });
  });

  // ---- what is printed is the still drawing, cut to the view
  const drawing = byId("drawing");
  const wholeBox = drawing.getAttribute("viewBox");
  window.addEventListener("beforeprint", () => {
    const frame = byId("picture");
    const [wide, high] = ["width", "height"].map((k) => Number(frame.getAttribute(k)));
    const [nw, se] = [chart.bounds.getNorthWest(), chart.bounds.getSouthEast()].map((at) => map.project(at, 0));
    const view = map.getBounds();
    const [a, b] = [view.getNorthWest(), view.getSouthEast()].map((at) => map.project(at, 0));
    const k = wide / (se.x - nw.x);
    const box = [(a.x - nw.x) * k, (a.y - nw.y) * k, (b.x - a.x) * k, (b.y - a.y) * k];
    const isClose = box[2] < wide * 0.9 && box[3] < high * 0.9;
    drawing.setAttribute("viewBox", isClose ? box.map((v) => v.toFixed(2)).join(" ") : wholeBox);
    drawing.style.setProperty("--closer", isClose ? String(box[2] / wide) : "1");
    drawing.classList.toggle("close", isClose);
    drawing.querySelectorAll(".scale-bar").forEach((scale) => {
      if ((scale.dataset.units === "us") !== chart.words.us) return;
      scale.classList.remove("off");
      const bar = scale.getBBox();
      const fits = isClose && bar.width < 0.9 * box[2];
      scale.classList.toggle("off", isClose && !fits);
      if (fits) scale.setAttribute("transform", "translate(" + (box[0] + 0.02 * box[2]) + " " + (box[1] + 0.97 * box[3] - bar.y - bar.height) + ")");
      else scale.removeAttribute("transform");
    });
  });

  page.classList.add("live");
  map.invalidateSize({ animate: false });
  chart.showPane(chart.isPhone() ? null : "lines");
  fitWhole();
  chart.fitted = map.getZoom();
  map.setMinZoom(chart.fitted - 1.5);
  makeLabels(chart)();
  new ResizeObserver(() => map.invalidateSize({ animate: false })).observe(map.getContainer());
  page.dataset.ready = "true";
}
