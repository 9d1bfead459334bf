"use strict";
// Places of a drawing get their names by clicking: a name, then its place. Everything that is known stands in DATA; what a
// person says is in `said`; the rest follows from the two. Nothing is fetched and nothing leaves the page but by saving.
const DATA = JSON.parse(document.getElementById("data").textContent);
const SVG = "http://www.w3.org/2000/svg";
const said = {name: null, at: {}, axes: [], origins: DATA.views.map(v => v.origin), known: "", xyz: ["", "", ""], turn: [0.6, 0.35]};
const byId = id => document.getElementById(id);
const make = (kind, attributes, parent, words) => {
  const element = kind.startsWith("svg:") ? document.createElementNS(SVG, kind.slice(4)) : document.createElement(kind);
  for (const [key, value] of Object.entries(attributes || {})) element.setAttribute(key, value);
  if (words !== undefined) element.textContent = words;
  if (parent) parent.append(element);
  return element;
};
const sheet = DATA.form === "sheet";
const viewOf = place => sheet ? place.view : "space";

// --- what follows from what was said -----------------------------------------------------------------------------------

const SCALE = /^\s*(\d+(?:\.\d+)?)\s*:\s*(\d+(?:\.\d+)?)\s*$/;

// whether the size of the car is known: an unknown scale counts as 1:1 for what is drawn, and no figure is shown
const scaled = () => !sheet || (SCALE.exec(byId("scale").value) || [0, 0, 0]).slice(1).every(t => Number(t) > 0);

function mmPerUnit() {
  const unit = {mm: 1, cm: 10, m: 1000, in: 25.4, ft: 304.8}[byId("unit").value];
  if (!sheet || !scaled()) return unit;
  const [, a, b] = SCALE.exec(byId("scale").value);
  return unit * (Number(b) / Number(a));
}

// how far views may differ, mm; without a scale a share of the sheet
const SIZE = Math.max(...[0, 1, 2].map(k => {
  const all = DATA.places.map(p => p.xyz[k]);
  return all.length ? Math.max(...all) - Math.min(...all) : 0;
}), 1e-9);
const allowed = () => scaled() ? Number(byId("tolerance").value) || 0 : 0.002 * SIZE * mmPerUnit();

// the axes of a view as [[axis, sign], [axis, sign]], or null
const axesOf = k => {
  const words = said.axes[k] || [];
  if (words.length !== 2 || words.some(w => !/^-?[xyz]$/.test(w))) return null;
  return words.map(w => ["xyz".indexOf(w.at(-1)), w[0] === "-" ? -1 : 1]);
};

// what a place says of the car's axes in its view before any datum: {axis: mm}
function raw(place) {
  const scale = mmPerUnit(), out = {};
  if (!sheet) { place.xyz.forEach((c, k) => { out[k] = c * scale; }); return out; }
  const k = DATA.views.findIndex(v => v.name === place.view), axes = k < 0 ? null : axesOf(k);
  if (axes) axes.forEach(([axis, sign], d) => { out[axis] = sign * scale * place.xyz[d]; });
  return out;
}

// the shift of every view along every car axis that makes named places agree; where none is named in both, the least
// coordinates are laid onto each other, which is a guess
function shifts() {
  const out = DATA.views.map(() => [NaN, NaN, NaN]);
  const placed = k => Object.entries(said.at).map(([name, at]) => [name, at[DATA.views[k].name]]).filter(p => p[1]);
  for (let axis = 0; axis < 3; axis++) {
    const shown = DATA.views.map((_, k) => k).filter(k => (axesOf(k) || []).some(a => a[0] === axis));
    const origin = k => {
      const d = axesOf(k).findIndex(a => a[0] === axis), o = said.origins[k];
      return o ? -axesOf(k)[d][1] * mmPerUnit() * o[d] : NaN;
    };
    for (const k of shown) {
      if (!isNaN(origin(k))) { out[k][axis] = origin(k); continue; }
      const gaps = [];
      for (const other of shown) {
        if (other === k || isNaN(out[other][axis])) continue;
        for (const [name, place] of placed(k)) {
          const same = placed(other).find(p => p[0] === name);
          if (same) gaps.push(raw(same[1])[axis] + out[other][axis] - raw(place)[axis]);
        }
        if (!gaps.length) gaps.push(least(other, axis) + out[other][axis] - least(k, axis));
        break;
      }
      out[k][axis] = gaps.length ? gaps.sort((a, b) => a - b)[gaps.length >> 1] : 0;
    }
  }
  const known = said.at[said.known], target = said.xyz.map(t => t === "" ? NaN : Number(t));
  if (known) {
    const found = joined(known, out);
    for (let axis = 0; axis < 3; axis++) {
      const step = target[axis] - found.mean[axis];
      if (!isNaN(step)) out.forEach(s => { s[axis] += step; });
    }
  }
  return out;
}

