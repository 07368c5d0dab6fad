// The board in 3-D: an orbiting camera over WebGL 2. Colours come from a texture of the layer's values over the plan.
const VERTEX = `#version 300 es
in vec3 place; in vec3 normal; in float side;
uniform mat4 camera; uniform float tall; uniform float dotSize;
out vec3 n; out vec3 p; out float s;
void main() {
  p = place; s = side; n = normalize(vec3(normal.xy * tall, normal.z));
  gl_Position = camera * vec4(place.xy, place.z * tall, 1.0);
  gl_PointSize = dotSize;
}`;
// side: 0 underside with the layer's colours, 1 top, 2 wall, 3 line or point in one colour
const FRAGMENT = `#version 300 es
precision highp float; precision highp sampler2D;
in vec3 n; in vec3 p; in float s;
uniform sampler2D values; uniform sampler2D ramp;
uniform vec2 origin; uniform vec2 size; uniform vec2 limits; uniform float contour; uniform int clashes; uniform int own; uniform vec3 zones[8];
uniform vec3 eye; uniform vec3 wood; uniform vec3 wall; uniform vec3 flat_; uniform vec3 clash;
out vec4 colour;
bool inked(int kind, vec2 u) {
  bool one = kind % 2 == 1 && fract(u.x + u.y) < 0.28, two = (kind / 2) % 2 == 1 && fract(u.x - u.y) < 0.28;
  return kind == 4 ? distance(fract(u), vec2(0.5)) < 0.26 : one || two;
}
void main() {
  if (s > 2.5) { colour = vec4(flat_, 1.0); return; }
  vec3 base = s > 1.5 ? wall : wood;
  if (s < 0.5) {
    vec2 v = texture(values, (p.xy - origin) / size).rg;
    if (v.g > 0.5) {
      float value = v.r / v.g, t = (value - limits.x) / (limits.y - limits.x);
      base = texture(ramp, vec2(clamp(t, 0.002, 0.998), 0.5)).rgb;
      if (clashes == 1 && value < 0.0) base = clash;
      if (own == 1) { vec4 c = texture(ramp, (p.xy - origin) / size); base = c.rgb / c.a; }
      for (int k = 0; k < 8; k++) if (value >= zones[k].x && value < zones[k].y && inked(int(zones[k].z), p.xy / 8.0))
        base = mix(base, dot(base, vec3(0.3, 0.59, 0.11)) > 0.43 ? vec3(0.08) : vec3(0.96), 0.7);
      if (contour > 0.0) {
        float u = value / contour, d = abs(fract(u - 0.5) - 0.5) / max(fwidth(u), 1e-6);
        base = mix(base * 0.55, base, clamp(d - 0.4, 0.0, 1.0));
      }
    }
  }
  vec3 m = normalize(n);
  float head = abs(dot(m, normalize(eye))), sky = 0.5 + 0.5 * dot(m, normalize(vec3(0.35, 0.5, 0.8)));
  float gloss = pow(max(0.0, dot(m, normalize(normalize(eye) + normalize(vec3(0.35, 0.5, 0.8))))), 60.0);
  colour = vec4(base * (0.62 + 0.22 * head + 0.2 * sky) + 0.10 * gloss, 1.0);
}`;

const multiply = (a, b) => {
  const o = new Float32Array(16);
  for (let c = 0; c < 4; c++) for (let r = 0; r < 4; r++) for (let k = 0; k < 4; k++) o[4 * c + r] += a[4 * k + r] * b[4 * c + k];
  return o;
};
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const unit = (a) => { const l = Math.hypot(...a) || 1; return a.map((v) => v / l); };

