/* What is kept from the screen, a scan of one's own, and marks pointed at on the back. */
"use strict";

/* ---- keep what is on the screen ---- */
$("keep-button").addEventListener("click", () => {
  const row = make("div", "", { className: "row" });
  const button = (words, done) => { const one = make("button", words, { type: "button" }); one.addEventListener("click", done); row.append(one); };
  button("Picture", picture);
  button("Report", () => download("/report", "report.html"));
  button("Settings as files", () => download("/settings", "settings.zip"));
  panel("Keep what is on the screen", row, make("p", "The settings hold a tree, a rig and a load as files, and the command that fits them. Everything stays on this machine.", { className: "note" }));
});
async function download(path, name) {
  fault("");
  const answer = await asked(path, JSON.stringify({ ...bench.scenarios[bench.facing], phase: null }));
  if (answer) save(name, URL.createObjectURL(await answer.blob()));
}
/* Each picture on the sheet: what is drawn, and the words below it. */
function sheets() {
  const drawn = (view) => view.renderer.domElement, says = (section) => section.querySelector(".says").textContent;
  const trees = bench.views.slice(0, bench.comparing ? 2 : 1).map((view, which) => ({ view, canvas: drawn(view), title: treeName(which), says: says(sections[which]) }));
  if (document.body.dataset.way === "wipe") {
    const [first, second] = trees, share = Number($("wipe").value) / 100;
    const words = `Left of the line: ${first.title}. Right of it: ${second.title}.`;
    return [{ canvas: first.canvas, over: second.canvas, share, title: words, says: `Left: ${first.says} Right: ${second.says}` }];
  }
  if (document.body.dataset.way === "apart") trees.push({ view: bench.apart, canvas: drawn(bench.apart), title: "Right tree less left tree", says: says($("apart")) });
  return trees.filter((one) => one.view.box.clientWidth > 0);
}
function picture() {
  const all = sheets(), high = Math.max(...all.map((one) => one.canvas.height));
  const sheet = make("canvas", "", { width: all.reduce((sum, one) => sum + one.canvas.width, 0), height: high + 216 });
  const pen = sheet.getContext("2d");
  pen.fillStyle = "#faf8f4";
  pen.fillRect(0, 0, sheet.width, sheet.height);
  let left = 0;
  all.forEach(({ canvas, over, share, title, says }) => {
    pen.drawImage(canvas, left, 0);
    if (over) {
      const from = Math.round(share * over.width);
      pen.drawImage(over, from, 0, over.width - from, over.height, left + from, 0, over.width - from, over.height);
      pen.fillStyle = "#26221e";
      pen.fillRect(left + from - 1, 0, 3, over.height);
    }
    pen.fillStyle = "#26221e";
    pen.font = "600 22px sans-serif";
    pen.fillText(title, left + 16, high + 34, canvas.width - 32);
    pen.font = "20px sans-serif";
    const line = new RegExp(`.{1,${Math.max(Math.floor(canvas.width / 11), 20)}}( |$)`, "g");
    (says.match(line) || []).slice(0, 4).forEach((words, k) => pen.fillText(words, left + 16, high + 62 + 25 * k, canvas.width - 32));
    left += canvas.width;
  });
  scaleOn(pen, 16, high + 160, bench.screen.scene.map, bench.screen.ticks[0], bench.screen.ticks.at(-1));
  if (bench.comparing && bench.way === "apart") scaleOn(pen, 380, high + 160, bench.screen.differenceMap, bench.screen.differenceTicks[0], bench.screen.differenceTicks.at(-1));
  pen.fillStyle = "#62594f";
  pen.font = "16px sans-serif";
  pen.fillText("An estimate from a model, not a measurement.", 16, sheet.height - 10);
  save("bench.png", sheet.toDataURL("image/png"));
}
function scaleOn(pen, x, y, packedMap, low, high) {
  const map = unpacked(packedMap);
  for (let k = 0; k < 160; k++) {
    const shade = 3 * Math.floor(k * 255 / 159);
    pen.fillStyle = `rgb(${map.slice(shade, shade + 3).join(" ")})`;
    pen.fillRect(x + 60 + k, y, 1, 14);
  }
  pen.fillStyle = "#26221e";
  pen.font = "15px sans-serif";
  pen.fillText(low, x, y + 13, 58);
  pen.fillText(high, x + 226, y + 13);
}