const least = (k, axis) => Math.min(...DATA.places.filter(p => p.view === DATA.views[k].name && p.solid).map(p => raw(p)[axis]));

// mean and spread of what the views say of one name
function joined(at, shift) {
  const values = [[], [], []];
  for (const place of Object.values(at)) {
    const k = sheet ? DATA.views.findIndex(v => v.name === place.view) : -1, seen = raw(place);
    for (const axis in seen) values[axis].push(seen[axis] + (k < 0 ? 0 : shift[k][axis]));
  }
  const mean = values.map(v => v.length ? v.reduce((a, b) => a + b, 0) / v.length : NaN);
  const spread = values.map(v => v.length > 1 ? Math.max(...v) - Math.min(...v) : 0);
  return {mean, spread, count: values.map(v => v.length)};
}

// whether a place agrees with what the selected name's other views say: only such places light up
function agrees(place, shift) {
  const at = said.at[said.name];
  if (!sheet || !at) return null;
  const k = DATA.views.findIndex(v => v.name === place.view), seen = raw(place);
  let told = null;
  for (const [view, other] of Object.entries(at)) {
    if (view === place.view || k < 0) continue;
    const o = DATA.views.findIndex(v => v.name === view), there = raw(other);
    for (const axis in seen) {
      if (!(axis in there)) continue;
      const gap = Math.abs(seen[axis] + shift[k][axis] - there[axis] - shift[o][axis]);
      told = (told === null || told) && gap <= allowed();
    }
  }
  return told;
}

// --- what is drawn --------------------------------------------------------------------------------------------------------

const planes = sheet ? [[0, 1, 1, 1]] : [[1, 2, 1, 1], [0, 2, -1, 1], [0, 1, -1, -1]];
const along = (k, sign) => `${sign < 0 ? "\u2212" : ""}${"xyz"[k]}`;
const labels = [];  // of each plane: what writes its numbers and names where there is room

