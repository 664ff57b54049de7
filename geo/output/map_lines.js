"use strict";
/* The list of troll lines: sorted and filtered; what is filtered out leaves the map and the paper too. */
function makeLines(chart) {
  const { plan, words } = chart;
  const pane = document.getElementById("pane-lines");
  const rows = [...pane.querySelectorAll("tr[data-line]")];
  const lineOf = (row) => plan.lines[Number(row.dataset.line)];
  const filters = {};
  const ALL = "";

  const periodName = (line) => (plan.periods.length ? plan.periods[line.period].name : "");
  const targetOf = (line) => line.facts[0][1];
  const FIELDS = [
    ["Target", (line) => targetOf(line), (line) => targetOf(line)],
    ["Period", (line) => String(line.period), periodName],
    ["Verdict", (line) => line.verdict, (line) => line.verdict_words],
  ];
  const natural = (a, b) => a.name.localeCompare(b.name, "en", { numeric: true });
  const ORDER = ["free", "doubtful", "snags"];
  const known = (value, otherwise) => (value === null ? otherwise : value);
  const SORTS = [
    ["As planned", (a, b) => plan.lines.indexOf(a) - plan.lines.indexOf(b)],
    ["Name", natural],
    ["Longest first", (a, b) => b.length_m - a.length_m],
    ["Best verdict first", (a, b) => ORDER.indexOf(a.verdict) - ORDER.indexOf(b.verdict)],
    ["Most in range first", (a, b) => known(b.in_range_ratio, -1) - known(a.in_range_ratio, -1)],
    ["Least likely to snag first", (a, b) => a.snag_probability - b.snag_probability],
  ];

  function choice(name, options, onChange) {
    const field = el("div", undefined, "filter");
    const label = el("label", name);
    const select = el("select");
    select.id = label.htmlFor = "filter-" + name.toLowerCase();
    options.forEach(([value, text]) => {
      const option = el("option", text);
      option.value = value;
      select.append(option);
    });
    select.addEventListener("change", onChange);
    field.append(label, select);
    bar.append(field);
    return select;
  }

  chart.isShown = (line) => FIELDS.every(([name, key]) => !filters[name] || filters[name].value === ALL || filters[name].value === key(line));

  const bar = el("div", undefined, "filters");
  const count = el("p", undefined, "count");
  count.setAttribute("role", "status");
  function apply() {
    const sort = SORTS[Number(sorts.value)][1];
    const shown = plan.lines.filter(chart.isShown);
    const body = rows[0].parentNode;
    [...rows].sort((a, b) => sort(lineOf(a), lineOf(b)) || natural(lineOf(a), lineOf(b))).forEach((row) => body.append(row));
    rows.forEach((row) => { row.hidden = !chart.isShown(lineOf(row)); });
    const said = FIELDS.filter(([name]) => filters[name].value !== ALL).map(([name]) => filters[name].selectedOptions[0].textContent);
    count.textContent = shown.length + " of " + plan.lines.length + " lines" + (said.length ? ": " + said.join(", ") : "");
    // the still drawing, which is what prints
    document.querySelectorAll("#drawing [data-line]").forEach((g) => g.classList.toggle("off", !chart.isShown(lineOf(g))));
    if (chart.chosen && !chart.isShown(chart.chosen)) chart.choose(null);
    chart.emit("lines");
  }
  if (!rows.length) return;
  FIELDS.forEach(([name, key, text]) => {
    const found = new Map(plan.lines.map((line) => [key(line), text(line)]));
    filters[name] = choice(name, [[ALL, "all"], ...found], apply);
  });
  const sorts = choice("Sort", SORTS.map(([text], i) => [String(i), text]), apply);
  pane.querySelector("h2").after(bar, count);
  rows.forEach((row) => {
    const line = lineOf(row);
    row.tabIndex = 0;
    row.addEventListener("click", () => chart.choose(line, { fit: true }));
    row.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      chart.choose(line, { fit: true });
    });
  });
  chart.on("choose", (line) => rows.forEach((row) => row.classList.toggle("is-chosen", lineOf(row) === line)));
  apply();
}
