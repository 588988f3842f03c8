// The tank in 3D. Shapes and light come as blobs (see app/blobs.py). Light is kept source by source, so dimming,
// error, contours and sections are worked out here, without asking the server.
import { OrbitControls, THREE } from "nicegui-scene";

const CLEAR = { shell: 0.16, lid: 0.2, water: 0.22 };
const LIT = `
  uniform sampler2D palette; uniform vec2 scale; uniform float step_; uniform vec3 covered;
  vec4 colour(float value) {
    if (value < -0.5) return vec4(covered, 1.0);
    float t = clamp((value - scale.x) / max(scale.y - scale.x, 1e-6), 0.0, 1.0);
    vec3 c = texture(palette, vec2((t * 255.0 + 0.5) / 256.0, 0.5)).rgb;
    return vec4(c, 1.0);
  }
  vec4 contoured(float value) {
    vec4 c = colour(value);
    if (step_ > 0.0 && value > -0.5) {
      float lines = value / step_;
      float width = fwidth(lines);
      float near = abs(fract(lines - 0.5) - 0.5) / max(width, 1e-6);
      if (width < 0.5) c.rgb = mix(vec3(1.0) - step(0.6, dot(c.rgb, vec3(.3, .6, .1))), c.rgb, smoothstep(0.6, 1.4, near));
    }
    return c;
  }`;

async function fetchBlob(address) {
  const answer = await fetch(address).catch(() => null);
  if (!answer?.ok) return null; // the server is away, or has something newer and says so next
  const buffer = await answer.arrayBuffer();
  const length = new DataView(buffer).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const start = 4 + length;
  const array = ([offset, count]) => new Float32Array(buffer, start + offset, count);
  return { header, array };
}