function drawSheet() {
  for (const [n, [u, v, su, sv]] of planes.entries()) {
    const all = DATA.places.map(p => [su * p.xyz[u], -sv * p.xyz[v]]);
    for (const view of DATA.views) all.push([view.box[0], -view.box[1]], [view.box[2], -view.box[3]]);
    const low = [0, 1].map(k => Math.min(...all.map(a => a[k]))), high = [0, 1].map(k => Math.max(...all.map(a => a[k])));
    const size = Math.max(high[0] - low[0], high[1] - low[1]) || 1, pad = 0.05 * size;
    const box = [low[0] - pad, low[1] - pad, high[0] - low[0] + 2 * pad, high[1] - low[1] + 2 * pad];
    const home = make("div", {class: sheet ? "one" : "third"}, byId("sheet"));
    if (!sheet) make("p", {class: "plane"}, home, `drawing: ${along(u, su)} right, ${along(v, sv)} up`);
    const svg = make("svg:svg", {viewBox: box.join(" "), id: `plane${n}`, role: "group", "aria-label": "places of the drawing"}, home);
    const shown = Math.min(svg.clientWidth / box[2], svg.clientHeight / box[3]);  // pixels for one drawing unit
    const dot = Math.max(size / 230, shown > 0 ? 4.1 / shown : 0);  // numbers are at least 9 pixels high, on a phone too
    const lines = DATA.strokes.map(s => `M${su * s[u]} ${-sv * s[v]}L${su * s[3 + u]} ${-sv * s[3 + v]}`).join("");
    make("svg:path", {d: lines, class: "line", "stroke-width": size / 1500}, svg);
    for (const t of DATA.texts) {
      const at = {x: su * t.xyz[u], y: -sv * t.xyz[v], "data-height": t.height, class: "word"};
      make("svg:text", {...at, "font-size": Math.max(t.height, 1.5 * dot)}, svg, t.words);
    }
    for (const view of DATA.views) {
      const [l, b, r, t] = view.box;
      make("svg:rect", {x: l, y: -t, width: r - l, height: t - b, class: "view", "stroke-width": size / 700}, svg);
      make("svg:text", {x: l, y: -t - dot, "font-size": 2.2 * dot, class: "title"}, svg, view.name);
    }
    for (const place of DATA.places) {
      const [x, y] = [su * place.xyz[u], -sv * place.xyz[v]];
      const group = make("svg:g", {"data-place": place.number, class: "place", tabindex: -1, role: "button"}, svg);
      make("svg:title", {}, group, `place ${place.number}${place.guess ? `, ${place.confidence}: ${place.guess}` : ""}${place.reason ? `, ${place.reason}` : ""}`);
      make("svg:circle", {cx: x, cy: y, r: (place.solid ? 1.1 : 0.7) * dot}, group);
      make("svg:text", {x, y}, group, place.number);
      group.addEventListener("click", () => pick(place));
      group.addEventListener("keydown", event => {
        if (event.key !== "Enter" && event.key !== " ") return;
        event.preventDefault();
        pick(place);
      });
    }
    labels.push(roomy(svg, dot));
    zoomable(svg, box, dot, labels.at(-1));
  }
}

const TURNS = [-45, 0, 45, -135, 180, 135, -90, 90].map(a => a * Math.PI / 180);

// writes the number or name of every place where it covers no other and no dot; one that finds no room is left out until
// the sheet is larger, but for names
function roomy(svg, dot) {
  const items = [...svg.querySelectorAll(".place")].map(group => {
    const circle = group.querySelector("circle"), text = group.querySelector("text");
    return {group, text, x: Number(circle.getAttribute("cx")), y: Number(circle.getAttribute("cy")), place: DATA.places[group.dataset.place - 1]};
  });
  const rank = i => i.group.classList.contains("chosen") ? 0 : i.group.classList.contains("named") ? 1 : i.place.solid ? 2 : 3;
  return (share = 1) => {
    const font = 2.2 * dot * share, cell = 8 * font, grid = new Map(), high = 0.55 * font;
    const cells = (b, f) => {
      for (let i = Math.floor(b[0] / cell); i <= Math.floor(b[2] / cell); i++) {
        for (let j = Math.floor(b[1] / cell); j <= Math.floor(b[3] / cell); j++) f(`${i},${j}`);
      }
    };
    const enter = b => cells(b, key => grid.has(key) ? grid.get(key).push(b) : grid.set(key, [b]));
    const covered = b => {
      let sum = 0;
      cells(b, key => { for (const o of grid.get(key) || []) {
        sum += Math.max(0, Math.min(b[2], o[2]) - Math.max(b[0], o[0])) * Math.max(0, Math.min(b[3], o[3]) - Math.max(b[1], o[1]));
      }});
      return sum;
    };
    const b = svg.viewBox.baseVal, wide = svg.clientWidth / svg.clientHeight || 1;
    const [halfX, halfY] = [Math.max(b.width, b.height * wide) / 2, Math.max(b.height, b.width / wide) / 2];
    const seen = [b.x + b.width / 2 - halfX, b.y + b.height / 2 - halfY, b.x + b.width / 2 + halfX, b.y + b.height / 2 + halfY];
    const outside = o => Math.max(0, seen[0] - o[0]) + Math.max(0, seen[1] - o[1]) + Math.max(0, o[2] - seen[2]) + Math.max(0, o[3] - seen[3]);
    for (const {x, y, place} of items) {
      const r = (place.solid ? 1.0 : 0.6) * dot * share;
      enter([x - r, y - r, x + r, y + r]);
    }
    for (const item of [...items].sort((a, b) => rank(a) - rank(b))) {
      const long = 0.6 * font * item.text.textContent.length;
      let best = null;
      for (const far of rank(item) < 3 ? [1, 2.2, 3.6] : [1]) {
        for (const turn of TURNS) {
          const step = (0.8 * dot * share + high * 0.7) * far, cx = item.x + step * Math.cos(turn), cy = item.y + step * Math.sin(turn);
          const left = Math.cos(turn) > 0.1 ? cx : Math.cos(turn) < -0.1 ? cx - long : cx - long / 2;
          const box = [left, cy - high, left + long, cy + high], cost = covered(box) + font * outside(box);
          if (!best || cost < best.cost - 1e-12) best = {box, cost};
          if (cost === 0) break;
        }
        if (best.cost === 0) break;
      }
      const kept = best.cost < 0.1 * long * font || rank(item) < 2;
      item.text.setAttribute("visibility", kept ? "visible" : "hidden");
      item.text.setAttribute("font-size", font);
      item.text.setAttribute("x", best.box[0]);
      item.text.setAttribute("y", (best.box[1] + best.box[3]) / 2 + 0.35 * font);
      if (kept) enter(best.box);
    }
  };
}

