/* One back in three dimensions: its skin, a pressure field looked up and coloured per dot, the tree
   over it, and labels. Colours are the scale's own: nothing is lit, so that a colour always means
   one pressure. The report and the app both look through it. */
"use strict";

const unpacked = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
const floats = (text) => new Float32Array(unpacked(text).buffer);
const halves = (text) => new Uint16Array(unpacked(text).buffer);
const indices = (text) => new Uint32Array(unpacked(text).buffer);
const LOOKS = { above: [0.0001, 0, 1], left: [0, 1, 0.12], right: [0, -1, 0.12], quarter: [0.62, 0.62, 0.6] };

class BackView {
  /* box: the element it fills, with children for labels and the readout; data: see report/scene.py.
     Throws where the browser has no 3-D. */
  constructor(box, data, shader, parts) {
    this.box = box;
    this.data = data;
    this.layer = parts.labels;
    this.tip = parts.readout;
    this.labels = [];
    this.written = [];
    this.room = parts.room ?? 0.42; // m left around the bars
    this.onMove = () => {};
    this.renderer = new THREE.WebGLRenderer({ antialias: true, powerPreference: "low-power", preserveDrawingBuffer: true });
    this.renderer.outputColorSpace = THREE.LinearSRGBColorSpace;
    THREE.ColorManagement.enabled = false;
    this.renderer.setPixelRatio(Math.min(devicePixelRatio || 1, 2));
    this.renderer.setClearColor(0xf1ede6);
    box.prepend(this.renderer.domElement);
    this.renderer.domElement.setAttribute("aria-hidden", "true");
    this.scene = new THREE.Scene();
    this.camera = new THREE.PerspectiveCamera(24, 1, 0.1, 20);
    this.camera.up.set(0, 0, 1);
    this.ray = new THREE.Raycaster();
    this.addSkin(shader);
    this.addTree();
    this.addControls();
    this.onPage = new THREE.Vector3();
    new ResizeObserver(() => this.resize()).observe(box);
  }

  /* ---- the skin ---- */
  addSkin(shader) {
    const data = this.data, rows = data.rows, columns = data.columns;
    this.standing = floats(data.points);
    this.points = this.standing.slice();
    const shape = new THREE.BufferGeometry();
    shape.setAttribute("position", new THREE.BufferAttribute(this.points, 3));
    const uv = new Float32Array(rows * columns * 2);
    for (let i = 0, k = 0; i < rows; i++) {
      for (let j = 0; j < columns; j++) { uv[k++] = j / (columns - 1); uv[k++] = i / (rows - 1); }
    }
    shape.setAttribute("uv", new THREE.BufferAttribute(uv, 2));
    shape.setIndex(new THREE.BufferAttribute(indices(data.triangles), 1));
    const mapBytes = unpacked(data.map), rgba = new Uint8Array(256 * 4);
    for (let k = 0; k < 256; k++) { rgba.set(mapBytes.subarray(3 * k, 3 * k + 3), 4 * k); rgba[4 * k + 3] = 255; }
    const map = new THREE.DataTexture(rgba, 256, 1, THREE.RGBAFormat, THREE.UnsignedByteType);
    map.magFilter = map.minFilter = THREE.LinearFilter;
    map.needsUpdate = true;
    const hide = new THREE.Texture(), picture = new Image();
    picture.onload = () => { hide.image = picture; hide.needsUpdate = true; this.draw(); };
    picture.src = data.hide;
    hide.generateMipmaps = true;
    hide.minFilter = THREE.LinearMipmapLinearFilter;
    hide.anisotropy = Math.min(8, this.renderer.capabilities.getMaxAnisotropy());
    const empty = this.field(null), filled = new Uint8Array(4 * rows * columns);
    if (data.holes) unpacked(data.holes).forEach((one, k) => { filled[4 * k] = 255 * one; });
    const holes = new THREE.DataTexture(filled, columns, rows, THREE.RGBAFormat, THREE.UnsignedByteType);
    holes.magFilter = holes.minFilter = THREE.LinearFilter;
    holes.needsUpdate = true;
    this.skinLook = new THREE.ShaderMaterial({
      side: THREE.DoubleSide,
      polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 4, // lines on the skin stay whole
      uniforms: {
        hide: { value: hide }, holes: { value: holes }, map: { value: map }, from: { value: empty }, to: { value: empty },
        part: { value: 1 }, apart: { value: 0 }, grid: { value: new THREE.Vector2(columns, rows) },
        spacing: { value: data.spacing }, faint: { value: 500 / data.top },
      },
      vertexShader: "varying vec2 at; void main() { at = uv;" +
        " gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0); }",
      fragmentShader: shader,
    });
    this.skin = new THREE.Mesh(shape, this.skinLook);
    this.scene.add(this.skin);
  }
  /* Pressure and daylight on the nodes, as the shader reads them; none pressed where null. */
  field(text) {
    const { rows, columns } = this.data;
    const values = text === null ? new Uint16Array(2 * rows * columns) : halves(text);
    const texture = new THREE.DataTexture(values, columns, rows, THREE.RGFormat, THREE.HalfFloatType);
    texture.needsUpdate = true;
    return texture;
  }
  /* Where the skin is now; where it stood, if null. */
  carry(text) {
    this.points.set(text === null ? this.standing : floats(text));
    this.skin.geometry.attributes.position.needsUpdate = true;
    this.skin.geometry.boundingSphere = null;
  }

