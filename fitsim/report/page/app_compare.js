/* Two trees on one back, turned together: side by side, a slider between them, or their difference. */
"use strict";

$("compare-button").addEventListener("click", () => { stop(); compare(!bench.comparing); });
function compare(both) {
  if (both && !bench.comparing) bench.scenarios[1] = { ...bench.scenarios[0] };
  bench.comparing = both;
  bench.facing = both ? 1 : 0;
  arrange();
  reflect();
  remember();
  ask();
}
document.querySelectorAll("[data-way]").forEach((button) => button.addEventListener("click", () => {
  bench.way = button.dataset.way;
  arrange();
  remember();
  ask();
}));

/* Show what the way of comparing needs, and make the views for it. */
function arrange() {
  const way = bench.comparing ? bench.way : "one";
  document.body.dataset.way = way;
  $("second").hidden = $("ways").hidden = !bench.comparing;
  $("apart").hidden = way !== "apart";
  $("wipe-row").hidden = $("wipe-line").hidden = way !== "wipe";
  document.querySelectorAll("#ways [data-way]").forEach((button) => press(button, button.dataset.way === bench.way));
  if (bench.comparing && !bench.views[1] && bench.views[0]) bench.views[1] = newView(1);
  if (way === "apart" && !bench.apart && bench.views[0]) bench.apart = differenceView();
  allViews().forEach((view) => view.resize());
}
function together(view) {
  view.onMove = (moved) => allViews().forEach((other) => { if (other !== moved && bench.comparing) other.follow(moved); });
  return view;
}

/* ---- the difference: right less left, on a scale of its own ---- */
function differenceView() {
  const box = $("apart").querySelector(".stage3d"), { screen } = bench;
  const view = new BackView(box, { ...screen.scene, map: screen.differenceMap }, bench.shader,
    { labels: box.querySelector(".labels"), readout: box.querySelector(".readout"), room: 0.16 });
  view.skinLook.uniforms.apart.value = screen.differenceTop / screen.scene.top;
  view.readOut(() => view.pair || null, ([left, right], at) => {
    const more = (view.splined(right, at.x, at.y) - view.splined(left, at.x, at.y)) * screen.scene.top;
    const { perPascal, decimals, unit } = screen.scene;
    const most = (Math.abs(more) * perPascal).toFixed(decimals);
    return Math.abs(more) < 500 ? "" : `right presses about ${most} ${unit} ${more > 0 ? "harder" : "less"}`;
  });
  return together(view);
}
function showDifference(told, [left, right]) {
  const view = bench.apart, uniforms = view.skinLook.uniforms, old = [uniforms.from.value, uniforms.to.value];
  $("apart").querySelector(".says").textContent = told.said;
  view.carry(left.points || null);
  view.pair = told.held ? [halves(left.case.field), halves(right.case.field)] : null;
  uniforms.from.value = view.field(told.held ? left.case.field : null);
  uniforms.to.value = view.field(told.held ? right.case.field : null);
  old.forEach((texture) => texture.dispose());
  view.setRims(right.case.rims);
  view.setLines(left.case.rims.map((rim) => ({ points: floats(rim), colour: 0x8a8074 })));
  view.rims.visible = view.lines.visible = bench.views[0].tree.visible;
  if (!view.aimed) { view.aim(left.case.rims); view.follow(bench.views[0]); view.aimed = true; }
  view.relabel({ spots: [], lifts: [] });
  view.draw();
}

/* ---- the slider between two trees: what is right of the line shows the right tree ---- */
function wipe(percent) {
  const to = Math.min(Math.max(percent, 0), 100);
  $("wipe").value = to;
  $("wipe").setAttribute("aria-valuetext", `left tree on ${Math.round(to)} % of the picture, right tree on the rest`);
  $("views").style.setProperty("--wipe", to + "%");
}
$("wipe").addEventListener("input", () => wipe(Number($("wipe").value)));
$("wipe-line").addEventListener("pointerdown", (event) => {
  event.preventDefault();
  const line = event.currentTarget, frame = $("views").getBoundingClientRect();
  line.setPointerCapture(event.pointerId);
  line.onpointermove = (move) => wipe(100 * (move.clientX - frame.left) / frame.width);
  line.onpointerup = line.onpointercancel = () => { line.onpointermove = null; };
});
wipe(50);
