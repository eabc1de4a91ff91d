/* The bench: settings go out as they are moved, what they come to comes back and is drawn. Of
   settings that wait for an answer only the last is sent. */
"use strict";

/* ---- what is set, kept by the browser so that a reload loses nothing ---- */
const keyOf = () => "set:" + bench.screen.key;
function remember() {
  const { scenarios, comparing, facing, way, cut } = bench;
  localStorage.setItem(keyOf(), JSON.stringify({ scenarios, comparing, facing, way, cut }));
}
function recall() {
  const { usual } = bench.screen;
  Object.assign(bench, { scenarios: [{ ...usual }, { ...usual }], comparing: false, facing: 0, way: "side", cut: null, grip: null });
  try {
    const told = JSON.parse(localStorage.getItem(keyOf()));
    if (!told) return;
    bench.scenarios = told.scenarios.map((one) => ({ ...usual, ...one, phase: null }));
    bench.comparing = Boolean(told.comparing);
    bench.facing = bench.comparing ? told.facing : 0;
    bench.way = ["side", "wipe", "apart"].includes(told.way) ? told.way : "side";
    bench.cut = told.cut || null;
  } catch (error) { localStorage.removeItem(keyOf()); }
}

/* ---- the live connection ---- */
let socket, waiting = false, again = false, number = 0, asking = 0, answered = () => {};
const times = [];
window.benchTimes = times;
function connect() {
  return new Promise((ready) => {
    socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/live?units=${bench.units}`);
    socket.onopen = () => { waiting = false; fault(""); ready(); };
    socket.onmessage = (event) => took(JSON.parse(event.data));
    socket.onclose = () => { waiting = false; setTimeout(reconnect, 1000); fault("The app does not answer. Trying again."); };
  });
}
/* Where the app was started again meanwhile, what was brought to it is gone there: begin again. */
async function reconnect() {
  let now = null;
  try { now = await (await fetch(`/screen?units=${bench.units}`)).json(); } catch (error) { /* not yet */ }
  if (now && now.start !== bench.screen.start) { await begin(); return; }
  await connect();
  ask();
}
function ask() {
  if (socket.readyState !== WebSocket.OPEN) return;
  if (waiting) { again = true; return; }
  waiting = true;
  again = false;
  asking = performance.now();
  const facing = bench.comparing ? bench.facing : 0, difference = bench.comparing && bench.way === "apart";
  socket.send(JSON.stringify({ number: ++number, views: shownScenarios(), facing, difference, cut: bench.cut, hand: bench.grip }));
}
function took(answer) {
  waiting = false;
  fault(answer.error);
  const told = answer.views || [];
  told.forEach((one, which) => { if (bench.views[which]) show(bench.views[which], sections[which], one); });
  if (answer.difference && bench.apart && told.length > 1) showDifference(answer.difference, told);
  times.push(performance.now() - asking);
  if (times.length > 2000) times.shift();
  document.body.dataset.answered = String(answer.number);
  if (again) ask();
  answered();
}

/* ---- showing an answer ---- */
function show(view, section, one) {
  if (one.tree) view.setTree(one.tree);
  view.carry(one.points || null);
  const uniforms = view.skinLook.uniforms;
  view.values = halves(one.case.field);
  const texture = view.field(one.case.field);
  const old = uniforms.to.value;
  uniforms.from.value = uniforms.to.value = texture;
  old.dispose();
  view.setPose(one.case.pose);
  view.setRims(one.case.rims);
  view.rims.visible = view.tree.visible;
  view.held = one.case.held;
  view.last = one.case;
  view.hand = null;
  if (one.hand) showHand(view, one.hand);
  const line = one.cut && one.cut.line ? [{ points: new Float32Array(one.cut.line.flat()), colour: 0x18546b }] : [];
  view.setLines([...line, ...handLines(view.hand)]);
  section.querySelector(".stage3d").classList.toggle("lost", !one.case.held);
  if (!view.aimed) { view.aim(one.case.rims); view.look("quarter"); view.aimed = true; }
  const words = { under: "hand", press: "pressed", lift: "lifted" };
  const at = view.hand ? [{ words: words[view.hand.tool], at: view.hand.at }] : [];
  view.relabel(one.case, [...at, ...picks.map((pick) => ({ words: pick.words, at: pick.at }))]);
  view.draw();
  numbers(section, one.numbers);
  if (one.cut && bench.cut) showCut(section, one.cut);
}
function numbers(section, told) {
  const box = section.querySelector(".big"), says = section.querySelector(".says");
  says.textContent = told.said.join(" ");
  says.classList.toggle("lost", !told.held);
  const rows = !told.held ? [] : [
    ["presses hardest", told.peak], ["front / middle / rear", told.third_words.map((t) => t.replace(/\s?%/, "")).join(" / ") + " %"],
    ["on shoulder blades", told.blade], ["on fat pockets", told.pocket], ["lifts", told.lift], ["left / right", told.sides.map((t) => t.replace(/\s?%/, "")).join(" / ") + " %"],
  ];
  box.replaceChildren(...rows.map(([words, value]) => {
    const one = document.createElement("div");
    one.append(make("b", value), make("span", words));
    return one;
  }));
}

/* ---- the controls ---- */
const inputs = {};
function addControls() {
  const { screen } = bench;
  document.querySelectorAll("#controls [data-group]").forEach((group) => group.replaceChildren());
  screen.controls.forEach((control) => {
    const label = document.createElement("label"), output = document.createElement("output");
    const range = make("input", "", { type: "range", min: control.low, max: control.high, step: control.step, id: control.name });
    output.htmlFor = control.name;
    label.append(make("span", control.words), output, range);
    document.querySelector(`#controls [data-group="${control.group}"]`).append(label);
    inputs[control.name] = { control, range, output };
    range.addEventListener("input", () => { stop(); move(control.name, Number(range.value)); });
  });
  choices($("tree"), screen.trees);
  choices($("pad"), screen.pads.map((name) => [name, { none: "no pad", "felt-thin": "thin felt", felt: "felt", "felt-thick": "thick felt" }[name] || name]));
  choices($("load"), screen.loads.map((name) => [name, { none: "nothing", rider: "a rider", pack: "two packs" }[name]]));
}
["tree", "pad", "load"].forEach((name) => $(name).addEventListener("change", () => set({ [name]: $(name).value })));
const TWINS = { front_left: "front_right", front_right: "front_left", rear_left: "rear_right", rear_right: "rear_left" };
function move(name, value) {
  const change = { [name]: value };
  if ($("alike").checked && TWINS[name]) change[TWINS[name]] = value;
  set(change);
}
function set(change) {
  Object.assign(bench.scenarios[bench.facing], change);
  reflect();
  remember();
  ask();
}
function reflect() {
  const now = bench.scenarios[bench.facing];
  for (const [name, { control, range, output }] of Object.entries(inputs)) {
    range.value = now[name];
    output.textContent = written(control, now[name]);
    range.setAttribute("aria-valuetext", output.textContent);
  }
  ["tree", "pad", "load"].forEach((name) => { $(name).value = now[name]; });
  document.querySelectorAll("[data-for]").forEach((button) => press(button, Number(button.dataset.for) === bench.facing));
  document.querySelector(".which").hidden = !bench.comparing;
  press($("compare-button"), bench.comparing);
  press($("stride-button"), bench.playing === "stride");
}
document.querySelectorAll("[data-cinches]").forEach((button) => button.addEventListener("click", () => {
  stop();
  set(cinched(button.dataset.cinches));
}));
function cinched(which) {
  const { usual } = bench.screen, off = (end) => ({ [`${end}_left`]: 0, [`${end}_right`]: 0 });
  const on = (end) => ({ [`${end}_left`]: usual[`${end}_left`], [`${end}_right`]: usual[`${end}_right`] });
  return { ...(which === "rear" ? off("front") : on("front")), ...(which === "front" ? off("rear") : on("rear")) };
}
$("usual-button").addEventListener("click", () => { stop(); set({ ...bench.screen.usual }); });
document.querySelectorAll("[data-for]").forEach((button) => button.addEventListener("click", () => {
  bench.facing = Number(button.dataset.for);
  remember();
  reflect();
}));