  /* ---- the tree and the rims of its bars ---- */
  addTree() {
    this.treeLook = new THREE.ShaderMaterial({
      transparent: true, depthWrite: false, side: THREE.FrontSide,
      vertexShader: "varying vec3 n; varying vec3 eye; void main() { vec4 p = modelViewMatrix * vec4(position, 1.0);" +
        " n = normalMatrix * normal; eye = -p.xyz; gl_Position = projectionMatrix * p; }",
      fragmentShader: "varying vec3 n; varying vec3 eye; void main() {" +
        " float rim = 1.0 - abs(dot(normalize(n), normalize(eye)));" +
        " gl_FragColor = vec4(0.15, 0.13, 0.12, 0.07 + 0.38 * rim * rim); }",
    });
    this.tree = new THREE.Mesh(new THREE.BufferGeometry(), this.treeLook);
    this.tree.matrixAutoUpdate = false;
    this.scene.add(this.tree);
    this.rimLook = new THREE.LineBasicMaterial({ color: 0x26221e });
    this.rims = new THREE.Group();
    this.lines = new THREE.Group();
    this.scene.add(this.rims, this.lines);
  }
  setTree(body) {
    const shape = new THREE.BufferGeometry();
    shape.setAttribute("position", new THREE.BufferAttribute(floats(body.points), 3));
    /* A tree reshaped keeps its triangles: they are read once. */
    if (this.triangles !== body.triangles) { this.triangles = body.triangles; this.faces = indices(body.triangles); }
    shape.setIndex(new THREE.BufferAttribute(this.faces, 1));
    shape.computeVertexNormals();
    this.tree.geometry.dispose();
    this.tree.geometry = shape;
  }
  setRims(rims) {
    this.rims.children.forEach((line) => line.geometry.dispose());
    this.rims.clear();
    rims.forEach((text) => {
      const shape = new THREE.BufferGeometry();
      shape.setAttribute("position", new THREE.BufferAttribute(floats(text), 3));
      this.rims.add(new THREE.Line(shape, this.rimLook));
    });
  }
  /* Lines on or over the skin, each {points: floats, colour}: a cut, a hand, another tree's rims. What
     is over all else is seen through the skin too. */
  setLines(lines) {
    this.lines.children.forEach((line) => { line.geometry.dispose(); line.material.dispose(); });
    this.lines.clear();
    lines.forEach(({ points, colour, over }) => {
      const shape = new THREE.BufferGeometry();
      shape.setAttribute("position", new THREE.BufferAttribute(points, 3));
      this.lines.add(new THREE.Line(shape, new THREE.LineBasicMaterial({ color: colour, depthTest: !over })));
    });
  }
  showTree(shown) {
    this.tree.visible = this.rims.visible = shown;
    this.draw();
  }
  setPose(pose) {
    this.tree.matrix.fromArray(pose);
    this.tree.matrixWorldNeedsUpdate = true;
  }