/** Area-weighted vertex normals of the height field z over the plan; `sign` -1 for a face that looks down. */
function normalsOf(z, sign) {
  const n = new Float32Array(3 * z.length), t = mesh.triangles;
  for (let k = 0; k < t.length; k += 3) {
    const [a, b, c] = [t[k], t[k + 1], t[k + 2]];
    const e = cross([mesh.x[b] - mesh.x[a], mesh.y[b] - mesh.y[a], z[b] - z[a]], [mesh.x[c] - mesh.x[a], mesh.y[c] - mesh.y[a], z[c] - z[a]]);
    for (const i of [a, b, c]) for (let d = 0; d < 3; d++) n[3 * i + d] += sign * e[d];
  }
  return n;
}
/** Vertices (place, normal, side) and triangles of underside, top and rail. */
function solidParts() {
  const vertices = [], triangles = [], count = mesh.x.length;
  for (const [z, sign, side] of [[mesh.under, 1, 0], [mesh.top, -1, 1]]) {
    const n = normalsOf(z, sign);
    for (let i = 0; i < count; i++) {
      const l = Math.hypot(n[3 * i], n[3 * i + 1], n[3 * i + 2]) || 1;
      vertices.push(mesh.x[i], mesh.y[i], z[i], n[3 * i] / l, n[3 * i + 1] / l, n[3 * i + 2] / l, side);
    }
    for (const t of mesh.triangles) triangles.push(t + side * count);
  }
  for (let i = 0; i < mesh.border; i++) {
    const j = (i + 1) % mesh.border, base = vertices.length / 7;
    const [nx, ny] = unit([mesh.y[j] - mesh.y[i], mesh.x[i] - mesh.x[j], 0]);
    for (const [k, z] of [[i, mesh.under], [j, mesh.under], [j, mesh.top], [i, mesh.top]]) vertices.push(mesh.x[k], mesh.y[k], z[k], nx, ny, 0, 2);
    triangles.push(base, base + 1, base + 2, base, base + 2, base + 3);
  }
  return { vertices: new Float32Array(vertices), triangles: new Uint32Array(triangles) };
}
/** A line on the underside as a narrow ribbon, so that it shows at any pixel density. */
function ribbon(x, y, closed, width) {
  const vertices = [], n = x.length, lift = 0.4;
  for (let i = 0; i < (closed ? n : n - 1); i++) {
    const j = (i + 1) % n, [ox, oy] = unit([y[i] - y[j], x[j] - x[i], 0]).map((v) => (v * width) / 2);
    const corner = (k, s) => {
      const [px, py] = [x[k] + s * ox, y[k] + s * oy], z = valueAt(board.height, px, py);
      return [px, py, (Number.isFinite(z) ? z : valueAt(board.height, x[k], y[k])) + lift, 0, 0, 1, 3];
    };
    vertices.push(...corner(i, 1), ...corner(i, -1), ...corner(j, 1), ...corner(j, 1), ...corner(i, -1), ...corner(j, -1));
  }
  return new Float32Array(vertices);
}

/** Vertices (place, normal, side) of a mesh { x, y, z, triangles } with flat faces. */
function facets(m) {
  const out = new Float32Array(21 * (m.triangles.length / 3));
  for (let k = 0, o = 0; k < m.triangles.length; k += 3) {
    const [a, b, c] = [0, 1, 2].map((d) => { const i = m.triangles[k + d]; return [m.x[i], m.y[i], m.z[i]]; });
    const n = unit(cross([b[0] - a[0], b[1] - a[1], b[2] - a[2]], [c[0] - a[0], c[1] - a[1], c[2] - a[2]]));
    for (const p of [a, b, c]) { out.set(p, o); out.set(n, o + 3); out[o + 6] = 2; o += 7; }
  }
  return out;
}

