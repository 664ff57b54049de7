"use strict";
/* Units, night, layers, distance between two taps, and the device's own position. */
function makeTools(chart) {
  const { map, plan, layers, words } = chart;
  const page = document.documentElement;
  const note = el("div", undefined, "note");
  note.id = "note";
  note.setAttribute("role", "status");
  note.hidden = true;
  map.getContainer().append(note);
  L.DomEvent.disableClickPropagation(note);

  function switchRow(parent, text, small, isOn, onChange) {
    const row = el("label", undefined, "switch");
    const box = el("input");
    box.type = "checkbox";
    box.checked = isOn;
    const said = el("span", text);
    if (small) said.append(el("small", small));
    box.addEventListener("change", () => onChange(box.checked, box));
    row.append(box, said);
    parent.append(row);
    return box;
  }

  // ---- words over the map: one thing at a time, with a way to be rid of it
  let onClose = null;
  function say(text, closeWords, close) {
    note.replaceChildren(el("p", text));
    onClose = close || null;
    note.append(button(closeWords || "Close", "close-note", () => {
      const after = onClose;
      hush();
      if (after) after();
    }));
    note.hidden = false;
  }
  function hush() {
    note.hidden = true;
    onClose = null;
  }
  chart.note = (text) => say(text);

  // ---- distance and bearing between two taps
  const hand = L.layerGroup().addTo(map);
  const handStyle = chart.style("hand", "hand");
  let ends = [];
  let isMeasuring = false;
  function tellMeasure() {
    delete note.dataset.distanceM;
    if (!isMeasuring) return;
    let text = ["Tap the first place.", "Tap the second place."][ends.length];
    if (ends.length === 2) {
      const way = geodesic(ends[0], ends[1]);
      text = words.distance(way.distance) + ", bearing " + words.bearing(way.bearing) + ", back " + words.bearing(way.back) + ".";
      note.dataset.distanceM = way.distance.toFixed(3);
      note.dataset.bearingDeg = way.bearing.toFixed(4);
    }
    say(text, "Stop", () => measure(false));
  }
  function drawHand() {
    hand.clearLayers();
    if (ends.length === 2) hand.addLayer(L.polyline(ends, handStyle));
    ends.forEach((at) => hand.addLayer(L.circleMarker(at, { ...handStyle, className: "hand-end", radius: 7 })));
  }
  function measure(isOn) {
    isMeasuring = isOn;
    ends = [];
    map.getContainer().classList.toggle("measuring", isOn);
    measureBox.checked = isOn;
    map.doubleClickZoom[isOn ? "disable" : "enable"](); // two quick taps are two places
    drawHand();
    if (!isOn) {
      hush();
      return;
    }
    tellMeasure();
    if (chart.isPhone()) { // the map needs the room
      chart.showPane(null);
      chart.foldProfile(true);
    }
  }
  map.on("click", (event) => {
    if (!isMeasuring) return;
    if (ends.length === 2) ends = [];
    ends.push([event.latlng.lat, event.latlng.lng]);
    drawHand();
    tellMeasure();
  });
  chart.isMeasuring = () => isMeasuring;

  // ---- own position: never asked for unless this is switched on
  const own = L.layerGroup().addTo(map);
  const place = el("p", undefined, "own-place");
  place.setAttribute("role", "status");
  let watch = null;
  let last = null;
  const REFUSED = {
    1: "The device does not let this page know where it is. Allow it for this page in the browser's settings; some phones never do for a page from a file.",
    2: "The device cannot tell where it is now: no fix.",
    3: "The device took too long to find where it is. It goes on trying.",
  };
  // beside a lake that lies across 180 degrees longitudes do not jump
  const placeOf = ({ latitude, longitude }) => [latitude, longitude + 360 * Math.round((chart.bounds.getCenter().lng - longitude) / 360)];
  function tellPlace() {
    if (!last) return;
    const here = placeOf(last);
    const parts = [words.position(here) + ", within " + words.distance(last.accuracy) + " (as the device says)."];
    if (chart.chosen) {
      const way = geodesic(here, chart.chosen.path[0]);
      parts.push("Start of " + chart.chosen.name + ": " + words.distance(way.distance) + ", bearing " + words.bearing(way.bearing) + ".");
      const off = chart.chosen.track.nearest(here);
      parts.push("Off that line by " + words.distance(off.off) + ", nearest at " + words.chainage(off.chainage) + " from its start.");
    }
    place.textContent = parts.join(" ");
  }
  function follow(isOn) {
    if (watch !== null) navigator.geolocation.clearWatch(watch);
    [watch, last] = [null, null];
    own.clearLayers();
    place.textContent = "";
    if (!isOn) return;
    if (!navigator.geolocation) {
      place.textContent = "This browser cannot tell where it is.";
      return;
    }
    place.textContent = "Asking the device where it is.";
    watch = navigator.geolocation.watchPosition(
      (found) => {
        last = found.coords;
        const here = placeOf(last);
        own.clearLayers();
        own.addLayer(L.circle(here, { ...chart.style("hand", "own-reach"), radius: last.accuracy }));
        own.addLayer(L.circleMarker(here, { ...chart.style("hand", "own"), radius: 9 }));
        tellPlace();
      },
      (error) => {
        last = null;
        own.clearLayers();
        place.textContent = REFUSED[error.code] || REFUSED[2];
      },
      { enableHighAccuracy: true, maximumAge: 5000, timeout: 30000 },
    );
  }

  // ---- units: everything that holds a number is said anew
  function setUnits(isUs) {
    words.us = isUs;
    document.querySelectorAll("[data-said]").forEach((node) => { node.textContent = words.said(plan.said[Number(node.dataset.said)]); });
    document.querySelectorAll("#drawing [data-contour]").forEach((node) => { node.textContent = words.said(plan.contours[Number(node.dataset.contour)].label); });
    document.querySelectorAll("#drawing .scale-bar").forEach((node) => node.classList.toggle("off", (node.dataset.units === "us") !== isUs));
    drawScale();
    chart.emit("units");
    if (isMeasuring) tellMeasure();
    else hush();
    tellPlace();
  }
  let scale = null;
  function drawScale() {
    if (scale) scale.remove();
    scale = L.control.scale({ metric: !words.us, imperial: words.us, maxWidth: 160 }).addTo(map);
  }
  drawScale();

  const tools = el("section", undefined, "pane");
  tools.id = "pane-tools";
  tools.append(el("h2", "Tools"));
  const units = el("fieldset", undefined, "units");
  units.append(el("legend", "Units"));
  [["Feet and miles", true], ["Metres and kilometres", false]].forEach(([text, isUs]) => {
    const row = el("label", undefined, "switch");
    const box = el("input");
    box.type = "radio";
    box.name = "units";
    box.checked = isUs === words.us;
    box.addEventListener("change", () => setUnits(isUs));
    row.append(box, el("span", text));
    units.append(row);
  });
  tools.append(units);
  switchRow(tools, "Night", "dark page, for eyes used to the dark", false, (isOn) => {
    if (isOn) page.dataset.night = "true";
    else delete page.dataset.night;
  });
  const measureBox = switchRow(tools, "Distance and bearing", "tap two places on the map", false, measure);
  switchRow(tools, "My position", "asked of the device only while this is on; it leaves this page for nowhere", false, follow);
  tools.append(place);
  chart.on("choose", tellPlace);

  // ---- layers
  const pane = el("section", undefined, "pane");
  pane.id = "pane-layers";
  pane.append(el("h2", "Layers"));
  const stills = (key, shown) => document.querySelectorAll('#drawing [data-layer="' + key + '"]').forEach((g) => g.classList.toggle("off", !shown));
  [
    ["hazards", "Hazards", true],
    ["spots", "Spots", true, plan.spots.length ? "" : "none in this plan"],
    ["launch", "Launch", true],
    ["transitions", "Transitions of the bottom", true],
    ["contours", "Depth contours", true],
    ["bottom", "Bottom types", false, "on screen only"],
    ["bands", "Depth bands", false, "on screen only"],
    ["picture", "Depth picture", true],
  ].forEach(([key, text, isOn, small]) => switchRow(pane, text, small, isOn, (shown) => {
    map[shown ? "addLayer" : "removeLayer"](layers[key]);
    stills(key, shown);
    chart.emit("layers");
  }));
  return [pane, tools];
}