  /* ---- labels: plain HTML laid over the picture, so that they stay sharp and are read aloud ---- */
  label(words, at, kind) {
    const element = document.createElement("span");
    element.className = "label " + kind;
    element.textContent = words;
    this.layer.append(element);
    this.labels.push({ element, at: new THREE.Vector3(...at), kind });
  }
  relabel(one, picks = []) {
    this.layer.textContent = "";
    this.labels = [];
    picks.forEach((pick) => this.label(pick.words, pick.at, "lift"));
    one.spots.forEach((spot) => this.label(String(spot.number), spot.at, "spot"));
    one.lifts.forEach((lift) => this.label(lift.words, lift.at, "lift"));
    const { rows, columns, zones } = this.data, mid = (columns - 1) / 2, p = this.standing;
    let front = rows - 1;
    while (front > 0 && p[3 * (front * columns + mid) + 2] === 0 && p[3 * (front * columns + mid)] === 0) front--;
    this.label("head", [...p.subarray(3 * (front * columns + mid), 3 * (front * columns + mid) + 3)], "head");
    zones.forEach((zone) => this.label(zone.words, zone.at, "zone"));
  }
  /* Whether the skin hides a place. A ray is cast only when the view comes to rest, so that
     turning stays smooth. */
  hidden(at) {
    const way = at.clone().sub(this.camera.position), far = way.length();
    this.ray.set(this.camera.position, way.normalize());
    this.ray.far = far - 0.02;
    this.ray.near = 0.1;
    return this.ray.intersectObject(this.skin, false).length > 0;
  }
  /* A label that would lie on one written before it gives way; spots and lifts are written first. */
  crowded(one, x, y) {
    if (one.behind) return false;
    const round = one.kind === "spot";
    const wide = round ? 24 : one.element.offsetWidth, left = round ? x - 12 : x + 6, top = y - 12;
    const over = !round && this.written.some((other) =>
      left < other.right && left + wide > other.left && top < other.top + 24 && top + 24 > other.top);
    if (!over) this.written.push({ left, right: left + wide, top });
    return over;
  }
  placeLabels(settled) {
    const wide = this.box.clientWidth, high = this.box.clientHeight;
    if (settled) this.written = [];
    for (const one of this.labels) {
      this.onPage.copy(one.at).project(this.camera);
      const x = (this.onPage.x + 1) / 2 * wide, y = (1 - this.onPage.y) / 2 * high;
      const off = x < 8 || y < 8 || x > wide - 8 || y > high - 8;
      if (settled) one.behind = one.kind !== "lift" && one.kind !== "head" && this.hidden(one.at);
      one.element.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)`;
      one.element.classList.toggle("off", off || Boolean(one.behind) || (settled && this.crowded(one, x, y)));
    }
  }

  /* ---- looking around ---- */
  addControls() {
    const controls = new THREE.OrbitControls(this.camera, this.renderer.domElement);
    Object.assign(controls, {
      enablePan: false, enableDamping: false, rotateSpeed: 0.7, zoomSpeed: 0.6,
      minDistance: 0.9, maxDistance: 5, maxPolarAngle: 1.9,
    });
    controls.addEventListener("change", () => { this.draw(); this.onMove(this); });
    this.controls = controls;
    this.middle = new THREE.Vector3();
    this.reach = new THREE.Vector3(0.6, 0.4, 0.3);
    this.box.addEventListener("keydown", (event) => {
      if (this.turnedBy(event.key)) event.preventDefault();
    });
  }
  /* The room that the bars take up, which every look is aimed at. */
  aim(rims) {
    const low = [9, 9, 9], high = [-9, -9, -9];
    rims.forEach((text) => {
      const rim = floats(text);
      for (let k = 0; k < rim.length; k++) { low[k % 3] = Math.min(low[k % 3], rim[k]); high[k % 3] = Math.max(high[k % 3], rim[k]); }
    });
    const near = new THREE.Vector3().fromArray(low);
    this.reach.fromArray(high);
    this.middle.copy(near).add(this.reach).multiplyScalar(0.5);
    this.middle.z -= 0.02;
    this.reach.sub(near);
    this.controls.target.copy(this.middle);
  }
  look(name) {
    const way = new THREE.Vector3(...LOOKS[name]).normalize();
    const aspect = this.box.clientWidth / this.box.clientHeight;
    const span = (this.reach.x + this.room) / (name === "above" ? 1 : Math.min(aspect, 1.25));
    const wideSpan = name === "above" ? Math.max(span, (this.reach.y + 0.7 * this.room) / aspect) : span;
    this.camera.position.copy(this.middle).addScaledVector(way, wideSpan / 2 / Math.tan(12 * Math.PI / 180));
    if (name === "above") this.camera.position.x -= 0.002;
    this.controls.target.copy(this.middle);
    this.controls.update();
    this.draw();
  }
  /* Look from where another view looks. */
  follow(other) {
    this.camera.position.copy(other.camera.position);
    this.controls.target.copy(other.controls.target);
    this.camera.lookAt(this.controls.target);
    this.draw();
  }
  turnedBy(key) {
    const turn = { ArrowLeft: [-0.12, 0], ArrowRight: [0.12, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1] }[key];
    const zoom = { "+": 0.9, "=": 0.9, "-": 1.1 }[key];
    const { camera, controls } = this;
    if (turn) {
      const away = camera.position.clone().sub(controls.target), r = away.length();
      let polar = Math.acos(away.z / r) + turn[1], around = Math.atan2(away.y, away.x) + turn[0];
      polar = Math.min(Math.max(polar, 0.02), 1.9);
      camera.position.set(r * Math.sin(polar) * Math.cos(around), r * Math.sin(polar) * Math.sin(around), r * Math.cos(polar)).add(controls.target);
    } else if (zoom) {
      camera.position.sub(controls.target).multiplyScalar(zoom).add(controls.target);
    } else { return false; }
    controls.update();
    this.draw();
    return true;
  }

  /* ---- the place and the pressure under the pointer ---- */
  under(event) {
    const frame = this.renderer.domElement.getBoundingClientRect();
    const x = event.clientX - frame.left, y = event.clientY - frame.top;
    this.ray.near = 0;
    this.ray.far = Infinity;
    this.ray.setFromCamera(new THREE.Vector2(x / frame.width * 2 - 1, 1 - y / frame.height * 2), this.camera);
    return { x, y, hit: this.ray.intersectObject(this.skin, false)[0] };
  }
  /* current(): what is shown, or null while there is no result; words(shown, place): what is said of
     a place of it, or nothing. */
  readOut(current, words = (values, at) => this.pressureWords(this.splined(values, at.x, at.y))) {
    let asked = false;
    const canvas = this.renderer.domElement, { tip } = this;
    canvas.addEventListener("pointermove", (event) => {
      if (asked || event.buttons) { tip.hidden = Boolean(event.buttons) || tip.hidden; return; }
      asked = true;
      requestAnimationFrame(() => {
        asked = false;
        const { x, y, hit } = this.under(event), shown = current();
        tip.textContent = hit && shown !== null ? words(shown, hit.uv) : "";
        tip.hidden = !tip.textContent;
        tip.style.transform = `translate(${(x + 14).toFixed(0)}px, ${(y - 12).toFixed(0)}px)`;
      });
    });
    canvas.addEventListener("pointerleave", () => { tip.hidden = true; });
  }
  pressureWords(share) {
    const { data } = this, pascals = share * data.top;
    return pascals < 500 ? "" : "about " + (pascals * data.perPascal).toFixed(data.decimals) + " " + data.unit;
  }
  splined(values, u, v) {
    const { rows, columns } = this.data;
    const number = (h) => {
      const e = (h >> 10) & 31, f = h & 1023, s = h & 32768 ? -1 : 1;
      return s * (e === 0 ? f * 2 ** -24 : e === 31 ? Infinity : (1 + f / 1024) * 2 ** (e - 15));
    };
    const weigh = (t) => [(1 - t) ** 3 / 6, (3 * t ** 3 - 6 * t ** 2 + 4) / 6, (-3 * t ** 3 + 3 * t ** 2 + 3 * t + 1) / 6, t ** 3 / 6];
    const x = u * (columns - 1), y = v * (rows - 1), i = Math.floor(x), j = Math.floor(y);
    const a = weigh(x - i), b = weigh(y - j);
    let sum = 0;
    for (let q = 0; q < 4; q++) for (let p = 0; p < 4; p++) {
      const c = Math.min(Math.max(i + p - 1, 0), columns - 1), r = Math.min(Math.max(j + q - 1, 0), rows - 1);
      sum += a[p] * b[q] * number(values[2 * (r * columns + c)]);
    }
    return sum;
  }

  /* ---- drawing: only when something changed ---- */
  draw() {
    if (!this.box.clientWidth) return;
    this.renderer.render(this.scene, this.camera);
    this.placeLabels(false);
    clearTimeout(this.resting);
    this.resting = setTimeout(() => this.placeLabels(true), 90);
  }
  resize() {
    const wide = this.box.clientWidth, high = this.box.clientHeight;
    if (!wide || !high) return;
    this.renderer.setSize(wide, high, false);
    // What was in sight stays in sight where the frame gets narrower
    const narrower = Math.min(this.camera.aspect, 1.25) / Math.min(wide / high, 1.25);
    this.camera.position.sub(this.controls.target).multiplyScalar(narrower).add(this.controls.target);
    this.camera.aspect = wide / high;
    this.camera.updateProjectionMatrix();
    this.draw();
  }
}
