// The view in 3-D: a mesh over the heights, coloured by the true-ortho picture, and the seams as tubes.
(function () {
  "use strict";
  var data = window.benchData, holder = document.getElementById("view");
  var photo = document.querySelector("#photos .photo, #seams .photo");

  function bytes(text) {
    var raw = atob(text), out = new Uint8Array(raw.length);
    for (var i = 0; i < raw.length; ++i) out[i] = raw.charCodeAt(i);
    return out.buffer;
  }
  function still() {
    var note = holder.querySelector(".still");
    note.textContent = "No view in 3-D here: this browser has no WebGL. A photo instead:";
    if (photo) { var copy = photo.cloneNode(true); holder.style.height = "auto"; note.appendChild(copy); }
  }

  // Bowl frame: map place and height to a point.
  function placer() {
    var m = data.meridian, last = m.length / 4 - 1;
    return function (u, v, h, out) {
      var rho = Math.hypot(u, v), k = Math.min(last - 1, Math.floor(rho)), t = rho - k, a = 4 * k, b = a + 4;
      var mix = function (j) { return m[a + j] + t * (m[b + j] - m[a + j]); };
      var r = mix(0) + h * mix(2), z = mix(1) + h * mix(3), c = rho > 1e-9 ? u / rho : 1, s = rho > 1e-9 ? v / rho : 0;
      out[0] = r * c; out[1] = r * s; out[2] = z;
    };
  }

  function surface() {
    var g = data.heights, side = g.side, half = (side - 1) / 2, raw = new Uint16Array(bytes(g.data));
    var place = placer(), index = new Int32Array(side * side).fill(-1), points = [], uv = [], faces = [], p = [0, 0, 0];
    for (var row = 0; row < side; ++row) for (var column = 0; column < side; ++column) {
      var i = row * side + column, u = (column - half) * g.step_mm, v = (half - row) * g.step_mm;
      if (raw[i] === 0 || Math.hypot(u, v) > data.rho_mm) continue;
      place(u, v, g.lowest_mm + raw[i] * g.height_step_mm, p);
      index[i] = points.length / 3;
      points.push(p[0], p[1], p[2]);
      uv.push(0.5 + u / (2 * data.ortho_half_mm || 1), 0.5 + v / (2 * data.ortho_half_mm || 1));
    }
    for (row = 0; row + 1 < side; ++row) for (column = 0; column + 1 < side; ++column) {
      var a = index[row * side + column], b = index[row * side + column + 1], c = index[(row + 1) * side + column], d = index[(row + 1) * side + column + 1];
      if (a >= 0 && c >= 0 && b >= 0) faces.push(a, c, b);
      if (b >= 0 && c >= 0 && d >= 0) faces.push(b, c, d);
    }
    var geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(points), 3));
    geometry.setAttribute("uv", new THREE.BufferAttribute(new Float32Array(uv), 2));
    geometry.setIndex(new THREE.BufferAttribute(new Uint32Array(faces), 1));
    geometry.computeVertexNormals();
    return geometry;
  }

  function line(text) {
    var raw = new Int16Array(bytes(text)), out = [];
    for (var i = 0; i + 2 < raw.length; i += 3) out.push(new THREE.Vector3(raw[i], raw[i + 1], raw[i + 2]).multiplyScalar(data.place_step_mm));
    return out;
  }
  // A line cut into dashes of the given lengths, as lists of points.
  function dashes(points, on, off) {
    if (!off) return [points];
    var out = [], now = [points[0]], left = on, drawing = true;
    for (var i = 1; i < points.length; ++i) {
      var a = points[i - 1].clone(), b = points[i], d = a.distanceTo(b);
      while (d > left) {
        a = a.clone().lerp(b, left / d);
        d -= left;
        if (drawing) { now.push(a); out.push(now); }
        now = [a];
        drawing = !drawing;
        left = drawing ? on : off;
      }
      left -= d;
      if (drawing) now.push(b);
    }
    if (drawing && now.length > 1) out.push(now);
    return out;
  }
  var styles = { tight: { colour: 0xd55e00, radius: 1.3, on: 1, off: 0 }, pinch: { colour: 0x8a5a00, radius: 1.3, on: 6, off: 1.5 }, doubt: { colour: 0x0072b2, radius: 1.1, on: 4, off: 2.5 }, unseen: { colour: 0x1c1b19, radius: 1.1, on: 1, off: 3 } };
  function seamTubes(scene) {
    var seams = [];
    data.seams.forEach(function (s) {
      var points = line(s.line), style = styles[s.verdict];
      if (!style) return;
      seams.push({ seam: s.seam, points: points });
      dashes(points, style.on, style.off).forEach(function (part) {
        if (part.length < 2) return;
        var tube = new THREE.TubeBufferGeometry(new THREE.CatmullRomCurve3(part), Math.min(120, 2 * part.length), style.radius, 6, false);
        scene.add(new THREE.Mesh(tube, new THREE.MeshBasicMaterial({ color: style.colour })));
      });
    });
    return seams;
  }

  function start() {
    var canvas = document.createElement("canvas"), renderer;
    try {
      renderer = new THREE.WebGLRenderer({ canvas: canvas, antialias: true, preserveDrawingBuffer: true });
    } catch (e) { still(); return; }
    canvas.tabIndex = 0;
    canvas.setAttribute("role", "img");
    canvas.setAttribute("aria-label", "The shell in 3-D; arrow keys turn it, plus and minus zoom");
    holder.replaceChildren(canvas);
    var scene = new THREE.Scene(), camera = new THREE.PerspectiveCamera(32, 1, 10, 5000);
    scene.add(new THREE.HemisphereLight(0xffffff, 0x8a8172, 0.95));
    var lamp = new THREE.DirectionalLight(0xffffff, 0.35);
    scene.add(lamp);
    var material = new THREE.MeshLambertMaterial({ color: 0xffffff, side: THREE.DoubleSide });
    scene.add(new THREE.Mesh(surface(), material));
    var seams = seamTubes(scene);
    var top = data.meridian[1] + data.thickness_mm, target = new THREE.Vector3(0, 0, top * 0.34), reach = 2.1 * (top + data.meridian[data.meridian.length - 4]);
    var home = { around: -1.2, up: 0.62, far: reach }, eye = Object.assign({}, home);
    var labels = data.pieces.map(function (p) {
      var e = document.createElement("span");
      e.className = "label";
      e.textContent = p.label;
      e.setAttribute("aria-hidden", "true");
      holder.appendChild(e);
      return { element: e, at: line(p.at)[0], normal: new THREE.Vector3().fromArray(p.normal) };
    });
    var names = true, waiting = false;

    function draw() {
      waiting = false;
      var w = holder.clientWidth, h = holder.clientHeight;
      if (!w || !h) return;
      renderer.setPixelRatio(Math.min(2, window.devicePixelRatio || 1));
      renderer.setSize(w, h, false);
      camera.aspect = w / h;
      camera.updateProjectionMatrix();
      var c = Math.cos(eye.up), far = eye.far * Math.max(1, 1.05 / camera.aspect);
      camera.up.set(0, 0, 1);
      camera.position.set(target.x + far * c * Math.cos(eye.around), target.y + far * c * Math.sin(eye.around), target.z + far * Math.sin(eye.up));
      camera.lookAt(target);
      lamp.position.copy(camera.position).add(new THREE.Vector3(0, 0, far * 0.5));
      scene.background = new THREE.Color(getComputedStyle(document.documentElement).getPropertyValue("--form").trim() || "#efece4");
      renderer.render(scene, camera);
      labels.forEach(function (l) {
        var seen = names && l.normal.dot(camera.position.clone().sub(l.at)) > 0.25 * camera.position.distanceTo(l.at);
        l.element.style.display = seen ? "" : "none";
        if (!seen) return;
        var p = l.at.clone().project(camera);
        l.element.style.transform = "translate(" + ((p.x + 1) * w / 2).toFixed(1) + "px," + ((1 - p.y) * h / 2).toFixed(1) + "px) translate(-50%,-50%)";
      });
      holder.dataset.drawn = "1";
    }
    function ask() { if (!waiting) { waiting = true; requestAnimationFrame(draw); } }
    function turn(dx, dy) { eye.around -= dx; eye.up = Math.min(1.56, Math.max(-0.5, eye.up + dy)); ask(); }
    function nearer(f) { eye.far = Math.min(reach * 2, Math.max(reach * 0.15, eye.far / f)); ask(); }

    // The flagged seam nearest to a place on the screen, within a fingertip, on the near side.
    function pick(x, y) {
      var w = holder.clientWidth, h = holder.clientHeight, best = 22, found = -1;
      seams.forEach(function (s) {
        s.points.forEach(function (q) {
          var outward = new THREE.Vector3(q.x, q.y, q.z - top * 0.3);
          if (outward.dot(camera.position.clone().sub(q)) < 0) return;
          var p = q.clone().project(camera), d = Math.hypot((p.x + 1) * w / 2 - x, (1 - p.y) * h / 2 - y);
          if (d < best) { best = d; found = s.seam; }
        });
      });
      return found;
    }
    var pointers = {}, span = 0, travelled = 0;
    canvas.addEventListener("pointerdown", function (e) { pointers[e.pointerId] = e; span = 0; travelled = 0; canvas.setPointerCapture(e.pointerId); });
    canvas.addEventListener("pointermove", function (e) {
      var last = pointers[e.pointerId];
      if (!last) return;
      pointers[e.pointerId] = e;
      var ids = Object.keys(pointers), dx = e.clientX - last.clientX, dy = e.clientY - last.clientY;
      travelled += Math.hypot(dx, dy);
      if (ids.length === 1) { turn(dx * 0.008, dy * 0.008); return; }
      var a = pointers[ids[0]], b = pointers[ids[1]], now = Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
      if (span > 0) nearer(now / span);
      span = now;
    });
    canvas.addEventListener("pointerup", function (e) {
      delete pointers[e.pointerId];
      span = 0;
      if (travelled > 6) return;
      var r = canvas.getBoundingClientRect(), seam = pick(e.clientX - r.left, e.clientY - r.top);
      if (seam >= 0) window.benchOpenSeam(seam);
    });
    canvas.addEventListener("pointercancel", function (e) { delete pointers[e.pointerId]; span = 0; });
    canvas.addEventListener("wheel", function (e) { e.preventDefault(); nearer(e.deltaY < 0 ? 1.12 : 1 / 1.12); }, { passive: false });
    canvas.addEventListener("keydown", function (e) {
      var keys = { ArrowLeft: [0.12, 0], ArrowRight: [-0.12, 0], ArrowUp: [0, 0.1], ArrowDown: [0, -0.1] };
      if (keys[e.key]) turn(keys[e.key][0], keys[e.key][1]);
      else if (e.key === "+" || e.key === "=") nearer(1.15);
      else if (e.key === "-") nearer(1 / 1.15);
      else if (e.key === "0") { Object.assign(eye, home); ask(); }
      else return;
      e.preventDefault();
    });
    document.getElementById("view-reset").addEventListener("click", function () { Object.assign(eye, home); ask(); });
    document.getElementById("view-names").addEventListener("click", function (e) {
      names = !names;
      e.target.setAttribute("aria-pressed", String(names));
      ask();
    });
    window.addEventListener("resize", ask);
    document.addEventListener("theme", ask);
    var ortho = document.getElementById("ortho");
    if (ortho) {
      var picture = new Image();
      picture.onload = function () {
        var square = document.createElement("canvas");
        square.width = square.height = 1024;  // a power of two, so that distant parts are smoothed
        square.getContext("2d").drawImage(picture, 0, 0, 1024, 1024);
        material.map = new THREE.CanvasTexture(square);
        material.needsUpdate = true;
        ask();
      };
      picture.src = ortho.getAttribute("href");
    } else { material.color.set(0xc8b594); }
    ask();
  }

  if (!window.IntersectionObserver) { start(); return; }
  var watch = new IntersectionObserver(function (entries) {
    if (!entries.some(function (e) { return e.isIntersecting; })) return;
    watch.disconnect();
    start();
  }, { rootMargin: "300px" });
  watch.observe(holder);
})();