// the wheel or two fingers zoom, a drag moves, a double click shows all again
function zoomable(svg, whole, dot, write) {
  let box = [...whole], from = null, asked = 0;
  const fingers = new Map(), spread = () => {
    const [a, b] = [...fingers.values()];
    return Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY) || 1;
  };
  const show = () => {
    svg.setAttribute("viewBox", box.join(" "));
    const share = svg.share = box[2] / whole[2];  // dots and numbers keep their size on the screen
    svg.querySelectorAll(".place circle").forEach(c => c.setAttribute("r", share * dot));
    svg.querySelectorAll(".word").forEach(t => t.setAttribute("font-size", Math.max(t.dataset.height, 1.5 * dot * share)));
    cancelAnimationFrame(asked);
    asked = requestAnimationFrame(() => write(share));
  };
  const at = event => {
    const frame = svg.getBoundingClientRect(), scale = Math.max(box[2] / frame.width, box[3] / frame.height);
    return [box[0] + box[2] / 2 + (event.clientX - frame.left - frame.width / 2) * scale,
            box[1] + box[3] / 2 + (event.clientY - frame.top - frame.height / 2) * scale, scale];
  };
  const zoom = ([x, y], f) => {
    box = [x + (box[0] - x) * f, y + (box[1] - y) * f, box[2] * f, box[3] * f];
    show();
  };
  svg.addEventListener("wheel", event => {
    event.preventDefault();
    zoom(at(event), event.deltaY > 0 ? 1.2 : 1 / 1.2);
  }, {passive: false});
  svg.addEventListener("pointerdown", event => {
    fingers.set(event.pointerId, event);
    from = fingers.size === 1 ? [event.clientX, event.clientY, ...box] : null;
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) {
    svg.addEventListener(end, event => { fingers.delete(event.pointerId); from = null; });
  }
  svg.addEventListener("pointermove", event => {
    if (fingers.size === 2 && fingers.has(event.pointerId)) {
      const before = spread();
      fingers.set(event.pointerId, event);
      const [a, b] = [...fingers.values()];
      zoom(at({clientX: (a.clientX + b.clientX) / 2, clientY: (a.clientY + b.clientY) / 2}), before / spread());
    }
    if (!from || !event.buttons) return;
    const scale = at(event)[2];
    box = [from[2] - (event.clientX - from[0]) * scale, from[3] - (event.clientY - from[1]) * scale, box[2], box[3]];
    show();
  });
  svg.addEventListener("dblclick", () => { box = [...whole]; show(); });
}

// by keyboard: the number of a place in place of a click
function typed() {
  const place = DATA.places[Number(byId("number").value) - 1];
  if (place) pick(place); else byId("hint").textContent = `There is no place ${byId("number").value}: the numbers are 1 to ${DATA.places.length}.`;
  byId("number").select();
}

