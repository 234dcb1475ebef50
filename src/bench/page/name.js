// Names by tapping: one tap a piece, in the order of the names. On the bench they are kept there; on a page that is
// a file (data-file: the labels' file to make) they are handed back as that file.
(function () {
  "use strict";
  var byId = function (id) { return document.getElementById(id); };
  var place = byId("main").dataset.place, file = byId("main").dataset.file, kind = byId("main").dataset.kind || "piece";
  var pieces = Array.prototype.slice.call(document.querySelectorAll(".piece"));
  var next = byId("next-name"), said = byId("naming-said"), taps = [], store = "names " + place, width = 100;

  // A01 to A02, K9 to K10, "foot" to "foot 2".
  function following(name) {
    var end = /^(.*?)(\d+)$/.exec(name);
    if (!end) return name + " 2";
    var number = String(parseInt(end[2], 10) + 1);
    return end[1] + number.padStart(end[2].length, "0");
  }
  function nextRing(name) {
    var start = /^([A-Za-z])(\d+)$/.exec(name);
    if (!start || /[zZ]/.test(start[1])) return name;
    return String.fromCharCode(start[1].charCodeAt(0) + 1) + "1".padStart(start[2].length, "0");
  }
  function nameOf(piece) {
    var tap = taps.find(function (t) { return t.label === piece.dataset.label; });
    return tap && tap.name;
  }
  function show() {
    pieces.forEach(function (piece) {
      var name = nameOf(piece), ring = piece.dataset.ring ? ", ring " + piece.dataset.ring : "";
      piece.classList.toggle("has-name", !!name);
      piece.querySelector("text").textContent = name || piece.dataset.shown || "";
      piece.setAttribute("aria-label", (name || piece.dataset.label) + ring + (name ? ", named" : ", not named"));
    });
    byId("undo").disabled = !taps.length;
    byId("keep-names").disabled = !taps.length;
    try { sessionStorage.setItem(store, JSON.stringify({ taps: taps, next: next.value })); } catch (e) { /* kept on the page alone */ }
  }
  function tell(text) { said.textContent = text; }
  function left() {
    var count = pieces.length - taps.length;
    return count ? count + " " + kind + (count === 1 ? " is" : "s are") + " left" : "all are named";
  }
  function tap(piece) {
    var name = next.value.trim();
    if (nameOf(piece)) { tell("This " + kind + " is " + nameOf(piece) + " already; Undo takes the last name back."); return; }
    if (!name || /[,;\t#]/.test(name)) { tell("A name has no comma, semicolon or #."); return; }
    if (taps.some(function (t) { return t.name === name; })) { tell(name + " is taken; type another."); return; }
    taps.push({ label: piece.dataset.label, name: name });
    next.value = following(name);
    tell(name + "; " + left());
    show();
  }
  function undo() {
    var last = taps.pop();
    if (!last) return;
    next.value = last.name;
    tell(last.name + " taken back; " + left());
    show();
  }
  function middle(piece) {
    var box = piece.getBBox();
    return [box.x + box.width / 2, box.y + box.height / 2];
  }
  // The nearest piece that lies more in the arrow's direction than beside it.
  function beside(piece, x, y) {
    var from = middle(piece), best = null, least = Infinity;
    pieces.forEach(function (other) {
      var at = middle(other), dx = at[0] - from[0], dy = at[1] - from[1], along = dx * x + dy * y, across = Math.abs(dx * y) + Math.abs(dy * x);
      if (other === piece || along <= across) return;
      var far = along + 2 * across;
      if (far < least) { least = far; best = other; }
    });
    return best;
  }
  var arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  pieces.forEach(function (piece) {
    piece.addEventListener("click", function () { tap(piece); });
    piece.addEventListener("keydown", function (e) {
      if (e.key === "Enter" || e.key === " ") { e.preventDefault(); tap(piece); }
      if (e.key === "Backspace" || (e.key === "z" && (e.ctrlKey || e.metaKey))) { e.preventDefault(); undo(); }
      if (!arrows[e.key]) return;
      e.preventDefault();
      var other = beside(piece, arrows[e.key][0], arrows[e.key][1]);
      if (other) other.focus();
    });
  });
  byId("undo").addEventListener("click", undo);
  byId("next-ring").addEventListener("click", function () { next.value = nextRing(next.value.trim()); show(); });
  next.addEventListener("change", show);
  function size(to) {
    width = Math.min(400, Math.max(100, to));
    byId("unrolled").style.width = width + "%";
  }
  // A finger needs about 32 px; on a phone the form is wider than the screen then, and is moved in its box.
  var smallest = Math.min.apply(null, pieces.map(function (p) { var b = p.firstChild.getBoundingClientRect(); return Math.min(b.width, b.height); }));
  if (smallest < 32) size(100 * 32 / smallest);
  var box = byId("unrolled").parentNode;
  box.scrollLeft = (box.scrollWidth - box.clientWidth) / 2;
  byId("larger").addEventListener("click", function () { size(width * 1.5); });
  byId("smaller").addEventListener("click", function () { size(width / 1.5); });

  function labels() { return taps.map(function (t) { return t.label + "," + t.name; }).join("\n") + "\n"; }
  // A file; where the browser makes none, the lines to copy.
  function handBack() {
    var link = document.createElement("a"), text = labels();
    link.href = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
    link.download = file;
    link.click();
    setTimeout(function () { URL.revokeObjectURL(link.href); }, 60000);
    byId("labels-text").value = text;
    byId("labels-box").hidden = false;
    tell(file + " is made; " + left());
  }
  function keep() {
    window.bench.post(place + "/names", { labels: labels() }).then(function (r) {
      return r.text().then(function (text) {
        if (!r.ok) { tell(text); return; }
        try { sessionStorage.removeItem(store); } catch (e) { /* nothing was kept */ }
        location.href = JSON.parse(text).place;
      });
    }).catch(function () { tell("The bench cannot be reached; the names wait here."); });
  }
  byId("keep-names").addEventListener("click", file ? handBack : keep);

  try {
    var kept = JSON.parse(sessionStorage.getItem(store) || "null");
    if (kept) {
      taps = kept.taps.filter(function (t) { return pieces.some(function (p) { return p.dataset.label === t.label; }); });
      next.value = kept.next;
    }
  } catch (e) { /* from the beginning */ }
  show();
})();
