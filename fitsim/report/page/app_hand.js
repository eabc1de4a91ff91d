/* Hands laid on the tree: by a finger or the mouse on the view, or by name and slider. What they
   find is worked out where all else is. */
"use strict";

const HAND_PLACES = {
  under: [["front left", "under the left front"], ["front right", "under the right front"], ["edge left", "under the left outer edge"], ["edge right", "under the right outer edge"]],
  press: [["front left", "the front"], ["rear left", "the rear"]],
  lift: [["rear left", "the rear"], ["front left", "the front"]],
};
const HAND_HINTS = {
  under: "Drag in from a bar's front end, or along its outer edge. Or choose a place and move the slider.",
  press: "Press on the front or the rear and hold. Or choose an end and lay the hand on.",
  lift: "Drag the front or the rear upwards. Or choose an end and move the slider.",
};
const HAND_MOST = { under: 0.075, press: 0, lift: 0.03 };
let tool = "", held = null;

$("hands-button").addEventListener("click", () => handling($("handling").hidden));
function handling(on) {
  stop();
  $("handling").hidden = !on;
  press($("hands-button"), on);
  document.body.classList.toggle("handling", on);
  choose(on ? "under" : "");
  allViews().forEach((view) => view.resize());
}
document.querySelectorAll("[data-tool]").forEach((button) => button.addEventListener("click", () => choose(button.dataset.tool)));
function choose(to) {
  tool = to;
  document.querySelectorAll("[data-tool]").forEach((button) => press(button, button.dataset.tool === tool));
  bench.views.forEach((view) => { view.controls.enabled = !tool; });
  document.querySelectorAll("#views .stage3d").forEach((box) => box.classList.toggle("by-hand", Boolean(tool)));
  $("hand-set").hidden = !tool;
  if (tool) {
    choices($("hand-place"), HAND_PLACES[tool]);
    $("hand-amount").max = HAND_MOST[tool];
    $("hand-amount").value = 0;
    $("hand-amount-row").hidden = tool === "press";
    $("hand-amount-words").textContent = tool === "lift" ? "How high" : "How far in";
  }
  handFound(tool ? HAND_HINTS[tool] : "");
  lay(null);
}
function handFound(words) { $("hand-found").textContent = words; }

/* Lay a hand on, or take it away, and ask what comes of it. */
function lay(grip) {
  const was = bench.grip;
  bench.grip = grip;
  reflectHand();
  if (was || grip) ask();
}
function named() {
  const [place, side] = $("hand-place").value.split(" ");
  return { tool, place, side, along: Number($("hand-along").value), amount: Number($("hand-amount").value) };
}
function reflectHand() {
  press($("hand-put"), Boolean(bench.grip));
  $("hand-put").textContent = bench.grip ? "Take the hand away" : "Lay the hand on";
  // Its room stays, so that the view does not move under the hand
  const edge = $("hand-place").value.startsWith("edge");
  $("hand-along-row").hidden = tool !== "under";
  $("hand-along-row").classList.toggle("unused", !edge);
  $("hand-along").disabled = !edge;
  const amount = written({ ...bench.screen.cut, signed: false }, Number($("hand-amount").value));
  $("hand-amount-told").textContent = amount;
  $("hand-amount").setAttribute("aria-valuetext", amount);
  const along = `${Math.round(100 * Number($("hand-along").value))} % of the way back`;
  $("hand-along-told").textContent = along;
  $("hand-along").setAttribute("aria-valuetext", along);
}
["hand-place", "hand-along", "hand-amount"].forEach((id) => $(id).addEventListener("input", () => { stop(); lay(named()); }));
$("hand-put").addEventListener("click", () => { stop(); lay(bench.grip ? null : named()); });

/* What the hand finds; by a finger, the sliders follow it. */
function showHand(view, hand) {
  handFound(hand.words);
  if (!hand.at) return;
  view.hand = hand;
  if (!held) return;
  $("hand-place").value = `${hand.place} ${hand.tool === "under" ? hand.side : "left"}`;
  $("hand-along").value = hand.along;
  $("hand-amount").value = hand.amount;
  reflectHand();
}
const handLines = (hand) => hand && hand.rim.length ? [{ points: new Float32Array(hand.rim.flat()), colour: 0x18546b, over: true }] : [];

/* ---- on the view ---- */
function takesHands(view, which) {
  const canvas = view.renderer.domElement;
  view.controls.enabled = !tool;
  canvas.addEventListener("pointerdown", (event) => {
    if (!tool || bench.playing) return;
    const { hit } = view.under(event);
    if (!hit) return;
    canvas.setPointerCapture(event.pointerId);
    if (bench.comparing && bench.facing !== which) { bench.facing = which; reflect(); }
    const perPixel = 2 * hit.distance * Math.tan(12 * Math.PI / 180) / view.box.clientHeight;
    held = { from: hit.point.toArray(), y: event.clientY, perPixel };
    lay({ tool, from: held.from, to: held.from });
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!held || tool === "press") return;
    const up = (held.y - event.clientY) * held.perPixel, [x, y, z] = held.from;
    if (tool === "lift") { lay({ tool, from: held.from, to: [x, y, z + up] }); return; }
    const { hit } = view.under(event);
    if (hit) lay({ tool, from: held.from, to: hit.point.toArray() });
  });
  const away = () => {
    if (!held) return;
    answered = () => { answered = () => {}; held = null; lay(null); };
    if (!waiting) answered();
  };
  canvas.addEventListener("pointerup", away);
  canvas.addEventListener("pointercancel", away);
}

/* ---- all of them at once, as a list ---- */
$("all-hands").addEventListener("click", async () => {
  stop();
  fault("");
  panel("Tried by hand", make("p", "Sliding a hand in, pressing, lifting and pulling ..."));
  const answer = await asked("/hands", JSON.stringify({ ...bench.scenarios[bench.facing], phase: null }));
  if (!answer) { $("panel").close(); return; }
  const table = document.createElement("table");
  table.className = "plain";
  (await answer.json()).rows.forEach(([test, found]) => {
    const row = table.insertRow();
    row.append(make("th", test, { scope: "row" }));
    row.insertCell().textContent = found;
  });
  $("panel-body").replaceChildren(table, make("p", "What differs between two settings is surer than any one force.", { className: "note" }));
});
