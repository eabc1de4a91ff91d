/* What every part of the bench's page uses: its elements, what is set, faults and panels. */
"use strict";

const $ = (id) => document.getElementById(id);
const make = (tag, words, more = {}) => Object.assign(document.createElement(tag), { textContent: words }, more);
const sections = [$("first"), $("second")];

/* screen: what the server told of the back; way: how two trees are compared; cut and grip: what is
   asked for beside the settings; apart: the view of the difference. */
const bench = {
  screen: null, shader: "", views: [], apart: null, scenarios: [], facing: 0, comparing: false, way: "side",
  cut: null, grip: null, playing: "", units: localStorage.getItem("units") || "metric",
};
const shownScenarios = () => bench.comparing ? bench.scenarios : bench.scenarios.slice(0, 1);
const allViews = () => bench.apart ? [...bench.views, bench.apart] : bench.views;
const press = (button, on) => button.setAttribute("aria-pressed", String(on));

/* ---- faults are said where the eye is, and go when the next answer comes ---- */
function fault(words) {
  $("fault").textContent = words || "";
  $("fault").hidden = !words;
}
async function asked(path, body) {
  try {
    const answer = await fetch(`${path}?units=${bench.units}`, { method: "POST", body });
    if (answer.ok) return answer;
    const told = answer.headers.get("Content-Type").includes("json") ? (await answer.json()).error : await answer.text();
    fault(told);
  } catch (error) { fault("The app does not answer. Is it still running?"); }
  return null;
}

/* ---- panels, choices and files ---- */
function panel(title, ...body) {
  $("panel-title").textContent = title;
  $("panel-body").replaceChildren(...body);
  $("panel").showModal();
}
$("panel-close").addEventListener("click", () => $("panel").close());
function choices(select, pairs) {
  select.replaceChildren(...pairs.map(([value, words]) => make("option", words, { value })));
}
function save(name, address) {
  const link = make("a", "", { href: address, download: name });
  document.body.append(link);
  link.click();
  link.remove();
}
/* A value in the chosen unit, with its sign where it counts from something. */
function written(control, value) {
  const shown = value * control.per_si, sign = control.signed && shown > 0 ? "+" : "";
  return sign + shown.toFixed(control.decimals).replace(/^-(0(\.0+)?)$/, "$1").replace("-", "\u2212") + "\u00a0" + control.unit;
}
const treeName = (which) => $("tree").querySelector(`[value="${bench.scenarios[which].tree}"]`).textContent;