export default {
  template: `
    <div class="tank-view" style="position:relative">
      <canvas tabindex="0" role="img" :aria-label="label" style="width:100%;height:100%;display:block;outline-offset:-3px"></canvas>
      <svg ref="column" class="tank-column" viewBox="0 0 150 210" role="img" :aria-label="columnLabel" style="display:none"></svg>
      <p ref="words" class="tank-words" role="status" style="display:none"></p>
      <div ref="tip" role="status" aria-live="off" class="tank-tip" style="position:absolute;pointer-events:none;display:none"></div>
    </div>`,
  data: () => ({ label: "The tank in 3D. The arrow keys turn it, plus and minus zoom in and out.", columnLabel: "PPFD by height" }),

  mounted() {
    const canvas = (this.canvas = this.$el.querySelector("canvas"));
    this.renderer = this.makeRenderer(canvas);
    THREE.ColorManagement.enabled = false;
    this.scene3d = new THREE.Scene();
    this.camera = new THREE.PerspectiveCamera(28, 1, 0.01, 50);
    this.camera.up.set(0, 0, 1);
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.maxPolarAngle = Math.PI * 0.62; // never from right below: a tank stands on something
    this.controls.enableDamping = false;
    this.controls.addEventListener("change", () => this.redraw());
    this.scene3d.add(new THREE.HemisphereLight(0xffffff, 0x8a8f92, 2.2));
    const sun = new THREE.DirectionalLight(0xffffff, 0.9);
    sun.position.set(-1, -2, 3);
    this.scene3d.add(sun);
    this.groups = {};
    this.options = { lid: true, glass: true, water: true, plants: true, contours: 0, scale: null, plane: null };
    this.sources = [];
    this.said = {}; // level of each source by the scene
    this.held = {}; // and of those that a hand on a dimmer moves just now
    this.lights = null;
    this.uniforms = {
      palette: { value: null }, scale: { value: new THREE.Vector2(0, 100) }, step_: { value: 0 },
      covered: { value: new THREE.Color(0.85, 0.84, 0.82) },
    };
    this.resize = new ResizeObserver(() => this.fit());
    this.resize.observe(this.$el);
    canvas.addEventListener("pointermove", (e) => this.pointerMoved(e));
    canvas.addEventListener("pointerleave", () => this.hideTip());
    canvas.addEventListener("pointerdown", (e) => this.pointerDown(e));
    canvas.addEventListener("pointerup", (e) => this.pointerUp(e));
    canvas.addEventListener("keydown", (e) => this.key(e));
    canvas.addEventListener("webglcontextlost", () => this.say("The picture was lost because the browser reset its graphics. It comes back by itself. All numbers stay valid."));
    canvas.addEventListener("webglcontextrestored", () => {
      this.say("");
      this.redraw();
    });
    this.fit();
    this.$el.tankView = this; // for tests and for measuring
  },

  unmounted() {
    this.resize.disconnect();
    this.controls.dispose();
    this.renderer?.dispose();
  },

  methods: {
    // -- drawing ---------------------------------------------------------------------------------------------
    makeRenderer(canvas) {
      try {
        const renderer = new THREE.WebGLRenderer({ canvas, antialias: true, alpha: true });
        renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
        renderer.outputColorSpace = THREE.LinearSRGBColorSpace;
        return renderer;
      } catch {
        this.say("No picture: this browser cannot draw 3D (WebGL is missing or turned off). All numbers on the page stay valid.");
        return null;
      }
    },
    say(words) {
      this.$refs.words.textContent = words;
      this.$refs.words.style.display = words ? "block" : "none";
    },
    redraw() {
      if (this.pending || !this.renderer) return;
      this.pending = requestAnimationFrame(() => {
        this.pending = null;
        this.renderer.render(this.scene3d, this.camera);
      });
    },
    fit() {
      const { clientWidth: w, clientHeight: h } = this.$el;
      if (!w || !h) return;
      this.renderer?.setSize(w, h, false);
      this.camera.aspect = w / h;
      this.camera.updateProjectionMatrix();
      if (this.bounds) this.aim(false);
      this.redraw();
    },
    aim(turn) {
      // as near as shows every corner of the tank
      const { min, max } = this.bounds;
      const centre = this.bounds.getCenter(new THREE.Vector3());
      const sight = turn ? new THREE.Vector3(0.42, -1, 0.42).normalize() : this.camera.position.clone().sub(this.controls.target).normalize();
      const right = new THREE.Vector3().crossVectors(this.camera.up, sight).normalize();
      const up = new THREE.Vector3().crossVectors(sight, right);
      const high = Math.tan((this.camera.fov * Math.PI) / 360) * 0.94;
      const wide = high * this.camera.aspect;
      let away = 0;
      for (const x of [min.x, max.x]) for (const y of [min.y, max.y]) for (const z of [min.z, max.z]) {
        const corner = new THREE.Vector3(x, y, z).sub(centre);
        away = Math.max(away, corner.dot(sight) + Math.max(Math.abs(corner.dot(right)) / wide, Math.abs(corner.dot(up)) / high));
      }
      const radius = this.bounds.getSize(new THREE.Vector3()).length() / 2;
      this.controls.target.copy(centre);
      this.camera.position.copy(centre).addScaledVector(sight, away);
      this.camera.near = radius / 50;
      this.camera.far = radius * 20;
      this.camera.updateProjectionMatrix();
      this.controls.update();
    },

    // -- shapes ----------------------------------------------------------------------------------------------
    shape(address, units) {
      return (this.shaped = this.fetchShape(address, units));
    },
    async fetchShape(address, units) {
      const wanted = (this.wantedShape = address);
      const blob = await fetchBlob(address);
      if (!blob || wanted !== this.wantedShape) return;
      const { header, array } = blob;
      const first = !this.header;
      for (const group of Object.values(this.groups)) this.drop(group);
      this.groups = {};
      this.header = header;
      this.units = units;
      this.sources = header.sources;
      this.lights = null;
      this.meshes = {};
      this.items = {};
      this.bounds = new THREE.Box3();
      const colours = new Uint8Array(256 * 4);
      header.palette.forEach((rgb, i) => colours.set([...rgb, 255], 4 * i));
      this.uniforms.palette.value = new THREE.DataTexture(colours, 256, 1);
      this.uniforms.palette.value.needsUpdate = true;
      for (const mesh of header.meshes) this.addMesh(mesh, array(mesh.corners));
      this.addZones();
      this.addSection();
      this.applyOptions();
      if (first) this.aim(true);
      this.redraw();
    },
    drop(object) {
      this.scene3d.remove(object);
      object.traverse((part) => {
        part.geometry?.dispose();
        part.material?.dispose?.();
      });
    },
    group(role) {
      if (!this.groups[role]) {
        this.groups[role] = new THREE.Group();
        this.scene3d.add(this.groups[role]);
      }
      return this.groups[role];
    },
    addMesh(said, corners) {
      const geometry = new THREE.BufferGeometry();
      geometry.setAttribute("position", new THREE.BufferAttribute(corners, 3));
      let material;
      if (said.role === "bed") material = this.litMaterial(this.bedUniforms(), "bed");
      else if (said.valued) {
        geometry.setAttribute("light", new THREE.BufferAttribute(new Float32Array(corners.length / 3).fill(-1), 1));
        material = this.litMaterial(this.uniforms, "faces");
      } else {
        geometry.computeVertexNormals();
        const opacity = CLEAR[said.role];
        material = new THREE.MeshLambertMaterial({
          color: said.colour, side: THREE.DoubleSide, transparent: opacity !== undefined, opacity: opacity ?? 1,
          depthWrite: opacity === undefined,
        });
        if (said.role === "shell" || said.role === "lid" || said.role === "water") this.addEdges(said, geometry);
      }
      const mesh = new THREE.Mesh(geometry, material);
      mesh.userData = { key: said.key, name: said.name, role: said.role, item: said.item, valued: said.valued };
      this.meshes[said.key] = mesh;
      if (said.item) (this.items[said.item] ??= []).push(mesh);
      this.group(said.role).add(mesh);
      geometry.computeBoundingBox();
      this.bounds.union(geometry.boundingBox);
    },
    addEdges(said, geometry) {
      const lines = new THREE.LineSegments(
        new THREE.EdgesGeometry(geometry, 30),
        new THREE.LineBasicMaterial({ color: said.role === "water" ? 0x5b93b5 : 0x6f9c90, transparent: true, opacity: 0.7 }),
      );
      this.group(said.role).add(lines);
    },
    litMaterial(uniforms, kind) {
      const bed = kind === "bed";
      return new THREE.ShaderMaterial({
        uniforms, side: THREE.DoubleSide, glslVersion: THREE.GLSL3,
        vertexShader: `
          ${bed ? "uniform vec4 grid; out vec2 at;" : kind === "section" ? "uniform vec3 low; uniform vec3 size; out vec3 at;" : "in float light; flat out float value_;"}
          void main() {
            ${bed ? "at = (position.xy - grid.xy) / grid.zw;" : kind === "section" ? "at = ((modelMatrix * vec4(position, 1.0)).xyz - low) / size;" : "value_ = light;"}
            gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
          }`,
        fragmentShader: `
          precision highp float; precision highp sampler3D;
          ${LIT}
          ${bed ? "uniform sampler2D light; in vec2 at;" : kind === "section" ? "uniform sampler3D light; in vec3 at;" : "flat in float value_;"}
          out vec4 shown;
          void main() {
            ${bed ? "shown = contoured(texture(light, at).r);" : kind === "section" ? "if (any(lessThan(at, vec3(0.0))) || any(greaterThan(at, vec3(1.0)))) discard; float v = texture(light, at).r; if (v < -0.5) discard; shown = contoured(v);" : "shown = colour(value_);"}
          }`,
      });
    },
    bedUniforms() {
      const grid = this.header.bed;
      const [nx, ny] = grid ? grid.shape : [1, 1];
      this.bedTexture = this.halfTexture(new THREE.DataTexture(new Uint16Array(nx * ny), nx, ny));
      const span = grid ? [grid.origin[0], grid.origin[1], grid.spacing[0] * nx, grid.spacing[1] * ny] : [0, 0, 1, 1];
      return { ...this.uniforms, light: { value: this.bedTexture }, grid: { value: new THREE.Vector4(...span) } };
    },
    halfTexture(texture) {
      texture.format = THREE.RedFormat;
      texture.type = THREE.HalfFloatType;
      texture.minFilter = texture.magFilter = THREE.LinearFilter;
      texture.unpackAlignment = 2;
      return texture;
    },
    addZones() {
      const group = this.group("zones");
      for (const outline of this.header.zones) {
        const points = outline.map(([x, y]) => new THREE.Vector3(x, y, this.bedHeight(x, y) + 0.002));
        const dense = [];
        points.forEach((p, i) => {
          const q = points[(i + 1) % points.length];
          for (let k = 0; k < 12; k++) {
            const r = p.clone().lerp(q, k / 12);
            r.z = this.bedHeight(r.x, r.y) + 0.002;
            dense.push(r);
          }
        });
        const line = new THREE.LineLoop(
          new THREE.BufferGeometry().setFromPoints(dense), new THREE.LineBasicMaterial({ color: 0xffffff, depthTest: false, transparent: true, opacity: 0.9 }),
        );
        line.renderOrder = 5;
        group.add(line);
      }
      for (const spot of this.header.spots) {
        const ball = new THREE.Mesh(new THREE.SphereGeometry(0.008, 16, 12), new THREE.MeshBasicMaterial({ color: 0xffffff }));
        const ring = new THREE.Mesh(new THREE.SphereGeometry(0.0095, 16, 12), new THREE.MeshBasicMaterial({ color: 0x22282c, side: THREE.BackSide }));
        ball.position.set(...spot.at);
        ring.position.set(...spot.at);
        group.add(ball, ring);
      }
    },
    bedHeight(x, y) {
      const bed = Object.values(this.meshes).find((m) => m.userData.role === "bed");
      if (!bed) return 0;
      const caster = new THREE.Raycaster(new THREE.Vector3(x, y, 5), new THREE.Vector3(0, 0, -1));
      return caster.intersectObject(bed)[0]?.point.z ?? 0;
    },

    // -- light -----------------------------------------------------------------------------------------------
    async light(address, shares) {
      const wanted = (this.wantedLight = address);
      this.said = shares; // what is said or slid while the light is on its way is newer, and holds
      const blob = await fetchBlob(address);
      await this.shaped; // light goes on shapes
      if (!blob || wanted !== this.wantedLight || !this.header) return;
      const { header, array } = blob;
      const field = (f) => ({ mean: array(f.mean), variance: array(f.variance) });
      this.lights = {
        scale: header.scale, sources: header.sources,
        meshes: Object.fromEntries(header.meshes.map((m) => [m.key, m.sources.map(field)])),
        bed: header.bed?.map(field), planes: header.planes?.map(field),
      };
      this.relight();
    },
    dimmers(atFull) {
      this.atFull = atFull;
    },
    slide(dimmer, share) {
      // a hand on a dimmer is answered here, and no light that comes meanwhile takes it back: only what the scene says, as `dim`
      const full = this.atFull?.[dimmer];
      if (!full) return;
      for (const [source, level] of Object.entries(full)) this.held[source] = level * share;
      this.relight();
    },
    dim(shares) {
      this.said = shares ?? this.said;
      this.held = {};
      this.relight();
    },
    relight() {
      if (!this.lights) return this.redraw();
      for (const [key, sources] of Object.entries(this.lights.meshes)) {
        const mesh = this.meshes[key];
        const attribute = mesh?.geometry.attributes.light;
        if (!attribute) continue;
        const values = this.summed(sources);
        if (attribute.count !== 3 * values.length) continue;
        for (let i = 0; i < values.length; i++) attribute.array.fill(values[i], 3 * i, 3 * i + 3);
        attribute.needsUpdate = true;
      }
      if (this.lights.bed && this.bedTexture) {
        this.bedValues = this.summed(this.lights.bed);
        this.fill(this.bedTexture, this.bedValues);
      }
      if (this.lights.planes && this.planesTexture) {
        this.planeValues = this.summed(this.lights.planes);
        this.fill(this.planesTexture, this.planeValues);
      }
      this.applyOptions();
    },
    share(i) {
      const source = this.lights.sources[i];
      return this.held[source] ?? this.said[source] ?? 1;
    },
    summed(sources) {
      const n = sources[0].mean.length;
      const total = new Float32Array(n);
      sources.forEach((source, s) => {
        const k = this.share(s);
        const mean = source.mean;
        for (let i = 0; i < n; i++) total[i] = mean[i] < 0 ? -1 : total[i] + k * mean[i];
      });
      return total;
    },
    errorAt(sources, i) {
      return Math.sqrt(sources.reduce((sum, source, s) => sum + this.share(s) ** 2 * source.variance[i], 0));
    },
    fill(texture, values) {
      const half = THREE.DataUtils.toHalfFloat;
      const data = texture.image.data;
      for (let i = 0; i < values.length; i++) data[i] = half(Math.min(values[i], 60000));
      texture.needsUpdate = true;
    },

    // -- what is shown ---------------------------------------------------------------------------------------
    show(options) {
      this.options = { ...this.options, ...options };
      this.applyOptions();
    },
    applyOptions() {
      const o = this.options;
      const set = (role, on) => this.groups[role] && (this.groups[role].visible = on);
      set("lid", o.lid);
      set("shell", o.glass);
      set("water", o.water);
      set("plants", o.plants);
      const range = o.scale ?? this.lights?.scale ?? [0, 100];
      this.uniforms.scale.value.set(...range);
      this.uniforms.step_.value = this.steady(o.contours) ? o.contours : 0;
      this.placeSection();
      this.redraw();
    },
    steady(step) {
      // lines of noise say nothing: they wait until the bed is known to a quarter of their step
      if (!(step > 0) || !this.lights?.bed || !this.bedValues) return false;
      const errors = [];
      for (let i = 0; i < this.bedValues.length; i += 7) if (this.bedValues[i] >= 0) errors.push(this.errorAt(this.lights.bed, i));
      errors.sort((a, b) => a - b);
      return errors.length > 0 && errors[errors.length >> 1] < step / 4;
    },
    addSection() {
      const grid = this.header.planes;
      if (!grid) return;
      const [nx, ny, nz] = grid.shape;
      this.planesTexture = this.halfTexture(new THREE.Data3DTexture(new Uint16Array(nx * ny * nz), nx, ny, nz));
      const low = new THREE.Vector3(grid.origin[0], grid.origin[1], grid.origin[2] - grid.spacing[2] / 2);
      const size = new THREE.Vector3(grid.spacing[0] * nx, grid.spacing[1] * ny, grid.spacing[2] * nz);
      this.sectionSpan = { low, size };
      const uniforms = { ...this.uniforms, light: { value: this.planesTexture }, low: { value: low }, size: { value: size } };
      this.section = new THREE.Mesh(new THREE.PlaneGeometry(1, 1), this.litMaterial(uniforms, "section"));
      this.section.userData = { role: "section" };
      this.group("section").add(this.section);
    },
    sectionNormal() {
      const plane = this.options.plane;
      return plane.kind === "level" ? new THREE.Vector3(0, 0, 1) : new THREE.Vector3(-Math.sin(plane.angle), Math.cos(plane.angle), 0);
    },
    dragSection(event) {
      // along the normal, by the nearest point of its line to the line of sight
      const d = this.dragged;
      const { origin, direction } = this.cast(event).ray;
      const across = d.normal.dot(direction);
      const wide = 1 - across * across;
      if (wide < 1e-4) return;
      const to = origin.clone().sub(d.from);
      const along = (d.normal.dot(to) - across * direction.dot(to)) / wide;
      const { size } = this.sectionSpan;
      const span = d.normal.z ? Math.min(size.z, this.header.water) : Math.abs(size.x * d.normal.x) + Math.abs(size.y * d.normal.y);
      this.options.plane = { ...this.options.plane, at: Math.min(Math.max(d.at + along / span, 0), 1) };
      this.placeSection();
      this.redraw();
    },
    placeSection() {
      if (!this.section) return;
      const plane = this.options.plane;
      this.section.visible = Boolean(plane && this.lights);
      if (!plane) return;
      const { low, size } = this.sectionSpan;
      const water = this.header.water;
      this.section.rotation.set(0, 0, 0);
      const middle = low.clone().addScaledVector(size, 0.5);
      const top = Math.min(low.z + size.z, water);
      if (plane.kind === "level") {
        this.section.position.set(middle.x, middle.y, low.z + 0.001 + plane.at * (top - low.z - 0.002));
        this.section.scale.set(size.x, size.y, 1);
      } else {
        // upright, turned about the vertical: its normal points to the back at 0, to the left at 90 degrees
        const normal = this.sectionNormal();
        const half = (Math.abs(size.x * normal.x) + Math.abs(size.y * normal.y)) / 2;
        const off = (2 * plane.at - 1) * half * 0.999;
        this.section.rotation.set(Math.PI / 2, 0, plane.angle, "ZYX");
        this.section.position.set(middle.x + off * normal.x, middle.y + off * normal.y, (low.z + top) / 2);
        this.section.scale.set(Math.hypot(size.x, size.y), top - low.z, 1);
      }
      this.section.updateMatrixWorld();
    },

    // -- pointing --------------------------------------------------------------------------------------------
    cast(event) {
      const box = this.canvas.getBoundingClientRect();
      const at = new THREE.Vector2(((event.clientX - box.left) / box.width) * 2 - 1, 1 - ((event.clientY - box.top) / box.height) * 2);
      const caster = new THREE.Raycaster();
      caster.setFromCamera(at, this.camera);
      return caster;
    },
    hit(event) {
      const targets = [];
      for (const [role, group] of Object.entries(this.groups)) {
        if (["shell", "lid", "water", "zones"].includes(role) || !group.visible) continue;
        targets.push(...group.children.filter((c) => c.isMesh && c.visible));
      }
      return this.cast(event).intersectObjects(targets, false)[0];
    },
    valueAt(hit) {
      const { role, key } = hit.object.userData;
      if (!this.lights) return null;
      const p = hit.point;
      const cell = (grid, deep) => {
        const [i, j] = [0, 1].map((a) => Math.floor((p.getComponent(a) - grid.origin[a]) / grid.spacing[a]));
        const k = deep ? Math.min(Math.max(Math.round((p.z - grid.origin[2]) / grid.spacing[2]), 0), grid.shape[2] - 1) : 0;
        if (i < 0 || j < 0 || i >= grid.shape[0] || j >= grid.shape[1]) return -1;
        return (k * grid.shape[1] + j) * grid.shape[0] + i;
      };
      let sources, values, i;
      if (role === "bed") [sources, values, i] = [this.lights.bed, this.bedValues, cell(this.header.bed)];
      else if (role === "section") [sources, values, i] = [this.lights.planes, this.planeValues, cell(this.header.planes, true)];
      else if (hit.object.userData.valued) {
        [sources, i] = [this.lights.meshes[key], hit.faceIndex];
        values = sources && { [i]: sources.reduce((sum, s, k) => sum + this.share(k) * s.mean[i], 0) };
      }
      if (!sources || i === undefined || i < 0 || !(values[i] >= 0)) return null;
      return { value: values[i], error: 1.96 * this.errorAt(sources, i) };
    },
    told({ value, error }) {
      // as report/numbers.py tells it, with limits_95 of results/estimate.py less its one packet more: the page knows no packets
      const number = (v) => (v >= 10 ? v.toFixed(0) : v.toFixed(1));
      if (value <= 0) return "no light counted here";
      if (error <= 0.2 * value) return `${number(value)} ± ${number(error)} µmol/m²/s`;
      const q = error ** 2 / (2 * value), width = Math.sqrt(q ** 2 + 2 * q * value);
      const low = number(Math.max(value + q - width, 0)), high = number(value + q + width);
      return `${error > 0.98 * value || Number(low) === 0 ? "< " : `${low}-`}${high} µmol/m²/s`;
    },
    drawColumn(p) {
      // PPFD against height over this place, with its simulation error, from the light planes
      const grid = this.header.planes;
      if (!grid || !this.lights?.planes || !this.planeValues) return;
      const [nx, ny, nz] = grid.shape;
      const i = Math.floor((p.x - grid.origin[0]) / grid.spacing[0]);
      const j = Math.floor((p.y - grid.origin[1]) / grid.spacing[1]);
      if (i < 0 || j < 0 || i >= nx || j >= ny) return;
      const rows = [];
      for (let k = 0; k < nz; k++) {
        const at = (k * ny + j) * nx + i;
        const height = grid.origin[2] + k * grid.spacing[2];
        if (this.planeValues[at] >= 0 && height <= this.header.water) rows.push([height, this.planeValues[at], 1.96 * this.errorAt(this.lights.planes, at)]);
      }
      const svg = this.$refs.column;
      svg.style.display = rows.length > 1 ? "block" : "none";
      if (rows.length < 2) return;
      const top = this.header.water;
      const most = Math.max(...rows.map((r) => r[1] + r[2]), 1);
      const x = (v) => 42 + (100 * Math.max(v, 0)) / most;
      const y = (h) => 178 - (150 * h) / top;
      const line = (f) => rows.map((r) => `${x(f(r)).toFixed(1)},${y(r[0]).toFixed(1)}`).join(" ");
      const band = `${line((r) => r[1] - r[2])} ${rows.slice().reverse().map((r) => `${x(r[1] + r[2]).toFixed(1)},${y(r[0]).toFixed(1)}`).join(" ")}`;
      const text = (tx, ty, words, anchor = "middle") => `<text x="${tx}" y="${ty}" text-anchor="${anchor}">${words}</text>`;
      svg.innerHTML = `<polygon class="band" points="${band}"/><polyline class="curve" points="${line((r) => r[1])}"/>
        <line x1="42" y1="28" x2="42" y2="178"/><line x1="42" y1="178" x2="142" y2="178"/>
        ${text(38, 181, "0", "end")}${text(39, 32, this.length(top), "end")}${text(42, 192, "0")}${text(142, 192, most.toFixed(0), "end")}
        ${text(88, 205, "µmol/m²/s by height")}${text(75, 16, `left ${this.length(p.x)}, front ${this.length(p.y)}`)}`;
      this.columnLabel = `PPFD by height at ${this.length(p.x)} from the left and ${this.length(p.y)} from the front: ${rows.map((r) => `${this.length(r[0])} ${r[1].toFixed(0)}`).join(", ")}`;
    },
    length(metres) {
      return this.units === "in" ? `${(metres / 0.0254).toFixed(1)} in` : `${(metres * 100).toFixed(1)} cm`;
    },
    pointerMoved(event) {
      if (this.dragged) return this.drag(event);
      if (event.buttons || !this.header) return this.hideTip();
      const hit = this.hit(event);
      this.canvas.style.cursor = hit?.object.userData.item ? "grab" : "default";
      const value = hit && this.valueAt(hit);
      if (hit) this.drawColumn(hit.point);
      const tip = this.$refs.tip;
      if (!hit || (!value && !hit.object.userData.item)) return this.hideTip();
      const what = hit.object.userData.role === "section" ? "light plane" : hit.object.userData.name;
      const where = `${this.length(hit.point.x)} from the left, ${this.length(hit.point.y)} from the front, ${this.length(hit.point.z)} high`;
      tip.textContent = value ? `${this.told(value)} · ${what} · ${where}` : `${what}: drag to move, Shift and drag to turn`;
      tip.style.display = "block";
      const box = this.$el.getBoundingClientRect();
      tip.style.left = `${Math.min(event.clientX - box.left + 14, box.width - 260)}px`;
      tip.style.top = `${event.clientY - box.top + 14}px`;
    },
    hideTip() {
      this.$refs.tip.style.display = "none";
    },
    pointerDown(event) {
      this.pressed = [event.clientX, event.clientY];
      if (!this.header || event.button !== 0) return;
      const hit = this.hit(event);
      const item = hit?.object.userData.item;
      const cut = hit?.object === this.section;
      if (!item && !cut) return;
      this.controls.enabled = false;
      this.canvas.setPointerCapture(event.pointerId);
      this.hideTip();
      if (cut) {
        this.dragged = { cut, from: hit.point.clone(), normal: this.sectionNormal(), at: this.options.plane.at };
        return;
      }
      const level = new THREE.Plane(new THREE.Vector3(0, 0, 1), -hit.point.z);
      const middle = new THREE.Box3();
      for (const mesh of this.items[item]) middle.union(mesh.geometry.boundingBox);
      this.dragged = { item, level, from: hit.point.clone(), move: new THREE.Vector2(), turn: 0, turning: event.shiftKey, middle: middle.getCenter(new THREE.Vector3()), startX: event.clientX };
    },
    drag(event) {
      const d = this.dragged;
      if (d.cut) return this.dragSection(event);
      if (d.turning) d.turn = ((event.clientX - d.startX) / 200) * Math.PI;
      else {
        const p = this.cast(event).ray.intersectPlane(d.level, new THREE.Vector3());
        if (p) d.move.set(p.x - d.from.x, p.y - d.from.y);
      }
      const about = new THREE.Matrix4().makeTranslation(d.middle.x + d.move.x, d.middle.y + d.move.y, 0)
        .multiply(new THREE.Matrix4().makeRotationZ(d.turn))
        .multiply(new THREE.Matrix4().makeTranslation(-d.middle.x, -d.middle.y, 0));
      for (const mesh of this.items[d.item]) {
        mesh.matrixAutoUpdate = false;
        mesh.matrix.copy(about);
        mesh.matrixWorldNeedsUpdate = true;
      }
      this.redraw();
    },
    pointerUp(event) {
      const moved = this.pressed && Math.hypot(event.clientX - this.pressed[0], event.clientY - this.pressed[1]) > 4;
      const d = this.dragged;
      this.dragged = null;
      this.controls.enabled = true;
      if (d?.cut && moved) return this.$emit("cut", this.options.plane.at);
      if (d && moved) return this.$emit("moved", [d.item, d.move.x, d.move.y, d.turn]);
      if (moved || !this.header || event.button !== 0) return;
      const hit = this.hit(event);
      const role = hit?.object.userData.role;
      if (role === "bed" || role === "section") this.$emit("spot", [hit.point.x, hit.point.y, hit.point.z]);
    },
    key(event) {
      const turn = { ArrowLeft: [-0.12, 0], ArrowRight: [0.12, 0], ArrowUp: [0, -0.08], ArrowDown: [0, 0.08] }[event.key];
      const closer = { "+": 0.9, "=": 0.9, "-": 1 / 0.9 }[event.key];
      if (!turn && !closer) return;
      event.preventDefault();
      const offset = this.camera.position.clone().sub(this.controls.target);
      const round = new THREE.Spherical().setFromVector3(new THREE.Vector3(offset.x, offset.z, -offset.y));
      if (turn) {
        round.theta += turn[0];
        round.phi = Math.min(Math.max(round.phi + turn[1], 0.05), this.controls.maxPolarAngle);
      } else round.radius *= closer;
      const v = new THREE.Vector3().setFromSpherical(round);
      this.camera.position.copy(this.controls.target).add(new THREE.Vector3(v.x, -v.z, v.y));
      this.controls.update();
      this.redraw();
    },
  },
};