function pick(place) {
  if (!said.name) { byId("hint").textContent = "Click a name first."; return; }
  const at = said.at[said.name] ||= {}, view = viewOf(place);
  if (at[view] === place) delete at[view]; else at[view] = place;
  refresh();
}

function choose(name) {
  said.name = said.name === name ? null : name;  // Escape and a second click leave it
  refresh();
}

function refresh() {
  const shift = shifts(), named = {};
  for (const [name, at] of Object.entries(said.at)) for (const p of Object.values(at)) (named[p.number] ||= []).push(name);
  for (const group of document.querySelectorAll(".place")) {
    const place = DATA.places[group.dataset.place - 1], names = named[place.number] || [];
    const fits = said.name ? agrees(place, shift) : null;
    group.setAttribute("class", ["place", place.confidence, names.length ? "named" : "", names.includes(said.name) ? "chosen" : "",
      fits === true ? "fits" : fits === false ? "faint" : ""].join(" "));
    group.querySelector("text").textContent = names.length ? names.join(" = ") : place.number;
  }
  const rows = byId("names");
  for (const row of rows.children) {
    const name = row.dataset.name, at = said.at[name] || {}, found = joined(at, shift);
    row.className = name === said.name ? "chosen" : Object.keys(at).length ? "placed" : "";
    const cells = row.children;
    cells[1].textContent = Object.values(at).map(p => p.number).join(", ");
    const figures = scaled();
    found.mean.forEach((c, k) => { cells[2 + k].textContent = isNaN(c) || !figures ? "" : c.toFixed(1); });
    const worst = Math.max(...found.spread), apart = found.count.some(c => c > 1) && worst > allowed();
    cells[5].textContent = !found.count.some(c => c > 1) ? "" : figures ? worst.toFixed(2) : apart ? "yes" : "no";
    cells[5].className = apart ? "bad" : "";
  }
  labels.forEach((write, n) => write(byId(`plane${n}`).share || 1));
  const placed = !sheet || said.origins.some(o => o) || (said.at[said.known] && said.xyz.every(t => t !== ""));
  byId("hint").textContent = said.name
    ? `Click the place of ${said.name}${sheet ? " in each view; places that agree light up" : ""}.`
    : `Click a name, then its place.${!scaled() ? " The scale is unknown: say it below, and coordinates are shown."
      : placed ? "" : " Coordinates are those on the sheet until a point's place is known (below)."}`;
  byId("names-out").textContent = namesText();
  byId("views-out").textContent = viewsText();
  spatial(shift);
}

const LINKS = [["lower_front", "lower_outer"], ["lower_rear", "lower_outer"], ["upper_front", "upper_outer"], ["upper_rear", "upper_outer"],
  ["tie_inner", "tie_outer"], ["rod_inner", "rod_outer"], ["rocker_axis_1", "rocker_axis_2"], ["spring_inner", "spring_outer"],
  ["lower_outer", "upper_outer"], ["rod_inner", "rocker_axis_1"], ["spring_outer", "rocker_axis_1"]];

