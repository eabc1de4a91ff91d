/* A cut through tree, pad and back, drawn below each view and live with the sliders. */
"use strict";

const CUT_COLOURS = { hide: "#b5aba0", felt: "#d6cbba", ink: "#26221e", day: "#18546b", quiet: "#62594f" };
const STEEPEST = 4; // most that heights along a bar are stretched

$("cut-button").addEventListener("click", () => cutting(!bench.cut));
function cutting(on) {
  bench.cut = on ? { way: $("cut-way").value, behind: Number($("behind").value) } : null;
  arrangeCut();
  remember();
  ask();
}
function arrangeCut() {
  const on = Boolean(bench.cut);
  document.body.classList.toggle("cutting", on);
  press($("cut-button"), on);
  $("cutting").hidden = !on;
  document.querySelectorAll(".cut").forEach((figure) => { figure.hidden = !on; });
  if (on) {
    $("cut-way").value = bench.cut.way;
    $("behind").value = bench.cut.behind;
    $("behind-row").hidden = bench.cut.way !== "across";
    const words = written(bench.screen.cut, bench.cut.behind);
    $("behind-told").textContent = words;
    $("behind").setAttribute("aria-valuetext", words);
  } else { bench.views.forEach((view) => { view.setLines([]); view.draw(); }); }
  allViews().forEach((view) => view.resize());
}
function addCutControl() {
  const { low, high, step } = bench.screen.cut;
  Object.assign($("behind"), { min: low, max: high, step });
  $("behind").value = bench.cut ? bench.cut.behind : 0.25;
}
["cut-way", "behind"].forEach((id) => $(id).addEventListener("input", () => cutting(true)));

/* The heights of a cut along a bar are stretched as far as there is room, and that is said. */
function showCut(section, cut) {
  const figure = section.querySelector(".cut"), svg = figure.querySelector("svg");
  const words = cut.skin ? drawCut(svg, cut) : "";
  svg.hidden = !cut.skin;
  figure.querySelector(".cut-title").textContent = (cut.title || "") + words;
  figure.querySelector(".cut-said").textContent = cut.said;
  svg.setAttribute("aria-label", `${cut.title || ""}. ${cut.said}`);
}
/* Where the number of a gap across stands from its gap: inner and middle ones below, outer ones outside. */
const beside = (k, outward) => [[2 * outward, 22], [8 * outward, 40], [36 * outward, 4]][k % 3];
function drawCut(svg, cut) {
  const wide = svg.clientWidth || 600, high = svg.clientHeight || 190;
  const level = bench.cut && bench.cut.way !== "across", room = { side: level ? 14 : 60, top: 8, bottom: level ? 46 : 14 };
  const all = [...cut.skin, ...cut.rest, ...cut.bars.flat()], xs = all.map((p) => p[0]), ys = all.map((p) => p[1]);
  const left = Math.min(...xs), low = Math.min(...ys), across = Math.max(...xs) - left, tall = Math.max(...ys) - low;
  const fits = [(wide - 2 * room.side) / across, (high - room.top - room.bottom) / tall];
  const scale = level ? fits[0] : Math.min(...fits);
  const steep = level ? Math.min(Math.max(Math.floor(2 * fits[1] / scale) / 2, 1), STEEPEST) : 1;
  const start = (wide - across * scale) / 2;
  const at = ([x, y]) => [start + (x - left) * scale, high - room.bottom - (y - low) * scale * steep];
  const line = (points) => points.map((p) => at(p).map((c) => c.toFixed(1)).join(",")).join(" ");
  const parts = [], written = [];
  const add = (tag, fields, words) => {
    const one = document.createElementNS("http://www.w3.org/2000/svg", tag);
    Object.entries(fields).forEach(([name, value]) => one.setAttribute(name, value));
    if (words) one.textContent = words;
    parts.push(one);
  };
  const floor = cut.skin.map((p) => at(p)), ends = [floor.at(-1)[0], floor[0][0]];
  add("polygon", { points: `${line(cut.skin)} ${ends[0].toFixed(1)},${high} ${ends[1].toFixed(1)},${high}`, fill: CUT_COLOURS.hide, "fill-opacity": 0.6 });
  cut.pads.forEach((pad, k) => {
    const [first, last] = cut.pad_at[k];
    add("polygon", { points: `${line(cut.skin.slice(first, last + 1))} ${line([...pad].reverse())}`, fill: CUT_COLOURS.felt });
  });
  add("polyline", { points: line(cut.rest), fill: "none", stroke: CUT_COLOURS.quiet, "stroke-width": 1.5, "stroke-dasharray": "3 4" });
  add("polyline", { points: line(cut.skin), fill: "none", stroke: CUT_COLOURS.ink, "stroke-width": 1.2 });
  const map = unpacked(bench.screen.scene.map);
  for (let k = 0; k + 1 < cut.skin.length; k++) {
    if (cut.pressure[k] < 500) continue;
    const shade = 3 * Math.min(Math.floor(255 * cut.pressure[k] / cut.top), 255);
    add("polyline", { points: line(cut.skin.slice(k, k + 2)), fill: "none", stroke: `rgb(${map.slice(shade, shade + 3).join(" ")})`, "stroke-width": 7, "stroke-linecap": "round" });
  }
  cut.bars.forEach((bar) => add("polygon", { points: line(bar), fill: CUT_COLOURS.ink, "fill-opacity": 0.25, stroke: CUT_COLOURS.ink, "stroke-width": 1.4 }));
  cut.gaps.forEach((gap, k) => {
    const [from, to] = [at(gap.low), at(gap.high)], colour = gap.open ? CUT_COLOURS.day : CUT_COLOURS.ink;
    if (gap.open) add("line", { x1: from[0], y1: from[1], x2: to[0], y2: to[1], stroke: colour, "stroke-width": 3 });
    const under = floor.reduce((best, p) => Math.abs(p[0] - from[0]) < Math.abs(best[0] - from[0]) ? p : best);
    const [dx, dy] = level ? [0, 20] : beside(k, from[0] < wide / 2 ? -1 : 1), half = 4.6 * gap.words.length;
    const x = Math.min(Math.max(from[0] + dx, half + 3), wide - half - 3);
    let y = under[1] + dy;
    while (written.some((other) => Math.abs(other.x - x) < other.half + half && Math.abs(other.y - y) < 16)) y += 4;
    written.push({ x, y, half });
    add("text", { x: x.toFixed(1), y: Math.min(y, high - 5).toFixed(1), "text-anchor": "middle", fill: colour, class: gap.open ? "open" : "" }, gap.words);
  });
  svg.setAttribute("viewBox", `0 0 ${wide} ${high}`);
  svg.replaceChildren(...parts);
  return level ? (steep === 1 ? ", true heights" : `, heights stretched ${steep} times`) : "";
}
