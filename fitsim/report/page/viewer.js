/* The report's 3-D view: one skin, and from case to case another pressure field and pose. */
"use strict";

(function () {
  const data = JSON.parse(document.getElementById("scene").textContent);
  const box = document.getElementById("view");
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  const caseButtons = [...document.querySelectorAll("[data-case]")];
  const panels = [...document.querySelectorAll("[data-panel]")];

  /* ---- what is shown beside the view follows the chosen case, with or without 3-D ---- */
  let chosen = 0;
  let onChoose = () => {};
  function choose(index) {
    chosen = (index + data.cases.length) % data.cases.length;
    const name = data.cases[chosen].name;
    caseButtons.forEach((button) =>
      button.setAttribute("aria-pressed", String(button.dataset.case === name)));
    panels.forEach((panel) => { panel.hidden = panel.dataset.panel !== name; });
    onChoose();
  }
  caseButtons.forEach((button) => button.addEventListener("click", () =>
    choose(data.cases.findIndex((one) => one.name === button.dataset.case))));
  const first = Math.max(data.cases.findIndex((one) => one.name === box.dataset.first), 0);

  let view;
  try {
    view = new BackView(box, data, document.getElementById("skin-shader").textContent,
      { labels: document.getElementById("labels"), readout: document.getElementById("readout") });
  } catch (error) {
    box.classList.add("flat");
    document.getElementById("no3d").hidden = false;
    choose(first);
    return;
  }
  view.setTree(data.tree);
  const fields = data.cases.map((one) => view.field(one.field));
  const raw = data.cases.map((one) => halves(one.field));
  view.readOut(() => data.cases[chosen].held ? raw[chosen] : null);

  /* ---- moving from case to case ---- */
  const pose = { from: new THREE.Matrix4(), to: new THREE.Matrix4(), start: 0 };
  const parts = (matrix) => {
    const p = new THREE.Vector3(), q = new THREE.Quaternion(), s = new THREE.Vector3();
    matrix.decompose(p, q, s);
    return { p, q, s };
  };
  function showCase() {
    const one = data.cases[chosen], uniforms = view.skinLook.uniforms;
    uniforms.from.value = uniforms.to.value;
    uniforms.to.value = fields[chosen];
    pose.from.copy(view.tree.matrix);
    pose.to.fromArray(one.pose);
    view.setRims(one.rims);
    box.classList.toggle("lost", !one.held);
    view.relabel(one);
    pose.start = performance.now();
    if (!still) { requestAnimationFrame(step); return; }
    settle(1);
    view.draw();
  }
  function settle(part) {
    const ease = part * part * (3 - 2 * part);
    const a = parts(pose.from), b = parts(pose.to);
    view.tree.matrix.compose(a.p.lerp(b.p, ease), a.q.slerp(b.q, ease), a.s.lerp(b.s, ease));
    view.tree.matrixWorldNeedsUpdate = true;
    view.rims.visible = ease > 0.98 && view.tree.visible;
    view.skinLook.uniforms.part.value = ease;
  }
  function step(now) {
    const part = Math.min((now - pose.start) / 420, 1);
    settle(part);
    view.draw();
    if (part < 1) requestAnimationFrame(step);
  }

  /* ---- looking around ---- */
  document.querySelectorAll("[data-look]").forEach((button) =>
    button.addEventListener("click", () => view.look(button.dataset.look)));
  const treeButton = document.getElementById("show-tree");
  treeButton.addEventListener("click", () => {
    view.showTree(!view.tree.visible);
    treeButton.setAttribute("aria-pressed", String(view.tree.visible));
  });
  box.addEventListener("keydown", (event) => {
    if (!/^[1-9]$/.test(event.key) || Number(event.key) > data.cases.length) return;
    choose(Number(event.key) - 1);
    event.preventDefault();
  });

  view.aim(data.cases.flatMap((one) => one.rims));
  view.resize();
  onChoose = showCase;
  view.skinLook.uniforms.from.value = view.skinLook.uniforms.to.value = fields[first];
  view.setPose(data.cases[first].pose);
  view.look("quarter");
  choose(first);
  box.dataset.ready = "yes";
})();
