// Every page of the bench: what is at work, making a bowl, the result's ticks.
(function () {
  "use strict";
  var byId = function (id) { return document.getElementById(id); };
  var main = byId("main"), place = main.dataset.place || "";

  function element(name, text, kind) {
    var e = document.createElement(name);
    if (text) e.textContent = text;
    if (kind) e.className = kind;
    return e;
  }
  function post(where, fields) {
    return fetch(where, { method: "POST", headers: { "Content-Type": "application/x-www-form-urlencoded", "Accept": "application/json" },
      body: new URLSearchParams(fields || {}).toString() });
  }
  function left(seconds) {
    if (seconds === undefined) return "";
    return seconds < 60 ? ", less than a minute left" : ", about " + Math.ceil(seconds / 60) + " min left";
  }
  var words = { waiting: "waits its turn", running: "at work", done: "done", failed: "could not be done", crashed: "broke off", cancelled: "cancelled" };
  function said(job) {
    if (job.state === "running") return (job.stage || "beginning") + left(job.seconds_left);
    return job.message || words[job.state];
  }
  window.bench = { byId: byId, element: element, post: post, said: said };

  // What is at work.
  function showJobs(jobs) {
    var list = byId("jobs");
    if (!list) return;
    list.replaceChildren();
    if (!jobs.length) list.appendChild(element("li", "Nothing has been asked for yet."));
    jobs.slice(0, 40).forEach(function (job) {
      var item = element("li", "", "plate"), head = element("h2"), link = element("a", job.words);
      link.href = job.place;
      head.appendChild(link);
      item.appendChild(head);
      item.appendChild(element("p", words[job.state] + ": " + said(job), "said"));
      if (job.state === "waiting" || job.state === "running") {
        var stop = element("button", "Cancel", "key");
        stop.type = "button";
        stop.setAttribute("aria-label", "Cancel: " + job.words);
        stop.addEventListener("click", function () { post("/work/cancel", { id: job.id }).then(look); });
        item.appendChild(stop);
      }
      list.appendChild(item);
    });
  }
  var lastJobs = "", busyBefore = false;
  function look() {
    if (document.hidden) return;
    fetch("/work.json").then(function (r) { return r.ok ? r.text() : ""; }).then(function (text) {
      if (!text || text === lastJobs) return;
      lastJobs = text;
      var jobs = JSON.parse(text).jobs, open = jobs.filter(function (j) { return j.state === "running" || j.state === "waiting"; });
      byId("at-work").textContent = open.length ? "(" + open.length + ")" : "";
      showJobs(jobs);
      // A plan being laid out, patterns being made: the page has more to show once they are.
      if (busyBefore && !open.length && (byId("no-plan") || main.querySelector("form[action$='/patterns']"))) location.reload();
      busyBefore = open.length > 0;
    }).catch(function () { /* asked again */ });
  }
  look();
  setInterval(look, byId("jobs") ? 1500 : 5000);

  // The code changes after each device.
  if (main.dataset.phones) {
    setInterval(function () {
      if (document.hidden) return;
      fetch("/phones/code").then(function (r) { return r.ok ? r.text() : ""; }).then(function (code) {
        if (code && code.trim() !== main.dataset.phones) location.reload();
      }).catch(function () { /* asked again */ });
    }, 2000);
  }

  // A new bowl.
  var form = byId("new-bowl");
  if (form) {
    form.addEventListener("change", function () { 
      byId("stock").hidden = form.elements.from.value !== "form";
      byId("from-file").hidden = form.elements.from.value === "photos";
    });
    form.addEventListener("submit", function (e) {
      e.preventDefault();
      var file = byId("file").files[0], query = new URLSearchParams({ name: byId("name").value, from: form.elements.from.value });
      if (!file && form.elements.from.value !== "photos") { byId("said").textContent = "Choose the file first."; return; }
      if (file) query.set("ending", file.name.split(".").pop().toLowerCase());
      query.set("thickness", byId("thickness").value);
      query.set("piece", byId("piece").value);
      query.set("fill", byId("fill").value);
      fetch("/new?" + query, { method: "POST", body: file || "" }).then(function (r) {
        return r.text().then(function (text) {
          if (r.ok) location.href = JSON.parse(text).place; else byId("said").textContent = text;
        });
      }).catch(function () { byId("said").textContent = "The bench cannot be reached; try again."; });
    });
  }
  var lens = document.querySelector("[data-lens]");
  if (lens) lens.addEventListener("change", function () {
    var file = lens.files[0];
    if (!file) return;
    fetch("/lenses?name=" + encodeURIComponent(file.name), { method: "POST", body: file }).then(function (r) {
      return r.text().then(function (text) {
        if (r.ok) location.reload(); else byId("lens-said").textContent = text;
      });
    }).catch(function () { byId("lens-said").textContent = "The bench cannot be reached; try again."; });
  });

  // The result's page stands in a frame, in a world of its own; its ticks go through here to the server.
  var frame = byId("result");
  if (frame) {
    var ticked = null;
    var hand = function () { if (ticked) frame.contentWindow.postMessage({ interstice: "ticks", on: ticked }, "*"); };
    var fetchTicks = function () {
      if (document.hidden) return;
      fetch(place + "/ticks").then(function (r) { return r.ok ? r.json() : null; }).then(function (d) {
        if (d) { ticked = d.on; hand(); byId("ticks-said").textContent = ""; }
      }).catch(function () { byId("ticks-said").textContent = "No connection: ticks are not kept."; });
    };
    window.addEventListener("message", function (e) {
      if (e.source !== frame.contentWindow || !e.data) return;
      if (e.data.interstice === "ready") { hand(); fetchTicks(); }
      if (e.data.interstice === "tick") {
        post(place + "/ticks", { id: String(e.data.id), on: e.data.on ? "1" : "0" }).then(function (r) {
          if (!r.ok) throw new Error();
          return r.json();
        }).then(function (d) { ticked = d.on; hand(); }).catch(function () {
          byId("ticks-said").textContent = "No connection: this tick was not kept.";
          hand();
        });
      }
    });
    fetchTicks();
    setInterval(fetchTicks, 2500);
  }
})();