/* ---- the views ---- */
function newView(which) {
  const box = sections[which].querySelector(".stage3d");
  const view = new BackView(box, bench.screen.scene, bench.shader,
    { labels: box.querySelector(".labels"), readout: box.querySelector(".readout"), room: 0.16 });
  view.readOut(() => view.held ? view.values : null);
  view.renderer.domElement.addEventListener("pointerdown", (event) => { pressed = [event.clientX, event.clientY]; });
  view.renderer.domElement.addEventListener("pointerup", (event) => pointed(view, event));
  takesHands(view, which);
  return together(view);
}
document.querySelectorAll("[data-look]").forEach((button) => button.addEventListener("click", () =>
  bench.views.forEach((view) => view.look(button.dataset.look))));
$("show-tree").addEventListener("click", () => {
  const shown = !bench.views[0].tree.visible;
  bench.views.forEach((view) => view.showTree(shown));
  if (bench.apart) { bench.apart.lines.visible = shown; bench.apart.showTree(shown); }
  press($("show-tree"), shown);
});

/* ---- what runs by itself ---- */
let beat = 0;
function stop() {
  if (!bench.playing) return;
  bench.playing = "";
  answered = () => {};
  bench.scenarios.forEach((one) => { one.phase = null; });
  reflect();
}
function play(what) {
  stop();
  if (!$("handling").hidden) handling(false);
  bench.playing = what;
  beat = 0;
  answered = () => setTimeout(tick, what === "stride" ? 20 : 30);
  reflect();
  tick();
}
function tick() {
  if (!bench.playing) return;
  beat += 1;
  if (bench.playing === "stride") { // every view at one moment, so that they compare
    shownScenarios().forEach((one) => { one.phase = (beat / 32) % 1; });
    ask();
    return;
  }
  const { usual } = bench.screen, steps = 24, ease = (part) => Math.min(Math.max(part, 0), 1);
  const front = ease(beat / steps), rear = ease(beat / steps - 1.6);
  Object.assign(bench.scenarios[bench.facing], {
    front_left: usual.front_left * front, front_right: usual.front_right * front,
    rear_left: usual.rear_left * rear, rear_right: usual.rear_right * rear,
  });
  if (rear >= 1) { bench.playing = ""; answered = () => {}; remember(); }
  reflect();
  ask();
}
$("tighten-button").addEventListener("click", () => play("tighten"));
$("stride-button").addEventListener("click", () => { if (bench.playing === "stride") { stop(); ask(); } else play("stride"); });

