/* The 3-D view: one skin, and for each case a pressure field looked up and coloured per dot.
   Colours are the scale's own: nothing is lit, so that a colour always means one pressure. */
"use strict";

(function () {
  const data = JSON.parse(document.getElementById("scene").textContent);
  const box = document.getElementById("view");
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  const caseButtons = [...document.querySelectorAll("[data-case]")];
  const panels = [...document.querySelectorAll("[data-panel]")];

  const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  const floats = (text) => new Float32Array(bytes(text).buffer);
  const halves = (text) => new Uint16Array(bytes(text).buffer);
  const indices = (text) => new Uint32Array(bytes(text).buffer);

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
  const first = data.cases.findIndex((one) => one.name === box.dataset.first);

  let renderer;
  try {
    renderer = new THREE.WebGLRenderer({ antialias: true, powerPreference: "low-power" });
  } catch (error) {
    box.classList.add("flat");
    document.getElementById("no3d").hidden = false;
    choose(Math.max(first, 0));
    return;
  }
  renderer.outputColorSpace = THREE.LinearSRGBColorSpace;
  THREE.ColorManagement.enabled = false;
  renderer.setPixelRatio(Math.min(devicePixelRatio || 1, 2));
  renderer.setClearColor(0xf1ede6);
  box.prepend(renderer.domElement);
  renderer.domElement.setAttribute("aria-hidden", "true");

  const scene = new THREE.Scene();
  const camera = new THREE.PerspectiveCamera(24, 1, 0.1, 20);
  camera.up.set(0, 0, 1);

  /* ---- the skin ---- */
  const rows = data.rows, columns = data.columns;
  const skinShape = new THREE.BufferGeometry();
  const skinPoints = floats(data.points);
  skinShape.setAttribute("position", new THREE.BufferAttribute(skinPoints, 3));
  const uv = new Float32Array(rows * columns * 2);
  for (let i = 0, k = 0; i < rows; i++) {
    for (let j = 0; j < columns; j++) { uv[k++] = j / (columns - 1); uv[k++] = i / (rows - 1); }
  }
  skinShape.setAttribute("uv", new THREE.BufferAttribute(uv, 2));
  skinShape.setIndex(new THREE.BufferAttribute(indices(data.triangles), 1));

  function field(text) {
    const texture = new THREE.DataTexture(halves(text), columns, rows, THREE.RGFormat, THREE.HalfFloatType);
    texture.needsUpdate = true;
    return texture;
  }
  const fields = data.cases.map((one) => field(one.field));
  const mapBytes = bytes(data.map), mapRgba = new Uint8Array(256 * 4);
  for (let k = 0; k < 256; k++) { mapRgba.set(mapBytes.subarray(3 * k, 3 * k + 3), 4 * k); mapRgba[4 * k + 3] = 255; }
  const map = new THREE.DataTexture(mapRgba, 256, 1, THREE.RGBAFormat, THREE.UnsignedByteType);
  map.magFilter = map.minFilter = THREE.LinearFilter;
  map.needsUpdate = true;
  const hide = new THREE.Texture();
  const picture = new Image();
  picture.onload = () => { hide.image = picture; hide.needsUpdate = true; draw(); };
  picture.src = data.hide;
  hide.generateMipmaps = true;
  hide.minFilter = THREE.LinearMipmapLinearFilter;
  hide.anisotropy = Math.min(8, renderer.capabilities.getMaxAnisotropy());

  const skinLook = new THREE.ShaderMaterial({
    side: THREE.DoubleSide,
    uniforms: {
      hide: { value: hide }, map: { value: map }, from: { value: fields[0] }, to: { value: fields[0] },
      part: { value: 1 }, grid: { value: new THREE.Vector2(columns, rows) },
      spacing: { value: data.spacing }, faint: { value: 500 / data.top },
    },
    vertexShader: "varying vec2 at; void main() { at = uv;" +
      " gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0); }",
    fragmentShader: document.getElementById("skin-shader").textContent,
  });
  scene.add(new THREE.Mesh(skinShape, skinLook));

  /* ---- the tree and the rims of its bars ---- */
  const treeShape = new THREE.BufferGeometry();
  treeShape.setAttribute("position", new THREE.BufferAttribute(floats(data.tree.points), 3));
  treeShape.setIndex(new THREE.BufferAttribute(indices(data.tree.triangles), 1));
  treeShape.computeVertexNormals();
  const treeLook = new THREE.ShaderMaterial({
    transparent: true, depthWrite: false, side: THREE.FrontSide,
    vertexShader: "varying vec3 n; varying vec3 eye; void main() { vec4 p = modelViewMatrix * vec4(position, 1.0);" +
      " n = normalMatrix * normal; eye = -p.xyz; gl_Position = projectionMatrix * p; }",
    fragmentShader: "varying vec3 n; varying vec3 eye; void main() {" +
      " float rim = 1.0 - abs(dot(normalize(n), normalize(eye)));" +
      " gl_FragColor = vec4(0.15, 0.13, 0.12, 0.07 + 0.38 * rim * rim); }",
  });
  const tree = new THREE.Mesh(treeShape, treeLook);
  tree.matrixAutoUpdate = false;
  scene.add(tree);
  const rimLook = new THREE.LineBasicMaterial({ color: 0x26221e });
  const rims = new THREE.Group();
  scene.add(rims);

  /* ---- labels: plain HTML laid over the picture, so that they stay sharp and are read aloud ---- */
  const layer = document.getElementById("labels");
  const ray = new THREE.Raycaster();
  let labels = [];
  function label(words, at, kind) {
    const element = document.createElement("span");
    element.className = "label " + kind;
    element.textContent = words;
    layer.append(element);
    labels.push({ element, at: new THREE.Vector3(...at), kind });
  }
  function relabel() {
    layer.textContent = "";
    labels = [];
    const one = data.cases[chosen];
    one.spots.forEach((spot) => label(String(spot.number), spot.at, "spot"));
    one.lifts.forEach((lift) => label(lift.words, lift.at, "lift"));
    const mid = (columns - 1) / 2;
    let front = rows - 1;
    while (front > 0 && skinPoints[3 * (front * columns + mid) + 2] === 0 && skinPoints[3 * (front * columns + mid)] === 0) front--;
    label("head", [...skinPoints.subarray(3 * (front * columns + mid), 3 * (front * columns + mid) + 3)], "head");
    data.zones.forEach((zone) => label(zone.words, zone.at, "zone"));
  }

  /* Whether the skin hides a place. A ray is cast only when the view comes to rest, so that
     turning stays smooth. */
  const skinMesh = scene.children[0];
  function hidden(at) {
    const way = at.clone().sub(camera.position);
    const far = way.length();
    ray.set(camera.position, way.normalize());
    ray.far = far - 0.02;
    ray.near = 0.1;
    return ray.intersectObject(skinMesh, false).length > 0;
  }
  /* A label that would lie on one written before it gives way; spots and lifts are written first. */
  let written = [];
  function crowded(one, x, y) {
    if (one.behind) return false;
    const round = one.kind === "spot";
    const wide = round ? 24 : one.element.offsetWidth, left = round ? x - 12 : x + 6, top = y - 12;
    const over = !round && written.some((other) =>
      left < other.right && left + wide > other.left && top < other.top + 24 && top + 24 > other.top);
    if (!over) written.push({ left, right: left + wide, top });
    return over;
  }
  const spotOnPage = new THREE.Vector3();
  function placeLabels(settled) {
    const wide = box.clientWidth, high = box.clientHeight;
    if (settled) written = [];
    for (const one of labels) {
      spotOnPage.copy(one.at).project(camera);
      const x = (spotOnPage.x + 1) / 2 * wide, y = (1 - spotOnPage.y) / 2 * high;
      const off = x < 8 || y < 8 || x > wide - 8 || y > high - 8;
      if (settled) one.behind = one.kind !== "lift" && one.kind !== "head" && hidden(one.at);
      one.element.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)`;
      one.element.classList.toggle("off", off || Boolean(one.behind) || (settled && crowded(one, x, y)));
    }
  }

  /* ---- moving from case to case ---- */
  const pose = { from: new THREE.Matrix4(), to: new THREE.Matrix4(), start: 0, running: false };
  const parts = (matrix) => {
    const p = new THREE.Vector3(), q = new THREE.Quaternion(), s = new THREE.Vector3();
    matrix.decompose(p, q, s);
    return { p, q, s };
  };
  function showCase() {
    const one = data.cases[chosen];
    skinLook.uniforms.from.value = skinLook.uniforms.to.value;
    skinLook.uniforms.to.value = fields[chosen];
    pose.from.copy(tree.matrix);
    pose.to.fromArray(one.pose);
    rims.clear();
    one.rims.forEach((text) => {
      const shape = new THREE.BufferGeometry();
      shape.setAttribute("position", new THREE.BufferAttribute(floats(text), 3));
      rims.add(new THREE.Line(shape, rimLook));
    });
    box.classList.toggle("lost", !one.held);
    relabel();
    pose.start = performance.now();
    pose.running = !still;
    if (still) settle(1); else requestAnimationFrame(step);
    if (still) draw();
  }
  function settle(part) {
    const ease = part * part * (3 - 2 * part);
    const a = parts(pose.from), b = parts(pose.to);
    tree.matrix.compose(a.p.lerp(b.p, ease), a.q.slerp(b.q, ease), a.s.lerp(b.s, ease));
    tree.matrixWorldNeedsUpdate = true;
    rims.visible = ease > 0.98 && tree.visible;
    skinLook.uniforms.part.value = ease;
  }
  function step(now) {
    const part = Math.min((now - pose.start) / 420, 1);
    settle(part);
    draw();
    if (part < 1) requestAnimationFrame(step);
  }

  /* ---- looking around ---- */
  const middle = new THREE.Vector3(), near = new THREE.Vector3(), reach = new THREE.Vector3();
  function measureRoom() {
    let low = [9, 9, 9], high = [-9, -9, -9];
    data.cases.forEach((one) => one.rims.forEach((text) => {
      const rim = floats(text);
      for (let k = 0; k < rim.length; k++) { low[k % 3] = Math.min(low[k % 3], rim[k]); high[k % 3] = Math.max(high[k % 3], rim[k]); }
    }));
    near.fromArray(low); reach.fromArray(high);
    middle.copy(near).add(reach).multiplyScalar(0.5);
    middle.z -= 0.02;
    reach.sub(near);
  }
  measureRoom();
  const controls = new THREE.OrbitControls(camera, renderer.domElement);
  controls.enablePan = false;
  controls.enableDamping = false;
  controls.rotateSpeed = 0.7;
  controls.minDistance = 0.9;
  controls.maxDistance = 5;
  controls.maxPolarAngle = 1.9;
  controls.zoomSpeed = 0.6;
  controls.target.copy(middle);
  const looks = { above: [0.0001, 0, 1], left: [0, 1, 0.12], right: [0, -1, 0.12], quarter: [0.62, 0.62, 0.6] };
  function look(name) {
    const way = new THREE.Vector3(...looks[name]).normalize();
    const aspect = box.clientWidth / box.clientHeight;
    const span = (reach.x + 0.42) / (name === "above" ? 1 : Math.min(aspect, 1.25));
    const wideSpan = name === "above" ? Math.max(span, (reach.y + 0.3) / aspect) : span;
    camera.position.copy(middle).addScaledVector(way, wideSpan / 2 / Math.tan(12 * Math.PI / 180));
    if (name === "above") camera.position.x -= 0.002;
    controls.target.copy(middle);
    controls.update();
    draw();
  }
  document.querySelectorAll("[data-look]").forEach((button) =>
    button.addEventListener("click", () => look(button.dataset.look)));
  const treeButton = document.getElementById("show-tree");
  treeButton.addEventListener("click", () => {
    tree.visible = !tree.visible;
    rims.visible = tree.visible;
    treeButton.setAttribute("aria-pressed", String(tree.visible));
    draw();
  });
  box.addEventListener("keydown", (event) => {
    const turn = { ArrowLeft: [-0.12, 0], ArrowRight: [0.12, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1] }[event.key];
    const zoom = { "+": 0.9, "=": 0.9, "-": 1.1 }[event.key];
    if (turn) {
      const away = camera.position.clone().sub(controls.target);
      const r = away.length();
      let polar = Math.acos(away.z / r) + turn[1], around = Math.atan2(away.y, away.x) + turn[0];
      polar = Math.min(Math.max(polar, 0.02), 1.9);
      camera.position.set(r * Math.sin(polar) * Math.cos(around), r * Math.sin(polar) * Math.sin(around), r * Math.cos(polar)).add(controls.target);
      controls.update();
      draw();
    } else if (zoom) {
      camera.position.sub(controls.target).multiplyScalar(zoom).add(controls.target);
      controls.update();
      draw();
    } else if (/^[1-9]$/.test(event.key) && Number(event.key) <= data.cases.length) {
      choose(Number(event.key) - 1);
    } else { return; }
    event.preventDefault();
  });

  /* ---- the pressure under the pointer ---- */
  const tip = document.getElementById("readout");
  const halfToNumber = (h) => {
    const e = (h >> 10) & 31, f = h & 1023, s = h & 32768 ? -1 : 1;
    return s * (e === 0 ? f * 2 ** -24 : e === 31 ? Infinity : (1 + f / 1024) * 2 ** (e - 15));
  };
  const raw = data.cases.map((one) => halves(one.field));
  function bspline(index, u, v, channel) {
    const weigh = (t) => [(1 - t) ** 3 / 6, (3 * t ** 3 - 6 * t ** 2 + 4) / 6, (-3 * t ** 3 + 3 * t ** 2 + 3 * t + 1) / 6, t ** 3 / 6];
    const x = u * (columns - 1), y = v * (rows - 1), i = Math.floor(x), j = Math.floor(y);
    const a = weigh(x - i), b = weigh(y - j);
    let sum = 0;
    for (let q = 0; q < 4; q++) for (let p = 0; p < 4; p++) {
      const c = Math.min(Math.max(i + p - 1, 0), columns - 1), r = Math.min(Math.max(j + q - 1, 0), rows - 1);
      sum += a[p] * b[q] * halfToNumber(raw[index][2 * (r * columns + c) + channel]);
    }
    return sum;
  }
  let asked = false;
  renderer.domElement.addEventListener("pointermove", (event) => {
    if (asked || event.buttons) { tip.hidden = Boolean(event.buttons) || tip.hidden; return; }
    asked = true;
    requestAnimationFrame(() => {
      asked = false;
      const frame = renderer.domElement.getBoundingClientRect();
      const x = event.clientX - frame.left, y = event.clientY - frame.top;
      ray.near = 0; ray.far = Infinity;
      ray.setFromCamera(new THREE.Vector2(x / frame.width * 2 - 1, 1 - y / frame.height * 2), camera);
      const hit = ray.intersectObject(skinMesh, false)[0];
      const one = data.cases[chosen];
      if (!hit || !one.held) { tip.hidden = true; return; }
      const pascals = bspline(chosen, hit.uv.x, hit.uv.y, 0) * data.top;
      tip.hidden = pascals < 500;
      tip.textContent = "about " + (pascals * data.perPascal).toFixed(data.decimals) + " " + data.unit;
      tip.style.transform = `translate(${(x + 14).toFixed(0)}px, ${(y - 12).toFixed(0)}px)`;
    });
  });
  renderer.domElement.addEventListener("pointerleave", () => { tip.hidden = true; });

  /* ---- drawing: only when something changed ---- */
  let resting = 0;
  function draw() {
    renderer.render(scene, camera);
    placeLabels(false);
    clearTimeout(resting);
    resting = setTimeout(() => placeLabels(true), 90);
  }
  controls.addEventListener("change", draw);
  function resize() {
    const wide = box.clientWidth, high = box.clientHeight;
    if (!wide || !high) return;
    renderer.setSize(wide, high, false);
    camera.aspect = wide / high;
    camera.updateProjectionMatrix();
    draw();
  }
  new ResizeObserver(resize).observe(box);
  resize();
  onChoose = showCase;
  tree.matrix.fromArray(data.cases[Math.max(first, 0)].pose);
  look("quarter");
  choose(Math.max(first, 0));
  box.dataset.ready = "yes";
})();
