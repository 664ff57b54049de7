"use strict";
/* The pane of facts: one line, hazard or spot at a time, or the lines near a tap. */
function makeFacts(chart) {
  const { map, plan, words } = chart;
  const { said } = words;
  const HIT_PX = 26;
  const pane = el("section", undefined, "pane");
  pane.id = "pane-facts";
  pane.setAttribute("aria-live", "polite");
  let again = () => start("No line chosen", [el("p", "Tap a troll line, a hazard or a spot on the map, or pick a line in the list.")]);

  function start(title, content) {
    const back = button("All lines", "back", () => {
      chart.choose(null);
      chart.showPane("lines");
    });
    pane.replaceChildren(back, el("h2", title), ...content);
  }
  function bullets(texts, kind) {
    const list = el("ul", undefined, kind);
    texts.forEach((text) => list.append(el("li", said(text))));
    return list;
  }

  function lineFacts(line) {
    const content = [el("p", line.verdict_words, "verdict " + line.verdict)];
    if (line.reasons.length) content.push(bullets(line.reasons, "reasons"));
    if (said(line.remedy)) content.push(el("h3", "What would mend it"), el("p", said(line.remedy), "remedy"));
    content.push(factList(line.facts, said));
    line.rods.forEach((rod) => {
      const block = el("article");
      block.append(el("h3", rod.rod), factList(rod.facts, said));
      if (rod.stretches.length) block.append(el("h4", "Stretches to watch, by distance from start"), bullets(rod.stretches, "stretches"));
      content.push(block);
    });
    if (line.rigs.length) {
      const block = el("article");
      block.append(el("h3", "Which rigs can run here"), factList(line.rigs, said));
      content.push(block);
    }
    start(line.name, content);
  }

  chart.on("choose", (line) => {
    if (!line) return;
    again = () => lineFacts(line);
    again();
  });
  chart.on("units", () => again());
  chart.showThing = (thing) => {
    again = () => start(thing.title, [factList(thing.facts, said)]);
    again();
    chart.showPane("facts");
  };

  // where lines run close together a tap offers all of them
  chart.pick = (point, latlng) => {
    const near = plan.lines.filter(chart.isShown).filter((line) => {
      const path = line.path.map((at) => map.latLngToContainerPoint(at));
      return path.some((p, i) => i && L.LineUtil.pointToSegmentDistance(point, path[i - 1], p) <= HIT_PX / 2 + 1);
    });
    if (near.includes(chart.chosen)) chart.setCursor(chart.chosen.track.nearest([latlng.lat, latlng.lng]).chainage);
    if (near.length < 2) {
      if (near.length) chart.choose(near[0], { at: latlng });
      return;
    }
    again = () => start("Lines here", near.map((line) => {
      const period = plan.periods.length ? ", " + plan.periods[line.period].name : "";
      return button(line.name + ": " + line.verdict_words + period, "choice", () => chart.choose(line, { at: latlng }));
    }));
    again();
    chart.showPane("facts");
  };
  again();
  return pane;
}