/* ---- units ---- */
$("units-button").addEventListener("click", async () => {
  bench.units = bench.units === "metric" ? "inch" : "metric";
  localStorage.setItem("units", bench.units);
  await begin();
});

/* ---- beginning, and beginning again with another back ---- */
async function readScreen() {
  bench.screen = await (await fetch(`/screen?units=${bench.units}`)).json();
}
function drop(view) {
  view.renderer.dispose();
  view.renderer.domElement.remove();
  view.layer.textContent = "";
}
async function begin() {
  stop();
  if (socket) { socket.onclose = null; socket.close(); }
  if (!bench.shader) bench.shader = await (await fetch("/page/skin.glsl")).text();
  await readScreen();
  if (await bringBack()) await readScreen();
  const { screen } = bench;
  $("what").textContent = screen.name;
  $("units-button").textContent = bench.units === "metric" ? "inch" : "mm";
  const ticks = (id, words) => $(id).replaceChildren(...words.map((tick, k) => make("span", k === words.length - 1 ? tick + "+" : tick)));
  ticks("ticks", screen.ticks);
  ticks("apart-ticks", screen.differenceTicks);
  $("cautions").textContent = screen.cautions.join(" ");
  $("cautions").hidden = !screen.cautions.length;
  recall();
  addControls();
  addCutControl();
  allViews().forEach(drop);
  Object.assign(bench, { views: [], apart: null });
  try { bench.views.push(newView(0)); } catch (error) { fault("This browser cannot show the turning view; the numbers still hold."); }
  arrangeCut();
  arrange();
  reflect();
  await connect();
  ask();
  document.body.dataset.ready = "yes";
}
begin();