// the linkage in space as far as it is known; a drag turns it
function spatial(shift) {
  const svg = byId("spatial"), points = {};
  svg.replaceChildren();
  for (const [name, at] of Object.entries(said.at)) {
    const found = joined(at, shift).mean;
    if (found.every(c => !isNaN(c))) points[name] = found;
  }
  const names = Object.keys(points);
  if (names.length < 2) {
    const without = DATA.views.filter((_, k) => !axesOf(k)).map(v => v.name);
    const words = sheet && without.length ? `say which way ${without.join(", ")} looks` : "name two points or more: they are shown here in space";
    make("svg:text", {x: 0, y: 0, "text-anchor": "middle", class: "word"}, svg, words);
    return;
  }
  const mean = [0, 1, 2].map(k => names.reduce((a, n) => a + points[n][k], 0) / names.length);
  const size = Math.max(...names.map(n => Math.hypot(...points[n].map((c, k) => c - mean[k])))) || 1;
  const [a, b] = said.turn, turned = ([x, y, z]) => {
    const across = x * Math.sin(a) - y * Math.cos(a), deep = x * Math.cos(a) + y * Math.sin(a);
    return [90 * -across, -90 * (z * Math.cos(b) - deep * Math.sin(b))];
  };
  const place = n => turned(points[n].map((c, k) => (c - mean[k]) / size));
  for (const [k, word] of ["x forward", "y left", "z up"].entries()) {  // which way the car lies
    const [dx, dy] = turned([0, 1, 2].map(j => j === k ? 0.2 : 0)), [x1, y1] = [-104, 84];
    make("svg:line", {x1, y1, x2: x1 + dx, y2: y1 + dy, class: "axis"}, svg);
    make("svg:text", {x: x1 + 1.25 * dx, y: y1 + 1.25 * dy + 2, class: "word", "text-anchor": dx < -4 ? "end" : "start"}, svg, word);
  }
  for (const [p, q] of LINKS) if (points[p] && points[q]) {
    const [[x1, y1], [x2, y2]] = [place(p), place(q)];
    make("svg:line", {x1, y1, x2, y2, class: "link"}, svg);
  }
  const group = names.map(name => {
    const [cx, cy] = place(name);
    make("svg:circle", {cx, cy, r: 2, class: name === said.name ? "chosen" : ""}, svg);
    return [cx - 2, cy - 2, cx + 2, cy + 2];
  });
  const over = (p, q) => Math.max(0, Math.min(p[2], q[2]) - Math.max(p[0], q[0])) * Math.max(0, Math.min(p[3], q[3]) - Math.max(p[1], q[1]));
  for (const name of names) {
    const [cx, cy] = place(name), wide = 4.1 * name.length;
    const spots = [[3, -3], [3, 8], [-3 - wide, -3], [-3 - wide, 8], [-wide / 2, -6], [-wide / 2, 11], [6, -10], [6, 15], [-6 - wide, -10], [-6 - wide, 15]];
    const costs = spots.map(([dx, dy]) => {
      const box = [cx + dx, cy + dy - 6, cx + dx + wide, cy + dy + 1];
      const outside = Math.max(0, -130 - box[0]) + Math.max(0, box[2] - 130) + Math.max(0, -105 - box[1]) + Math.max(0, box[3] - 105);
      return 100 * outside + group.reduce((sum, other) => sum + over(box, other), 0);
    });
    const [dx, dy] = spots[costs.indexOf(Math.min(...costs))];
    group.push([cx + dx, cy + dy - 6, cx + dx + wide, cy + dy + 1]);
    make("svg:text", {x: cx + dx, y: cy + dy, class: `word${name === said.name ? " chosen" : ""}`}, svg, name);
  }
}

// --- what is saved ---------------------------------------------------------------------------------------------------------

function namesText() {
  const rows = ["label,point"];
  for (const name of DATA.names) for (const place of Object.values(said.at[name] || {})) rows.push(`"${place.label}",${name}`);
  for (const [label, point] of DATA.labels) rows.push(`"${label.replaceAll('"', '""')}",${point}`);
  return rows.join("\n") + "\n";
}

function viewsText() {
  const lines = [`units = "${byId("unit").value}"`];
  if (!sheet) {
    if (byId("axes").value) lines.push(`axes = "${byId("axes").value}"`);
    return lines.join("\n") + "\n";
  }
  if (scaled()) lines.push(`scale = "${byId("scale").value.replace(/\s/g, "")}"`);
  if (byId("override").checked) lines.push('override = ["units", "scale"]');
  if (said.known && said.xyz.every(t => t !== "" && isFinite(t))) lines.push("[known]", `${said.known} = [${said.xyz.map(Number).join(", ")}]`);
  DATA.views.forEach((view, k) => {
    lines.push(`[views.${/^[A-Za-z0-9_-]+$/.test(view.name) ? view.name : JSON.stringify(view.name)}]`, `region = [${view.box.join(", ")}]`);
    if (axesOf(k)) lines.push(`axes = [${said.axes[k].map(w => `"${w}"`).join(", ")}]`);
    if (said.origins[k]) lines.push(`origin = [${said.origins[k].join(", ")}]`);
  });
  return lines.join("\n") + "\n";
}

