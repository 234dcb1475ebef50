// A scan's page: photos are sent as they are taken, in slices that go on where they broke off; what waits is
// kept in the browser's own store until the bench has acknowledged it.
(function () {
  "use strict";
  var byId = window.bench.byId, element = window.bench.element, post = window.bench.post;
  var place = byId("main").dataset.place;
  var SLICE = 1 << 20, AT_ONCE = 2, SLICE_PATIENCE = 30000;

  // The store. Where the browser has none (private windows), what waits is kept while the page is open.
  var base = null;
  var opened = new Promise(function (done) {
    try {
      var ask = indexedDB.open("interstice-bench", 1);
      ask.onupgradeneeded = function () { ask.result.createObjectStore("waiting", { keyPath: "id" }); };
      ask.onsuccess = function () { base = ask.result; done(); };
      ask.onerror = function () { done(); };
    } catch (e) { done(); }
  });
  function store(work) {
    return opened.then(function () {
      if (!base) return null;
      return new Promise(function (done) {
        try {
          var change = base.transaction("waiting", "readwrite"), ask = work(change.objectStore("waiting"));
          change.oncomplete = function () { done(ask.result); };
          change.onerror = change.onabort = function () { done(null); };
        } catch (e) { done(null); }
      });
    });
  }

  var waiting = [], under_way = 0, arrived = 0, trouble = "", pause = 0, again = 0;
  function fresh_id() {
    var bytes = crypto.getRandomValues(new Uint8Array(16)), id = "";
    bytes.forEach(function (b) { id += (b < 16 ? "0" : "") + b.toString(16); });
    return id;
  }
  function show() {
    var text = "";
    if (waiting.length) text = waiting.length + (waiting.length === 1 ? " photo" : " photos") + " on the way";
    else if (arrived) text = arrived === 1 ? "1 photo arrived" : "All " + arrived + " photos arrived";
    if (trouble && waiting.length) text += ". " + trouble;
    if (byId("sending").textContent !== text) byId("sending").textContent = text;
  }
  function add(files) {
    Array.prototype.forEach.call(files, function (file) {
      var one = { id: fresh_id(), place: place, name: file.name, photo: file };
      waiting.push(one);
      store(function (s) { return s.put(one); });
    });
    show();
    next();
  }
  function drop(one) {
    waiting = waiting.filter(function (w) { return w !== one; });
    store(function (s) { return s.delete(one.id); });
  }
  function refuse(one, why) {
    drop(one);
    var item = element("li");
    item.appendChild(element("bdi", one.name));
    item.appendChild(document.createTextNode(": " + why));
    byId("refused").appendChild(item);
  }

  // One slice; resolves with the answer, rejects when the network or the bench is not there.
  function send(one, at) {
    var stop = new AbortController(), clock = setTimeout(function () { stop.abort(); }, SLICE_PATIENCE);
    var slice = one.photo.slice(at, at + SLICE), query = "?id=" + one.id + "&at=" + at + "&total=" + one.photo.size;
    return fetch(one.place + "/slice" + query, { method: "POST", body: slice, signal: stop.signal }).then(function (r) {
      return r.text().then(function (text) {
        clearTimeout(clock);
        var answer = {};
        try { answer = JSON.parse(text); } catch (e) { answer = { fault: text.trim() }; }
        answer.status = r.status;
        return answer;
      });
    });
  }
  function hold(seconds, why) {
    trouble = why;
    var wait = new Error(why);
    wait.seconds = seconds;
    throw wait;
  }
  function whole(one, at) {
    return send(one, at).then(function (a) {
      if (a.status === 200) { drop(one); arrived += 1; trouble = ""; pause = 0; return null; }
      if (a.status === 202 || a.status === 409) return whole(one, a.have);  // 409: it broke off elsewhere
      if (a.status === 401) hold(10, "This device is not let in any more.");
      if (a.status === 429 || a.status === 503 || a.status === 507 || a.status >= 500) hold(10, a.fault || "The bench is busy.");
      refuse(one, a.fault || "not accepted");
      return null;
    });
  }
  function next() {
    while (under_way < AT_ONCE) {
      var one = waiting.find(function (w) { return !w.sending; });
      if (!one || Date.now() < again) break;
      begin(one);
    }
    show();
  }
  function begin(one) {
    one.sending = true;
    under_way += 1;
    whole(one, 0).catch(function (e) {
      if (!e.seconds) trouble = "No connection; it goes on by itself.";
      pause = Math.min(15, e.seconds || Math.max(1, pause * 2));
      again = Date.now() + pause * 1000;
      setTimeout(next, pause * 1000 + 50);
    }).then(function () {
      one.sending = false;
      under_way -= 1;
      show();
      next();
      look();
    });
  }
  ["camera", "gallery"].forEach(function (id) {
    byId(id).addEventListener("change", function () { add(this.files); this.value = ""; });
  });
  ["online", "focus", "pageshow"].forEach(function (kind) {
    window.addEventListener(kind, function () { again = 0; next(); look(); });
  });
  document.addEventListener("visibilitychange", function () { if (!document.hidden) { again = 0; next(); look(); } });
  store(function (s) { return s.getAll(); }).then(function (kept) {
    (kept || []).forEach(function (one) { one.sending = false; waiting.push(one); });
    next();
  });
  window.addEventListener("beforeunload", function (e) { if (waiting.length && !base) e.preventDefault(); });

  // What the bench knows of the photos.
  function photo(p) {
    var item = element("li", "", p.faults.length ? "bad" : "");
    if (p.checked) {
      var link = element("a"), picture = element("img");
      link.href = place + "/photo/" + p.name;
      picture.alt = p.name + ", larger";
      picture.loading = "lazy";
      picture.src = place + "/small/" + p.name;
      link.appendChild(picture);
      item.appendChild(link);
    } else {
      item.appendChild(element("div", "", "blank"));
    }
    item.appendChild(element("p", p.name.replace(/\.[a-z]+$/, ""), "name"));
    if (!p.checked) item.appendChild(element("p", "being looked at"));
    p.faults.forEach(function (f) { item.appendChild(element("p", f, "bad-words")); });
    if (p.checked && !p.faults.length) {
      item.appendChild(element("p", (p.cards === 1 ? "1 card" : p.cards + " cards") + (p.place ? ", " + p.place : "")));
    }
    p.notes.forEach(function (n) { item.appendChild(element("p", n)); });
    var away = element("button", "Set aside", "key");
    away.type = "button";
    away.setAttribute("aria-label", "Set aside " + p.name);
    away.addEventListener("click", function () { post(place + "/aside", { photo: p.name }).then(look); });
    item.appendChild(away);
    return item;
  }
  function show_photos(state) {
    var list = byId("photos"), shown = {};
    Array.prototype.forEach.call(list.children, function (item) { shown[item.dataset.name] = item; });
    var wanted = state.photos.map(function (p) {
      var as = JSON.stringify(p), old = shown[p.name];
      if (old && old.dataset.as === as) return old;
      var item = photo(p);
      item.dataset.name = p.name;
      item.dataset.as = as;
      return item;
    });
    wanted.reverse();  // the newest first
    var same = wanted.length === list.children.length && wanted.every(function (w, i) { return list.children[i] === w; });
    if (!same) list.replaceChildren.apply(list, wanted);
    byId("count").textContent = state.photos.length || "";
    byId("aside-box").hidden = !state.aside.length;
    byId("aside").replaceChildren.apply(byId("aside"), state.aside.map(function (name) {
      var item = element("li", name), back = element("button", "Put back", "key");
      back.type = "button";
      back.setAttribute("aria-label", "Put back " + name);
      back.addEventListener("click", function () { post(place + "/back", { photo: name }).then(look); });
      item.appendChild(back);
      return item;
    }));
  }
  var of_card = byId("main").dataset.kind === "lens";
  if (of_card) byId("dial").parentNode.hidden = true;
  function show_dial(state) {
    if (of_card) return;
    var words;
    if (state.enough) words = "Enough: all round, low, high and from above.";
    else if (!state.photos.length) words = "Begin anywhere: low, with two cards in the picture, then walk round.";
    else if (!state.placed) words = "The dial fills from the third photo with cards on.";
    else {
      var next_three = state.missing.slice(0, 3);
      words = "Next: " + next_three.join("; ") + (state.missing.length > 3 ? "; and " + (state.missing.length - 3) + " more" : "") + ".";
      if (state.card_at_twelve) words += " Card " + state.card_at_twelve + " lies at 12.";
    }
    var place_for = byId("enough");
    if (place_for.textContent !== words) place_for.textContent = words;
    place_for.className = state.enough ? "good" : "";
    if (byId("dial").dataset.as !== state.dial) { byId("dial").innerHTML = state.dial; byId("dial").dataset.as = state.dial; }
  }
  var job = null;
  function show_job(state) {
    job = state.job || null;
    var busy = job && (job.state === "running" || job.state === "waiting");
    var words = job ? (job.state === "waiting" ? "Waits its turn." : window.bench.said(job)) : "";
    if (!job && !of_card && state.photos.length && !state.enough) words = "It can be measured before the dial is full; what was not seen is then called unseen.";
    if (byId("stage").textContent !== words) byId("stage").textContent = words;
    byId("measure").hidden = busy;
    byId("measure").disabled = state.photos.length < 3;
    byId("measure").textContent = byId("measure").dataset.words + (state.leads_to ? " again" : "");
    byId("measure").classList.toggle("main", !state.leads_to);
    byId("cancel").hidden = !busy;
    byId("to-result").hidden = !state.leads_to || busy;
    if (state.leads_to) {
      byId("to-result").href = state.leads_to.place;
      byId("to-result").textContent = state.leads_to.words;
    }
    var bar = byId("share");
    bar.hidden = !(job && job.state === "running");
    if (job && job.share !== undefined) bar.value = job.share; else bar.removeAttribute("value");
  }
  var last = "", asking = false;
  function look() {
    if (asking || document.hidden) return;
    asking = true;
    fetch(place + "/state").then(function (r) { return r.ok ? r.text() : ""; }).then(function (text) {
      asking = false;
      if (!text || text === last) return;
      last = text;
      var state = JSON.parse(text);
      show_photos(state);
      show_dial(state);
      show_job(state);
    }).catch(function () { asking = false; });
  }
  byId("measure").addEventListener("click", function () {
    post(place + "/measure").then(function (r) {
      if (!r.ok) return r.text().then(function (t) { byId("stage").textContent = t; });
      look();
    }).catch(function () { byId("stage").textContent = "The bench cannot be reached; try again."; });
  });
  byId("cancel").addEventListener("click", function () { if (job) post("/work/cancel", { id: job.id }).then(look); });
  look();
  setInterval(look, 700);
})();
