// Adds to a page that reads without it: units, theme, remembered check boxes, enlarged photos, the map's panel.
(function () {
  "use strict";
  var byId = function (id) { return document.getElementById(id); };
  var all = function (selector, from) { return Array.prototype.slice.call((from || document).querySelectorAll(selector)); };
  document.documentElement.classList.add("scripted");
  var data = JSON.parse(byId("data").textContent);
  window.benchData = data;

  // Some browsers refuse storage to pages opened from a file: then nothing is remembered, and nothing breaks.
  var store = {
    get: function (key) { try { return localStorage.getItem("interstice:" + key); } catch (e) { return null; } },
    set: function (key, value) { try { localStorage.setItem("interstice:" + key, value); } catch (e) { /* not remembered */ } }
  };

  // Quantities.
  var inches = store.get("units") === "in";
  function shown(element) {
    var d = element.dataset, places = Number(d.d), bare = element.dataset.bare === "1";
    var value, unit, decimals;
    if (d.mm !== undefined) {
      value = Number(d.mm) / 25.4; unit = "in"; decimals = places === 0 ? (Number(d.mm) >= 100 ? 1 : 2) : 3;
    } else if (d.ml !== undefined) {
      value = Number(d.ml) / 29.5735295625; unit = "fl oz"; decimals = places + 1;  // US fluid ounce
    } else {
      value = Number(d.g) / 28.349523125; unit = "oz"; decimals = 1;
    }
    return value.toFixed(decimals) + (bare ? "" : "\u00a0" + unit);
  }
  function applyUnits() {
    all(".q").forEach(function (e) {
      if (e.dataset.metric === undefined) {
        e.dataset.metric = e.textContent;
        e.dataset.bare = /[a-z]$/.test(e.textContent) ? "0" : "1";
      }
      e.textContent = inches ? shown(e) : e.dataset.metric;
    });
    all(".unit").forEach(function (e) { e.textContent = inches ? "in" : "mm"; });
    byId("units").textContent = inches ? "Show millimetres" : "Show inches";
  }
  byId("units").addEventListener("click", function () {
    inches = !inches;
    store.set("units", inches ? "in" : "mm");
    applyUnits();
  });
  if (inches) applyUnits();

  // Light and dark.
  var root = document.documentElement;
  function isDark() {
    if (root.dataset.theme) return root.dataset.theme === "dark";
    return window.matchMedia && matchMedia("(prefers-color-scheme: dark)").matches;
  }
  function nameTheme() { byId("theme").textContent = isDark() ? "Light" : "Dark"; }
  if (store.get("theme")) root.dataset.theme = store.get("theme");
  nameTheme();
  byId("theme").addEventListener("click", function () {
    root.dataset.theme = isDark() ? "light" : "dark";
    store.set("theme", root.dataset.theme);
    nameTheme();
    document.dispatchEvent(new Event("theme"));
  });

  // Check boxes of the work order and the pours.
  var boxes = all(".work input, .pour h3 input");
  function count() {
    var steps = all(".work input"), done = steps.filter(function (b) { return b.checked; }).length;
    var place = byId("progress");
    if (place) place.textContent = done + " of " + steps.length + " done.";
  }
  // In a frame, whoever frames it keeps the ticks, for all who look at it alike.
  var framed = window.parent !== window;
  boxes.forEach(function (box) {
    var key = data.result + ":" + box.id;
    box.checked = store.get(key) === "1";
    box.addEventListener("change", function () {
      store.set(key, box.checked ? "1" : "0");
      if (framed) window.parent.postMessage({ interstice: "tick", id: box.id, on: box.checked }, "*");
      count();
    });
  });
  count();
  if (framed) {
    if (byId("kept")) byId("kept").textContent = "everybody at the bench sees it";
    window.addEventListener("message", function (e) {
      if (e.source !== window.parent || !e.data || e.data.interstice !== "ticks") return;
      boxes.forEach(function (box) { box.checked = e.data.on.indexOf(box.id) >= 0; });
      count();
    });
    window.parent.postMessage({ interstice: "ready" }, "*");
  }

  // Enlarged photos: a picture that can be dragged, pinched, wheeled and keyed.
  var dialog = byId("big"), body = byId("big-body"), zoom = null, current = -1;
  var order = all("#seams > .cards > .card").map(function (card) { return Number(card.dataset.card); });

  function makeZoom(svg) {
    var whole = svg.viewBox.baseVal, w = whole.width, h = whole.height, view = { x: 0, y: 0, w: w, h: h };
    var pointers = {}, span = 0;
    function apply() {
      view.w = Math.min(w, Math.max(w / 12, view.w));
      view.h = view.w * h / w;
      view.x = Math.min(w - view.w, Math.max(0, view.x));
      view.y = Math.min(h - view.h, Math.max(0, view.y));
      svg.setAttribute("viewBox", [view.x, view.y, view.w, view.h].join(" "));
    }
    function perPixel() { var r = svg.getBoundingClientRect(); return Math.max(view.w / r.width, view.h / r.height); }
    function by(factor, clientX, clientY) {
      var r = svg.getBoundingClientRect(), p = perPixel();
      var dx = clientX === undefined ? 0 : (clientX - r.left - r.width / 2) * p, dy = clientY === undefined ? 0 : (clientY - r.top - r.height / 2) * p;
      var cx = view.x + view.w / 2, cy = view.y + view.h / 2, before = view.w;
      view.w = Math.min(w, Math.max(w / 12, view.w / factor));
      var kept = view.w / before;
      view.h = view.w * h / w;
      view.x = cx + dx * (1 - kept) - view.w / 2;
      view.y = cy + dy * (1 - kept) - view.h / 2;
      apply();
    }
    function move(dx, dy) { view.x += dx; view.y += dy; apply(); }
    svg.addEventListener("wheel", function (e) { e.preventDefault(); by(e.deltaY < 0 ? 1.2 : 1 / 1.2, e.clientX, e.clientY); }, { passive: false });
    svg.addEventListener("pointerdown", function (e) { pointers[e.pointerId] = e; span = 0; svg.setPointerCapture(e.pointerId); });
    svg.addEventListener("pointermove", function (e) {
      var last = pointers[e.pointerId];
      if (!last) return;
      pointers[e.pointerId] = e;
      var ids = Object.keys(pointers);
      if (ids.length === 1) { var p = perPixel(); move((last.clientX - e.clientX) * p, (last.clientY - e.clientY) * p); return; }
      var a = pointers[ids[0]], b = pointers[ids[1]], now = Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
      if (span > 0) by(now / span, (a.clientX + b.clientX) / 2, (a.clientY + b.clientY) / 2);
      span = now;
    });
    ["pointerup", "pointercancel"].forEach(function (kind) {
      svg.addEventListener(kind, function (e) { delete pointers[e.pointerId]; span = 0; });
    });
    svg.addEventListener("dblclick", function (e) { by(2, e.clientX, e.clientY); });
    return { by: by, move: function (dx, dy) { move(dx * view.w, dy * view.h); } };
  }

  function withoutIds(element) {
    element.removeAttribute("id");
    all("[id]", element).forEach(function (e) { e.removeAttribute("id"); });
    return element;
  }
  function stage(svg) {
    var box = document.createElement("div");
    box.className = "stage";
    var copy = withoutIds(svg.cloneNode(true));
    box.appendChild(copy);
    zoom = makeZoom(copy);
    return box;
  }
  function show(title) {
    byId("big-head").replaceChildren(title);
    var nearer = zoom !== null;
    byId("big-in").hidden = byId("big-out").hidden = !nearer;
    byId("big-prev").hidden = byId("big-next").hidden = current < 0;
    if (!dialog.open) dialog.showModal();
    dialog.scrollTop = 0;
  }
  function openSeam(index) {
    var card = byId("seam-" + index);
    if (!card || !dialog.showModal) return false;
    zoom = null;
    current = order.indexOf(index);
    body.replaceChildren();
    var photo = card.querySelector(".photo");
    if (photo) body.appendChild(stage(photo));
    body.appendChild(card.querySelector(".chip").cloneNode(true));
    all(":scope > p, :scope > .graph", card).forEach(function (e) { body.appendChild(withoutIds(e.cloneNode(true))); });
    var taken = card.querySelector("figcaption");
    if (taken) {
      var line = document.createElement("p");
      line.className = "note";
      line.append("Photo ", taken.firstElementChild.cloneNode(true));
      body.appendChild(line);
    }
    var name = document.createElement("span");
    name.append.apply(name, Array.prototype.map.call(card.querySelector("h3, h4").childNodes, function (n) { return n.cloneNode(true); }));
    show(name);
    return true;
  }
  window.benchOpenSeam = openSeam;
  function openShot(button) {
    zoom = null;
    current = -1;
    body.replaceChildren(stage(button.querySelector("svg")));
    show(document.createTextNode(button.dataset.shot));
  }
  function step(by) {
    if (current >= 0 && order.length) openSeam(order[(current + by + order.length) % order.length]);
  }
  byId("big-close").addEventListener("click", function () { dialog.close(); });
  byId("big-prev").addEventListener("click", function () { step(-1); });
  byId("big-next").addEventListener("click", function () { step(1); });
  byId("big-in").addEventListener("click", function () { if (zoom) zoom.by(1.5); });
  byId("big-out").addEventListener("click", function () { if (zoom) zoom.by(1 / 1.5); });
  dialog.addEventListener("click", function (e) { if (e.target === dialog) dialog.close(); });
  dialog.addEventListener("keydown", function (e) {
    if (!zoom) return;
    var moves = { ArrowLeft: [-0.1, 0], ArrowRight: [0.1, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1] };
    if (e.key === "+" || e.key === "=") zoom.by(1.25);
    else if (e.key === "-") zoom.by(0.8);
    else if (moves[e.key]) zoom.move(moves[e.key][0], moves[e.key][1]);
    else return;
    e.preventDefault();
  });
  document.addEventListener("click", function (e) {
    if (!(e.target instanceof Element)) return;
    var seam = e.target.closest("[data-seam]"), shot = e.target.closest("[data-shot]");
    if (seam && openSeam(Number(seam.dataset.seam))) e.preventDefault();
    else if (shot && dialog.showModal) openShot(shot);
  });

  var marks = byId("marks");
  if (marks) marks.addEventListener("click", function () {
    var bare = document.body.classList.toggle("bare");
    marks.setAttribute("aria-pressed", bare ? "false" : "true");
  });

  // The map.
  var map = byId("unrolled"), panel = byId("map-panel"), width = 1, section = byId("map");
  function pointAt(target) {
    var seam = target instanceof Element ? target.closest("[data-seam]") : null;
    all(".seam.on", map).forEach(function (e) { e.classList.remove("on"); });
    if (!seam) return;
    seam.classList.add("on");
    var card = byId("seam-" + seam.dataset.seam);
    if (!card) return;
    panel.replaceChildren();
    all(":scope > header, :scope > p, :scope > .graph", card).forEach(function (e) { panel.appendChild(withoutIds(e.cloneNode(true))); });
  }
  map.addEventListener("pointerover", function (e) { pointAt(e.target); });
  map.addEventListener("focusin", function (e) { pointAt(e.target); });
  function widen(factor) {
    var box = map.parentElement, x = (box.scrollLeft + box.clientWidth / 2) / box.scrollWidth, y = (box.scrollTop + box.clientHeight / 2) / box.scrollHeight;
    width = Math.min(6, Math.max(1, width * factor));
    map.style.width = 100 * width + "%";
    box.scrollLeft = x * box.scrollWidth - box.clientWidth / 2;
    box.scrollTop = y * box.scrollHeight - box.clientHeight / 2;
  }
  byId("map-in").addEventListener("click", function () { widen(1.5); });
  byId("map-out").addEventListener("click", function () { widen(1 / 1.5); });
  if (map.parentElement.clientWidth < 600) widen(1.9);
  byId("show-ortho").addEventListener("change", function (e) { section.classList.toggle("no-picture", !e.target.checked); });
  byId("show-plan").addEventListener("change", function (e) { section.classList.toggle("no-plan", !e.target.checked); });
  byId("ring").addEventListener("change", function (e) {
    all("[data-ring]", map).forEach(function (x) { x.classList.toggle("away", e.target.value !== "0" && x.dataset.ring !== e.target.value); });
  });

  // On paper the taping lists are wanted open.
  window.addEventListener("beforeprint", function () { all(".pour details").forEach(function (d) { d.open = true; }); });
})();
