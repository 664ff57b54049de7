"use strict";
/* Numbers as people read them, by the same rules as the plan's own words; and numbers packed as letters. */
function makeWords(plan) {
  const FOOT_M = 0.3048;
  const MILE_M = 1609.344;
  const words = { us: plan.us };

  // text that the plan holds in both units
  words.said = (text) => {
    if (text === null || typeof text !== "object" || !("us" in text)) return text;
    return words.us ? text.us : text.metric;
  };
  words.depthUnit = () => (words.us ? "ft" : "m");
  words.depthValue = (depth) => (words.us ? depth / FOOT_M : depth);
  words.depthMetres = (value) => (words.us ? value * FOOT_M : value);
  words.depthNumber = (depth) => {
    const text = words.us ? (Math.round((depth / FOOT_M) * 2) / 2).toFixed(1).replace(/\.0$/, "") : depth.toFixed(1);
    return Number(text) === 0 ? "0" : text.replace("-", "\u2212");
  };
  words.depth = (depth) => (depth === null || !Number.isFinite(depth) ? "not known" : words.depthNumber(depth) + " " + words.depthUnit());
  // room over the bottom is never said to be more than it is
  words.clearance = (depth) => {
    if (depth === null || !Number.isFinite(depth)) return "not known";
    const step = words.us ? FOOT_M / 2 : 0.1;
    return words.depth(Math.floor(depth / step + 1e-6) * step);
  };
  words.chainage = (distance) => {
    if (words.us) return (distance / MILE_M).toFixed(2) + " mi";
    return distance < 1000 ? Math.round(distance / 5) * 5 + " m" : (distance / 1000).toFixed(2) + " km";
  };
  words.distance = (distance) => {
    if (words.us) return distance < 400 ? Math.round(distance / FOOT_M) + " ft" : (distance / MILE_M).toFixed(2) + " mi";
    return distance < 1000 ? Math.round(distance) + " m" : (distance / 1000).toFixed(2) + " km";
  };
  words.bearing = (bearing) => String(Math.round(bearing) % 360).padStart(3, "0") + "\u00b0 true";
  words.position = ([lat, lon]) => {
    const part = (value, letters, wide) => {
      const thousandths = Math.round(Math.abs(value) * 60000);
      const minutes = ((thousandths % 60000) / 1000).toFixed(3).padStart(6, "0");
      return String(Math.floor(thousandths / 60000)).padStart(wide, "0") + "\u00b0 " + minutes + "' " + letters[value < 0 ? 1 : 0];
    };
    return part(lat, "NS", 2) + ", " + part(((lon + 540) % 360) - 180, "EW", 3);
  };
  // unit of distances along a line, and how many metres it has
  words.along = (length) => {
    if (words.us) return length < 800 ? ["ft", FOOT_M] : ["mi", MILE_M];
    return length < 2000 ? ["m", 1] : ["km", 1000];
  };
  return words;
}

/* Letters as whole numbers: five bits a letter, a dot before a count of zeros, then summed `order` times. */
const LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
function unpackWhole(text, order) {
  const found = [];
  let value = 0;
  let place = 1;
  let isRun = false;
  for (const letter of text) {
    if (letter === ".") {
      isRun = true;
      continue;
    }
    const bits = LETTERS.indexOf(letter);
    value += (bits % 32) * place;
    place *= 32;
    if (bits >= 32) continue;
    if (isRun) for (let i = 0; i < value; i += 1) found.push(0);
    else found.push(value % 2 ? -(value + 1) / 2 : value / 2);
    value = 0;
    place = 1;
    isRun = false;
  }
  for (let k = 0; k < order; k += 1) for (let i = 1; i < found.length; i += 1) found[i] += found[i - 1];
  return found;
}
const unpackMetres = (text, step, order) => unpackWhole(text, order).map((n) => (n <= -99000 ? null : n * step));

/* Elements whose text is text, never markup. */
function el(tag, text, kind) {
  const node = document.createElement(tag);
  if (text !== undefined) node.textContent = text;
  if (kind) node.className = kind;
  return node;
}
function svgEl(tag, attributes, text) {
  const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
  Object.entries(attributes || {}).forEach(([name, value]) => node.setAttribute(name, value));
  if (text !== undefined) node.textContent = text;
  return node;
}
function button(text, kind, onTap) {
  const node = el("button", text, kind);
  node.type = "button";
  node.addEventListener("click", onTap);
  return node;
}
function factList(pairs, said) {
  const dl = el("dl");
  pairs.forEach(([term, text]) => dl.append(el("dt", said(term)), el("dd", said(text))));
  return dl;
}