/* ---- a scan of one's own, kept by this browser until it is forgotten ---- */
const kept = {
  /* The one store of what was brought: {first, file, name, unit, tall, coat, marks}. */
  store: (mode, work) => new Promise((done, fail) => {
    const opening = indexedDB.open("fitsim", 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore("brought");
    opening.onerror = () => fail(opening.error);
    opening.onsuccess = () => {
      const base = opening.result, deal = base.transaction("brought", mode), request = work(deal.objectStore("brought"));
      deal.oncomplete = () => { base.close(); done(request.result); };
      deal.onabort = deal.onerror = () => { base.close(); fail(deal.error); };
    };
  }),
  read: () => kept.store("readonly", (all) => all.get("scan")).catch(() => undefined),
  /* Said in a panel, which stays: faults go when the next answer comes. */
  write: (one) => kept.store("readwrite", (all) => all.put(one, "scan")).catch(() => setTimeout(() =>
    panel("This scan is not kept", make("p", "This browser cannot keep it: when the app has been started again, open it again.")), 1000)),
  forget: () => kept.store("readwrite", (all) => all.delete("scan")).catch(() => undefined),
};
function openScan() {
  const form = make("form", "", { method: "dialog" });
  const field = (words, input) => { const label = make("label", words); label.append(input); form.append(label); return input; };
  const file = field("The scan: PLY, OBJ, STL, GLB, OFF, PCD, XYZ or CSV", make("input", "", { type: "file", name: "scan", required: true }));
  const unit = field("Unit of its numbers", make("select", "", { name: "unit" }));
  choices(unit, [["", "find it"], ["m", "m"], ["cm", "cm"], ["mm", "mm"], ["inch", "inch"]]);
  const tall = field("Height at the withers, if you know it (1.5 m, 59 in)", make("input", "", { name: "withers_height" }));
  const coat = field("How deep its hair stands on the back, if you measured it (20 mm, 0.8 in)", make("input", "", { name: "coat" }));
  const send = make("button", "Open", { type: "submit" });
  form.append(send);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!file.files.length) return;
    send.disabled = true;
    send.textContent = "Finding the back ...";
    await bring(file.files[0], unit.value, tall.value, coat.value);
    $("panel").close();
  });
  const card = document.createElement("ul");
  const { screen } = bench;
  [...screen.card, ...screen.notes].map((line) => line.trim()).filter(Boolean).forEach((line) => card.append(make("li", line)));
  const more = [make("h3", `How good ${screen.name} is`), card];
  if (screen.brought) {
    more.push(make("p", "This browser keeps the scan and its marks on this machine, so that a reload or a restart brings them back. Forgetting takes them away, here and from the app.", { className: "note" }), forgetButton());
  }
  panel("Open a scan", form, ...more);
}
function forgetButton() {
  const forget = make("button", "Forget this scan", { type: "button", id: "forget-button" });
  forget.addEventListener("click", async () => { $("panel").close(); await forgetScan(); });
  return forget;
}
async function send({ file, name, unit, tall, coat, marks }) {
  const body = new FormData();
  if (file) body.append("scan", file, name);
  if (marks) body.append("marks", marks);
  body.append("unit", unit);
  body.append("withers_height", tall);
  body.append("coat", coat || "");
  return asked("/scan", body);
}
async function bring(file, unit, tall, coat) {
  fault("");
  const one = { first: bench.screen.first, file, name: file.name, unit, tall, coat, marks: "" };
  if (!await send(one)) return;
  await kept.write(one);
  await begin();
}
/* What was brought before the app was started again goes back to it: the page is told so. */
async function bringBack() {
  const one = await kept.read();
  if (bench.screen.brought || !one || one.first !== bench.screen.first) return false;
  $("what").textContent = `Bringing back ${one.name} ...`;
  if (await send(one)) return true;
  panel(`${one.name} could not be brought back`, make("p", $("fault").textContent), forgetButton());
  return false;
}
async function forgetScan() {
  localStorage.removeItem("set:" + bench.screen.key);
  await kept.forget();
  await asked("/forget");
  await begin();
}
$("scan-button").addEventListener("click", () => { stop(); openScan(); });
addEventListener("dragover", (event) => event.preventDefault());
addEventListener("drop", (event) => {
  event.preventDefault();
  if (event.dataTransfer.files.length) bring(event.dataTransfer.files[0], "", "", "");
});

/* ---- marks pointed at on the back ---- */
let picks = [], marking = false, pressed = [0, 0];
$("mark-button").addEventListener("click", () => mark(!marking));
function mark(on) {
  stop();
  if (on && !$("handling").hidden) handling(false);
  marking = on;
  $("marking").hidden = !on;
  press($("mark-button"), on);
  document.querySelectorAll(".stage3d").forEach((box) => box.classList.toggle("marking", on));
  if (on) bench.views[0].look("above");
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
  bench.views.forEach((view) => { if (view.last) { view.relabel(view.last, picks); view.draw(); } });
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
  const was = await kept.read(), { screen } = bench;
  const mine = was && was.first === screen.first && screen.brought;
  await kept.write({ ...(mine ? was : { first: screen.first, file: null, name: screen.name, unit: "", tall: "", coat: "" }), marks: file });
  picks = [];
  mark(false);
  await begin();
});