function download(name, words) {
  const link = make("a", {download: name, href: URL.createObjectURL(new Blob([words], {type: "text/plain"}))});
  link.click();
  URL.revokeObjectURL(link.href);
}

// --- controls --------------------------------------------------------------------------------------------------------------

function controls() {
  const names = byId("names");
  for (const name of DATA.names) {
    const row = make("tr", {"data-name": name, tabindex: 0}, names);
    for (const words of [name, "", "", "", "", ""]) make("td", {}, row, words);
    row.addEventListener("click", () => choose(name));
    row.addEventListener("keydown", event => {
      const step = {ArrowDown: "nextElementSibling", ArrowUp: "previousElementSibling"}[event.key];
      if (event.key === "Enter" || event.key === " ") choose(name);
      else if (event.key === "Escape") choose(null);
      else if (step) row[step]?.focus();
      else return;
      event.preventDefault();
    });
  }
  const ways = byId("ways");
  DATA.ways.forEach((way, n) => {
    const label = make("label", {}, ways);
    const input = make("input", {type: "radio", name: "way", value: n}, label);
    label.append(DATA.views.map((v, k) => `${v.name}: ${way[k] ? way[k].join(" right, ") + " up" : "?"}`).join("; "));
    input.addEventListener("change", () => { setAxes(way); });
  });
  DATA.views.forEach((view, k) => {
    const label = make("label", {}, byId("own"), `${view.name} `);
    for (const d of [0, 1]) {
      const select = make("select", {"data-view": k, "data-direction": d, "aria-label": `${view.name} ${d ? "up" : "right"}`}, label);
      for (const word of ["?", "x", "-x", "y", "-y", "z", "-z"]) make("option", {value: word}, select, word);
      select.addEventListener("change", () => { (said.axes[k] ||= ["?", "?"])[d] = select.value; refresh(); });
    }
  });
  const known = byId("known");
  make("option", {value: ""}, known, "none");
  for (const name of DATA.names) make("option", {value: name}, known, name);
  known.addEventListener("change", () => { said.known = known.value; refresh(); });
  for (const k of [0, 1, 2]) byId(`known_${"xyz"[k]}`).addEventListener("input", event => { said.xyz[k] = event.target.value; refresh(); });
  for (const id of ["unit", "scale", "tolerance", "axes", "override"]) byId(id).addEventListener("input", refresh);
  byId("number").addEventListener("keydown", event => { if (event.key === "Enter") typed(); });
  byId("take").addEventListener("click", () => take(["sure", "likely"]));
  byId("save-names").addEventListener("click", () => download(DATA.files[0], namesText()));
  byId("save-views").addEventListener("click", () => download(DATA.files[1], viewsText()));
  byId("spatial").addEventListener("pointermove", event => {
    if (event.buttons) { said.turn = [said.turn[0] + event.movementX / 90, said.turn[1] + event.movementY / 90]; spatial(shifts()); }
  });
  document.querySelectorAll(sheet ? ".for-space" : ".for-sheet").forEach(e => { e.hidden = true; });
}

function setAxes(way) {
  said.axes = way.map(w => w ? [...w] : ["?", "?"]);
  document.querySelectorAll("#own select").forEach(s => { s.value = said.axes[s.dataset.view][s.dataset.direction]; });
  refresh();
}

function take(kinds) {
  for (const place of DATA.places) {
    if (kinds.includes(place.confidence) && DATA.names.includes(place.guess)) (said.at[place.guess] ||= {})[viewOf(place)] ||= place;
  }
  refresh();
}

byId("unit").value = DATA.unit || "mm";
byId("scale").value = DATA.scale || "1:?";
byId("axes").value = DATA.axes;
controls();
drawSheet();
if (DATA.ways.length) { setAxes(DATA.ways[0]); byId("ways").querySelector("input").checked = true; }
take(["sure"]);