/** The renderer on a canvas, or null where there is no WebGL 2. */
function solidView(canvas) {
  const gl = canvas.getContext("webgl2", { antialias: true, preserveDrawingBuffer: true });
  if (!gl) return null;
  const program = gl.createProgram();
  for (const [kind, source] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, source);
    gl.compileShader(shader);
    gl.attachShader(program, shader);
  }
  gl.linkProgram(program);
  if (!gl.getProgramParameter(program, gl.LINK_STATUS)) return null;
  gl.useProgram(program);
  gl.enable(gl.DEPTH_TEST);
  const at = (name) => gl.getUniformLocation(program, name);

  function object(vertices, triangles) {
    const array = gl.createVertexArray();
    gl.bindVertexArray(array);
    const buffer = gl.createBuffer();
    gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
    gl.bufferData(gl.ARRAY_BUFFER, vertices, gl.STATIC_DRAW);
    [["place", 3, 0], ["normal", 3, 12], ["side", 1, 24]].forEach(([name, size, offset]) => {
      const slot = gl.getAttribLocation(program, name);
      gl.enableVertexAttribArray(slot);
      gl.vertexAttribPointer(slot, size, gl.FLOAT, false, 28, offset);
    });
    if (triangles) {
      gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
      gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, triangles, gl.STATIC_DRAW);
    }
    return { array, buffer, count: triangles ? triangles.length : vertices.length / 7, indexed: Boolean(triangles) };
  }
  const solid = solidParts(), body = object(solid.vertices, solid.triangles);
  const lines = board.lines.map((l) => object(ribbon(l.x, l.y, l.closed, 1.6)));
  const clouds = board.points.map((p) => ({ role: p.role, object: object(new Float32Array([...p.x].flatMap((x, i) => [x, p.y[i], p.z[i], 0, 0, 1, 3]))) }));
  let station = null, housing = null;

  function texture(slot, filter) {
    const t = gl.createTexture();
    gl.activeTexture(gl.TEXTURE0 + slot);
    gl.bindTexture(gl.TEXTURE_2D, t);
    for (const [k, v] of [[gl.TEXTURE_MIN_FILTER, filter], [gl.TEXTURE_MAG_FILTER, filter], [gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE], [gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE]]) gl.texParameteri(gl.TEXTURE_2D, k, v);
  }
  gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
  texture(0, gl.LINEAR);
  texture(1, gl.LINEAR);
  gl.uniform1i(at("values"), 0);
  gl.uniform1i(at("ramp"), 1);
  const [zLow, zHigh] = range(mesh.under);
  const extent = Math.hypot(range(mesh.x)[1] - range(mesh.x)[0], range(mesh.y)[1] - range(mesh.y)[0]);

  const view = {
    turn: -0.55, lift: 0.75, far: 1, tall: 1, contours: true, lines: true, points: false, housing: true, centre: [0, 0, (zLow + zHigh) / 2],
    setLayer(layer) {
      const [nx, ny] = layer.nodes, cells = new Float32Array(2 * nx * ny);
      for (let i = 0; i < nx; i++) for (let j = 0; j < ny; j++) {
        const v = layer.values[i * ny + j];
        if (Number.isFinite(v)) { cells[2 * (j * nx + i)] = v; cells[2 * (j * nx + i) + 1] = 1; }
      }
      gl.activeTexture(gl.TEXTURE0);
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RG16F, nx, ny, 0, gl.RG, gl.FLOAT, cells);
      // a ramp over the values, or the nodes' own colours, clear where there is none
      const [wide, high] = layer.own ? [nx, ny] : [256, 1], colours = new Uint8Array(4 * wide * high);
      if (!layer.own) for (let i = 0; i < 256; i++) colours.set([...rampAt(layer.colours, i / 255), 255], 4 * i);
      else for (let i = 0; i < nx; i++) for (let j = 0; j < ny; j++) if (cells[2 * (j * nx + i) + 1]) colours.set([...ownAt(layer, i * ny + j), 255], 4 * (j * nx + i));
      gl.activeTexture(gl.TEXTURE1);
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA8, wide, high, 0, gl.RGBA, gl.UNSIGNED_BYTE, colours);
      gl.uniform1i(at("own"), layer.own ? 1 : 0);
      gl.uniform2f(at("origin"), layer.origin_mm[0] - layer.step_mm / 2, layer.origin_mm[1] - layer.step_mm / 2);
      gl.uniform2f(at("size"), nx * layer.step_mm, ny * layer.step_mm);
      gl.uniform2f(at("limits"), layer.least, layer.most);
      gl.uniform1i(at("clashes"), layer.colours === "gap" ? 1 : 0);
      const zones = new Float32Array(24), far = 1e9;
      layer.zones.slice(0, 8).forEach((z, k) => zones.set([z.above ?? -far, z.below ?? far, patternOf(z)], 3 * k));
      gl.uniform3fv(at("zones[0]"), zones);
      view.step = contourStep(layer);
      view.draw();
    },
    /** Takes a body on the board: vertices (place, normal, side) of its triangles, or null. */
    setHousing(vertices) {
      if (housing) { gl.deleteBuffer(housing.buffer); gl.deleteVertexArray(housing.array); }
      housing = vertices && object(vertices);
    },
    setStation(x) {
      const s = board.stations.find((s) => s.x_mm === x);
      if (s) station = object(ribbon(s.y.map(() => x), s.y, false, 2));
      view.draw();
    },
    /** Eye direction, right and up of the picture, and the camera's distance, mm. */
    pose() {
      const c = Math.cos(view.lift), eye = [c * Math.sin(view.turn), -c * Math.cos(view.turn), Math.sin(view.lift)];
      const right = [Math.cos(view.turn), Math.sin(view.turn), 0], up = cross(eye, right);
      const aspect = canvas.width / canvas.height, tangent = Math.tan(0.26);
      return { eye, right, up, aspect, tangent, distance: (view.far * extent * 0.54) / (tangent * Math.min(aspect, 1.9)) };
    },
    camera() {
      const { eye, right, up, aspect, tangent, distance } = view.pose();
      const c = [view.centre[0], view.centre[1], view.centre[2] * view.tall];
      const near = Math.max(1, distance - extent), farthest = distance + extent;
      const look = new Float32Array([right[0], up[0], eye[0], 0, right[1], up[1], eye[1], 0, right[2], up[2], eye[2], 0, -dot(right, c), -dot(up, c), -dot(eye, c) - distance, 1]);
      const lens = new Float32Array([1 / (tangent * aspect), 0, 0, 0, 0, 1 / tangent, 0, 0, 0, 0, (near + farthest) / (near - farthest), -1, 0, 0, (2 * near * farthest) / (near - farthest), 0]);
      return multiply(lens, look);
    },
    /** Where a place shows, as shares of the canvas from its upper left. */
    project(p) {
      const m = view.camera(), q = [p[0], p[1], p[2] * view.tall, 1];
      const [x, y, , w] = [0, 1, 2, 3].map((r) => q.reduce((s, v, k) => s + m[4 * k + r] * v, 0));
      return [(1 + x / w) / 2, (1 - y / w) / 2];
    },
    /** Comes as near as leaves the whole outline in the picture. */
    fit() {
      view.far = 1;
      for (let pass = 0; pass < 6; pass++) {
        let worst = 0;
        for (let i = 0; i < mesh.border; i++) {
          const [u, v] = view.project([mesh.x[i], mesh.y[i], mesh.under[i]]);
          worst = Math.max(worst, Math.abs(2 * u - 1), Math.abs(2 * v - 1));
        }
        view.far *= worst / 0.86;
      }
    },
    /** Place on the underside under a point of the canvas (shares), or null: the ray is followed down the height field. */
    pick(u, v) {
      const { eye, right, up, aspect, tangent, distance } = view.pose();
      if (eye[2] <= 0.02) return null;
      const d = [0, 1, 2].map((k) => (2 * u - 1) * tangent * aspect * right[k] + (1 - 2 * v) * tangent * up[k] - eye[k]);
      const o = [0, 1, 2].map((k) => view.centre[k] * (k === 2 ? view.tall : 1) + distance * eye[k]);
      const [from, to] = [zHigh, zLow].map((z) => (z * view.tall - o[2]) / d[2]);
      for (let k = 0; k <= 400; k++) {
        const t = from + ((to - from) * k) / 400, p = [o[0] + t * d[0], o[1] + t * d[1]];
        const z = valueAt(board.height, p[0], p[1]);
        if (z * view.tall >= o[2] + t * d[2] - 1e-3 && insideOutline(p[0], p[1])) return p;
      }
      return null;
    },
    size() {
      const ratio = Math.min(2, window.devicePixelRatio || 1);
      const [w, h] = [canvas.clientWidth, canvas.clientHeight].map((v) => Math.max(1, Math.round(v * ratio)));
      if (canvas.width !== w || canvas.height !== h) Object.assign(canvas, { width: w, height: h });
      return ratio;
    },
    draw() {
      const ratio = view.size();
      gl.viewport(0, 0, canvas.width, canvas.height);
      const three = (name, rgb) => gl.uniform3f(at(name), ...rgb.map((c) => c / 255));
      gl.clearColor(...cssRgb("--well").map((c) => c / 255), 1);
      gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
      gl.uniformMatrix4fv(at("camera"), false, view.camera());
      gl.uniform1f(at("tall"), view.tall);
      gl.uniform1f(at("dotSize"), 2.2 * ratio);
      gl.uniform1f(at("contour"), view.contours ? view.step || 0 : 0);
      gl.uniform3f(at("eye"), ...view.pose().eye);
      three("wood", cssRgb("--wood"));
      three("wall", cssRgb("--wall"));
      three("clash", CLASH);
      const show = (o, kind, rgb) => {
        if (rgb) three("flat_", rgb);
        gl.bindVertexArray(o.array);
        o.indexed ? gl.drawElements(kind, o.count, gl.UNSIGNED_INT, 0) : gl.drawArrays(kind, 0, o.count);
      };
      show(body, gl.TRIANGLES);
      if (housing && view.housing) {
        three("wall", cssRgb("--housing"));
        show(housing, gl.TRIANGLES);
      }
      if (view.lines) for (const l of lines) show(l, gl.TRIANGLES, [20, 20, 20]);
      if (view.lines && station) show(station, gl.TRIANGLES, [255, 255, 255]);
      if (view.points) for (const c of clouds) show(c.object, gl.POINTS, ROLES[c.role].rgb);
      view.onDraw?.();
    },
  };
  return view;
}
