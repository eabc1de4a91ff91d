/* The bench: settings go out as they are moved, what they come to comes back and is drawn. Of
   settings that wait for an answer only the last is sent. */
"use strict";

(async function () {
  const $ = (id) => document.getElementById(id);
  const make = (tag, words, more = {}) => Object.assign(document.createElement(tag), { textContent: words }, more);
  const shader = await (await fetch("/page/skin.glsl")).text();
  const sections = [$("first"), $("second")];
  let units = localStorage.getItem("units") || "metric";
  let screen, views = [], scenarios = [], facing = 0, comparing = false;

  /* ---- faults are said where the eye is, and go when the next answer comes ---- */
  function fault(words) {
    $("fault").textContent = words || "";
    $("fault").hidden = !words;
  }
  async function asked(path, body) {
    try {
      const answer = await fetch(`${path}?units=${units}`, { method: "POST", body });
      if (answer.ok) return answer;
      const told = answer.headers.get("Content-Type").includes("json") ? (await answer.json()).error : await answer.text();
      fault(told);
    } catch (error) { fault("The app does not answer. Is it still running?"); }
    return null;
  }

  /* ---- what is set, kept by the browser so that a reload loses nothing ---- */
  const keyOf = () => "set:" + screen.key;
  function remember() {
    localStorage.setItem(keyOf(), JSON.stringify({ scenarios, comparing, facing }));
  }
  function recall() {
    scenarios = [{ ...screen.usual }, { ...screen.usual }];
    comparing = false;
    facing = 0;
    try {
      const kept = JSON.parse(localStorage.getItem(keyOf()));
      if (!kept) return;
      scenarios = kept.scenarios.map((one) => ({ ...screen.usual, ...one, phase: null }));
      comparing = Boolean(kept.comparing);
      facing = comparing ? kept.facing : 0;
    } catch (error) { localStorage.removeItem(keyOf()); }
  }

  /* ---- the live connection ---- */
  let socket, waiting = false, again = false, number = 0, answered = () => {};
  function connect() {
    return new Promise((ready) => {
      socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/live?units=${units}`);
      socket.onopen = () => { waiting = false; fault(""); ready(); };
      socket.onmessage = (event) => took(JSON.parse(event.data));
      socket.onclose = () => { waiting = false; setTimeout(async () => { await connect(); ask(); }, 1000); fault("The app does not answer. Trying again."); };
    });
  }
  function ask() {
    if (socket.readyState !== WebSocket.OPEN) return;
    if (waiting) { again = true; return; }
    waiting = true;
    again = false;
    asking = performance.now();
    socket.send(JSON.stringify({ number: ++number, views: shownScenarios() }));
  }
  const shownScenarios = () => comparing ? scenarios : scenarios.slice(0, 1);
  let asking = 0;
  const times = [];
  window.benchTimes = times;
  function took(answer) {
    waiting = false;
    fault(answer.error);
    (answer.views || []).forEach((one, which) => { if (views[which]) show(views[which], sections[which], one); });
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
    section.querySelector(".stage3d").classList.toggle("lost", !one.case.held);
    if (!view.aimed) { view.aim(one.case.rims); view.look("quarter"); view.aimed = true; }
    view.relabel(one.case, picks.map((pick) => ({ words: pick.words, at: pick.at })));
    view.draw();
    numbers(section, one.numbers);
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
  const written = (control, value) => {
    const shown = value * control.per_si, sign = control.signed && shown > 0 ? "+" : "";
    return sign + shown.toFixed(control.decimals).replace("-", "\u2212") + "\u00a0" + control.unit;
  };
  function addControls() {
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
  function choices(select, pairs) {
    select.replaceChildren(...pairs.map(([value, words]) => make("option", words, { value })));
  }
  ["tree", "pad", "load"].forEach((name) => $(name).addEventListener("change", () => set({ [name]: $(name).value })));
  const TWINS = { front_left: "front_right", front_right: "front_left", rear_left: "rear_right", rear_right: "rear_left" };
  function move(name, value) {
    const change = { [name]: value };
    if ($("alike").checked && TWINS[name]) change[TWINS[name]] = value;
    set(change);
  }
  function set(change) {
    Object.assign(scenarios[facing], change);
    reflect();
    remember();
    ask();
  }
  function reflect() {
    const now = scenarios[facing];
    for (const [name, { control, range, output }] of Object.entries(inputs)) {
      range.value = now[name];
      output.textContent = written(control, now[name]);
      range.setAttribute("aria-valuetext", output.textContent);
    }
    ["tree", "pad", "load"].forEach((name) => { $(name).value = now[name]; });
    document.querySelectorAll("[data-for]").forEach((button) =>
      button.setAttribute("aria-pressed", String(Number(button.dataset.for) === facing)));
    document.querySelector(".which").hidden = !comparing;
    $("compare-button").setAttribute("aria-pressed", String(comparing));
    $("stride-button").setAttribute("aria-pressed", String(playing === "stride"));
  }
  document.querySelectorAll("[data-cinches]").forEach((button) => button.addEventListener("click", () => {
    stop();
    set(cinched(button.dataset.cinches));
  }));
  function cinched(which) {
    const usual = screen.usual, off = (end) => ({ [`${end}_left`]: 0, [`${end}_right`]: 0 });
    const on = (end) => ({ [`${end}_left`]: usual[`${end}_left`], [`${end}_right`]: usual[`${end}_right`] });
    return { ...(which === "rear" ? off("front") : on("front")), ...(which === "front" ? off("rear") : on("rear")) };
  }
  $("usual-button").addEventListener("click", () => { stop(); set({ ...screen.usual }); });
  document.querySelectorAll("[data-for]").forEach((button) => button.addEventListener("click", () => {
    facing = Number(button.dataset.for);
    remember();
    reflect();
  }));

  /* ---- two trees side by side, turned together ---- */
  $("compare-button").addEventListener("click", () => { stop(); compare(!comparing); });
  function compare(both) {
    if (both && !comparing) scenarios[1] = { ...scenarios[0] };
    comparing = both;
    facing = both ? 1 : 0;
    $("second").hidden = !both;
    if (both && !views[1]) views[1] = newView(1);
    views.forEach((view) => view.resize());
    if (both) views[1].aimed = views[1].aimed || false;
    reflect();
    remember();
    ask();
  }
  function newView(which) {
    const box = sections[which].querySelector(".stage3d");
    const view = new BackView(box, screen.scene, shader,
      { labels: box.querySelector(".labels"), readout: box.querySelector(".readout"), room: 0.16 });
    view.readOut(() => view.held ? view.values : null);
    view.onMove = (moved) => views.forEach((other) => { if (other !== moved && comparing) other.follow(moved); });
    view.renderer.domElement.addEventListener("pointerdown", (event) => { pressed = [event.clientX, event.clientY]; });
    view.renderer.domElement.addEventListener("pointerup", (event) => pointed(view, event));
    return view;
  }
  document.querySelectorAll("[data-look]").forEach((button) => button.addEventListener("click", () =>
    views.forEach((view) => view.look(button.dataset.look))));
  $("show-tree").addEventListener("click", () => {
    const shown = !views[0].tree.visible;
    views.forEach((view) => view.showTree(shown));
    $("show-tree").setAttribute("aria-pressed", String(shown));
  });

  /* ---- what runs by itself ---- */
  let playing = "", beat = 0;
  function stop() {
    if (!playing) return;
    playing = "";
    answered = () => {};
    scenarios.forEach((one) => { one.phase = null; });
    reflect();
  }
  function play(what) {
    stop();
    playing = what;
    beat = 0;
    answered = () => setTimeout(tick, what === "stride" ? 20 : 30);
    reflect();
    tick();
  }
  function tick() {
    if (!playing) return;
    beat += 1;
    if (playing === "stride") {
      scenarios[facing].phase = (beat / 32) % 1;
      ask();
      return;
    }
    const usual = screen.usual, steps = 24, ease = (part) => Math.min(Math.max(part, 0), 1);
    const front = ease(beat / steps), rear = ease(beat / steps - 1.6);
    Object.assign(scenarios[facing], {
      front_left: usual.front_left * front, front_right: usual.front_right * front,
      rear_left: usual.rear_left * rear, rear_right: usual.rear_right * rear,
    });
    if (rear >= 1) { playing = ""; answered = () => {}; remember(); }
    reflect();
    ask();
  }
  $("tighten-button").addEventListener("click", () => play("tighten"));
  $("stride-button").addEventListener("click", () => { if (playing === "stride") { stop(); ask(); } else play("stride"); });

  /* ---- panels ---- */
  function panel(title, ...body) {
    $("panel-title").textContent = title;
    $("panel-body").replaceChildren(...body);
    $("panel").showModal();
  }
  $("panel-close").addEventListener("click", () => $("panel").close());
  $("hands-button").addEventListener("click", async () => {
    stop();
    fault("");
    panel("Tried by hand", make("p", "Sliding a hand in, pressing, lifting and pulling ..."));
    const answer = await asked("/hands", JSON.stringify({ ...scenarios[facing], phase: null }));
    if (!answer) { $("panel").close(); return; }
    const table = document.createElement("table");
    table.className = "plain";
    (await answer.json()).rows.forEach(([test, found]) => {
      const row = table.insertRow();
      row.append(make("th", test, { scope: "row" }));
      row.insertCell().textContent = found;
    });
    panel.shown = true;
    $("panel-body").replaceChildren(table, make("p", "What differs between two settings is surer than any one force.", { className: "note" }));
  });
  $("keep-button").addEventListener("click", () => {
    const row = make("div", "", { className: "row" });
    const button = (words, done) => { const one = make("button", words, { type: "button" }); one.addEventListener("click", done); row.append(one); };
    button("Picture", picture);
    button("Report", () => download("/report", "report.html"));
    button("Settings as files", () => download("/settings", "settings.zip"));
    panel("Keep what is on the screen", row, make("p", "The settings hold a tree, a rig and a load as files, and the command that fits them. Everything stays on this machine.", { className: "note" }));
  });
  function save(name, address) {
    const link = make("a", "", { href: address, download: name });
    document.body.append(link);
    link.click();
    link.remove();
  }
  async function download(path, name) {
    fault("");
    const answer = await asked(path, JSON.stringify({ ...scenarios[facing], phase: null }));
    if (answer) save(name, URL.createObjectURL(await answer.blob()));
  }
  function picture() {
    const shown = views.slice(0, comparing ? 2 : 1).map((view) => view.renderer.domElement);
    const sheet = make("canvas", "", { width: shown.reduce((sum, one) => sum + one.width, 0), height: shown[0].height + 130 });
    const pen = sheet.getContext("2d");
    pen.fillStyle = "#faf8f4";
    pen.fillRect(0, 0, sheet.width, sheet.height);
    let left = 0;
    shown.forEach((one, which) => {
      pen.drawImage(one, left, 0);
      pen.fillStyle = "#26221e";
      pen.font = "600 22px sans-serif";
      const tree = $("tree").querySelector(`[value="${scenarios[which].tree}"]`).textContent;
      pen.fillText(tree, left + 16, one.height + 34);
      pen.font = "20px sans-serif";
      sections[which].querySelector(".says").textContent.match(/.{1,70}(\s|$)/g)?.slice(0, 2).forEach((line, k) => pen.fillText(line, left + 16, one.height + 64 + 26 * k));
      left += one.width;
    });
    pen.fillStyle = "#62594f";
    pen.font = "16px sans-serif";
    pen.fillText("An estimate from a model, not a measurement.", 16, sheet.height - 10);
    save("bench.png", sheet.toDataURL("image/png"));
  }

  /* ---- a scan of one's own ---- */
  function openScan() {
    const form = make("form", "", { method: "dialog" });
    const field = (words, input) => { const label = make("label", words); label.append(input); form.append(label); return input; };
    const file = field("The scan: PLY, OBJ, STL, GLB, OFF, PCD, XYZ or CSV", make("input", "", { type: "file", name: "scan", required: true }));
    const unit = field("Unit of its numbers", make("select", "", { name: "unit" }));
    choices(unit, [["", "find it"], ["m", "m"], ["cm", "cm"], ["mm", "mm"], ["inch", "inch"]]);
    const tall = field("Height at the withers, if you know it (1.5 m, 59 in)", make("input", "", { name: "withers_height" }));
    const send = make("button", "Open", { type: "submit" });
    form.append(send);
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      if (!file.files.length) return;
      send.disabled = true;
      send.textContent = "Finding the back ...";
      await bring(file.files[0], unit.value, tall.value);
      $("panel").close();
    });
    const card = document.createElement("ul");
    [...screen.card, ...screen.notes].map((line) => line.trim()).filter(Boolean).forEach((line) => card.append(make("li", line)));
    panel("Open a scan", form, make("h3", `How good ${screen.name} is`), card);
  }
  async function bring(file, unit, tall) {
    fault("");
    const body = new FormData();
    body.append("scan", file);
    body.append("unit", unit);
    body.append("withers_height", tall);
    if (await asked("/scan", body)) await begin();
  }
  $("scan-button").addEventListener("click", () => { stop(); openScan(); });
  addEventListener("dragover", (event) => event.preventDefault());
  addEventListener("drop", (event) => {
    event.preventDefault();
    if (event.dataTransfer.files.length) bring(event.dataTransfer.files[0], "", "");
  });

  /* ---- marks pointed at on the back ---- */
  let picks = [], marking = false, pressed = [0, 0];
  $("mark-button").addEventListener("click", () => mark(!marking));
  function mark(on) {
    stop();
    marking = on;
    $("marking").hidden = !on;
    $("mark-button").setAttribute("aria-pressed", String(on));
    document.querySelectorAll(".stage3d").forEach((box) => box.classList.toggle("marking", on));
    if (on) views[0].look("above");
  }
  function pointed(view, event) {
    if (!marking || Math.hypot(event.clientX - pressed[0], event.clientY - pressed[1]) > 5) return;
    const { hit } = view.under(event);
    if (!hit) return;
    const select = $("mark-name");
    picks.push({ name: select.value, words: select.selectedOptions[0].textContent.split(":")[0], at: hit.point.toArray() });
    counted();
  }
  function counted() {
    $("mark-count").textContent = picks.length ? `${picks.length} marked, last: ${picks.at(-1).words}.` : "Nothing is marked yet.";
    views.forEach((view) => { if (view.last) { view.relabel(view.last, picks); view.draw(); } });
  }
  $("mark-undo").addEventListener("click", () => { picks.pop(); counted(); });
  $("mark-use").addEventListener("click", async () => {
    if (!picks.length) { fault("Point at something on the back first."); return; }
    const grouped = {};
    picks.forEach((pick) => { (grouped[pick.name] ||= []).push(pick.at); });
    const answer = await asked("/marks", JSON.stringify({ picks: grouped }));
    if (!answer) return;
    const { file } = await answer.json();
    save("marks.json", URL.createObjectURL(new Blob([file], { type: "application/json" })));
    picks = [];
    mark(false);
    await begin();
  });

  /* ---- the tour ---- */
  let stopAt = -1, before = null;
  function tour(to) {
    if (stopAt < 0) before = { scenarios: scenarios.map((one) => ({ ...one })), comparing };
    stop();
    stopAt = Math.min(Math.max(to, 0), screen.tour.length - 1);
    const now = screen.tour[stopAt], box = $("tour");
    scenarios = [{ ...screen.usual, ...now.scenario }, { ...screen.usual, ...(now.beside || {}) }];
    comparing = now.beside !== null;
    facing = 0;
    $("second").hidden = !comparing;
    if (comparing && !views[1]) views[1] = newView(1);
    document.body.classList.add("touring");
    box.hidden = false;
    box.querySelector(".count").textContent = `${stopAt + 1} of ${screen.tour.length}. An estimate from a model, not a measurement.`;
    box.querySelector("h2").textContent = now.title;
    box.querySelector(".look").textContent = now.look;
    box.querySelector(".why").textContent = now.why;
    views.forEach((view) => view.resize());
    reflect();
    if (now.play) play(now.play); else ask();
    $("tour-on").focus();
  }
  function endTour() {
    stop();
    stopAt = -1;
    document.body.classList.remove("touring");
    $("tour").hidden = true;
    if (document.fullscreenElement) document.exitFullscreen();
    ({ scenarios, comparing } = before);
    facing = 0;
    $("second").hidden = !comparing;
    views.forEach((view) => view.resize());
    reflect();
    ask();
    $("tour-button").focus();
  }
  $("tour-button").addEventListener("click", () => tour(0));
  $("tour-on").addEventListener("click", () => stopAt === screen.tour.length - 1 ? endTour() : tour(stopAt + 1));
  $("tour-back").addEventListener("click", () => tour(stopAt - 1));
  $("tour-end").addEventListener("click", endTour);
  $("tour-full").addEventListener("click", () =>
    document.fullscreenElement ? document.exitFullscreen() : document.documentElement.requestFullscreen());
  addEventListener("keydown", (event) => {
    if (stopAt < 0) return;
    if (event.key === "Escape") endTour();
    else if (event.key === "PageDown" || (event.key === "ArrowRight" && !event.target.closest(".stage3d"))) tour(stopAt + 1);
    else if (event.key === "PageUp" || (event.key === "ArrowLeft" && !event.target.closest(".stage3d"))) tour(stopAt - 1);
    else return;
    event.preventDefault();
  });

  /* ---- units ---- */
  $("units-button").addEventListener("click", async () => {
    units = units === "metric" ? "inch" : "metric";
    localStorage.setItem("units", units);
    socket.onclose = null;
    socket.close();
    await begin();
  });

  /* ---- beginning, and beginning again with another back ---- */
  async function begin() {
    screen = await (await fetch(`/screen?units=${units}`)).json();
    $("what").textContent = screen.name;
    $("units-button").textContent = units === "metric" ? "inch" : "mm";
    $("ticks").replaceChildren(...screen.ticks.map((tick, k) => make("span", k === 5 ? tick + "+" : tick)));
    recall();
    addControls();
    views.forEach((view) => { view.renderer.dispose(); view.renderer.domElement.remove(); view.layer.textContent = ""; });
    views = [];
    $("second").hidden = !comparing;
    try {
      views.push(newView(0));
      if (comparing) views.push(newView(1));
    } catch (error) { fault("This browser cannot show the turning view; the numbers still hold."); }
    views.forEach((view) => view.resize());
    reflect();
    if (socket) { socket.onclose = null; socket.close(); }
    await connect();
    ask();
    document.body.dataset.ready = "yes";
  }
  await begin();
})();
