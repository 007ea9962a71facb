(function () {
  "use strict";
  var body = document.body;

  // Drafts: what was typed survives a closed tab, until it is stored.
  var store, tab; // what is kept for good, and what this tab knows
  try { store = window.localStorage; tab = window.sessionStorage; store.getItem("x"); } catch (error) { store = null; }

  function read(key) {
    try { return JSON.parse(store.getItem(key) || "null"); } catch (error) { return null; }
  }

  function write(key, value) {
    if (!store) { return; }
    try { if (value === null) { store.removeItem(key); } else { store.setItem(key, JSON.stringify(value)); } } catch (error) { /* full */ }
  }

  function named(form) {
    return Array.prototype.filter.call(form.elements, function (item) {
      return item.name && item.type !== "hidden" && item.type !== "file" && item.type !== "password";
    });
  }

  function typed(form) {
    var found = {};
    named(form).forEach(function (item) {
      if (item.type === "radio" || item.type === "checkbox") {
        if (item.checked) { (found[item.name] = found[item.name] || []).push(item.value); }
      } else { found[item.name] = item.value; }
    });
    return found;
  }

  function fill(form, draft) {
    named(form).forEach(function (item) {
      if (item.type === "radio" || item.type === "checkbox") {
        item.checked = (draft[item.name] || []).indexOf(item.value) >= 0 && !item.disabled;
      } else if (item.name in draft) { item.value = draft[item.name]; }
    });
  }

  function draftKey(form) { return "fettle draft " + location.host + " " + form.dataset.draft; }

  // What was sent is no draft any more once a page says that something was stored, whichever page that is.
  function dropSent() {
    if (!store) { return; }
    var key = tab.getItem("fettle sent");
    if (key && body.dataset.done) { write(key, null); }
    tab.removeItem("fettle sent");
  }

  function keepDrafts(form) {
    var key = draftKey(form);
    var first = JSON.stringify(typed(form));
    var draft = store && !form.dataset.returned ? read(key) : null;
    if (draft && JSON.stringify(draft) !== first) {
      fill(form, draft);
      say("What you typed here before is still there.", "Start afresh", function () { write(key, null); location.reload(); });
    }
    form.addEventListener("input", function () { form.dataset.dirty = "1"; write(key, typed(form)); });
  }

  // Plus and minus beside numbers, for a thumb.
  function places(text) { var dot = text.indexOf("."); return dot < 0 ? 0 : text.length - dot - 1; }

  function addSteps(entry) {
    var input = entry.querySelector("input");
    function button(sign, label) {
      var made = document.createElement("button");
      made.type = "button";
      made.className = "step";
      made.textContent = sign > 0 ? "+" : "−";
      made.setAttribute("aria-label", label);
      made.addEventListener("click", function () {
        var step = parseFloat(entry.dataset.step), low = parseFloat(entry.dataset.low), high = parseFloat(entry.dataset.high);
        var now = parseFloat(input.value.replace(",", "."));
        var next = isNaN(now) ? low : now + sign * step;
        next = Math.min(high, Math.max(low, next));
        input.value = String(parseFloat(next.toFixed(Math.max(places(entry.dataset.step), places(entry.dataset.low)))));
        input.dispatchEvent(new Event("input", { bubbles: true }));
      });
      return made;
    }
    var label = input.labels && input.labels[0] ? input.labels[0].querySelector("bdi").textContent : "";
    entry.insertBefore(button(-1, "less " + label), entry.firstChild);
    entry.appendChild(button(1, "more " + label));
  }

  // Say how much was changed.
  function countChanges(form) {
    var told = form.querySelector(".changes");
    if (!told || !form.querySelector("[data-was]")) { return; } // all of a new unit is new
    function count() {
      var changed = 0;
      Array.prototype.forEach.call(form.querySelectorAll("[data-was]"), function (field) {
        var input = field.querySelector("input:checked") || field.querySelector("input[type=text]");
        var differs = !!input && input.value !== field.dataset.was;
        field.classList.toggle("changed", differs);
        changed += differs ? 1 : 0;
      });
      told.textContent = changed ? (changed === 1 ? "1 setting changed" : changed + " settings changed") : "nothing changed yet";
    }
    form.addEventListener("input", count);
    count();
  }

  // A form is sent once, however often it is tapped. (The server makes sure of it; this only says so.)
  function sendOnce(form) {
    form.addEventListener("submit", function (event) {
      if (form.dataset.sent) { event.preventDefault(); return; }
      if (form.method !== "post") { return; }
      form.dataset.sent = "1";
      if (store && form.dataset.draft) { tab.setItem("fettle sent", draftKey(form)); }
    });
  }

  function keepChecks(list) {
    var key = "fettle " + location.host + " " + list.dataset.keep;
    var boxes = list.querySelectorAll("input[type=checkbox]");
    (read(key) || []).forEach(function (place) { if (boxes[place]) { boxes[place].checked = true; } });
    list.addEventListener("change", function () {
      var done = [];
      Array.prototype.forEach.call(boxes, function (box, place) { if (box.checked) { done.push(place); } });
      write(key, done);
    });
  }

  // News from other devices.
  function say(text, label, act) {
    var news = document.getElementById("news");
    if (!news) { return; }
    news.textContent = text + " ";
    if (label) {
      var button = document.createElement("button");
      button.type = "button";
      button.className = "quiet";
      button.textContent = label;
      button.addEventListener("click", act);
      news.appendChild(button);
    }
    news.hidden = false;
  }

  function isBusy() {
    return !!document.querySelector("form[data-dirty]") || !!(document.activeElement && /^(INPUT|TEXTAREA|SELECT)$/.test(document.activeElement.tagName));
  }

  function hasCharts(text) { return text.indexOf('class="plot"') >= 0; }

  function refresh() {
    var main = document.getElementById("main");
    var address = location.pathname + location.search.replace(/([?&])done=\d+&?/, "$1").replace(/[?&]$/, "");
    return fetch(address, { headers: { Accept: "text/html" }, cache: "no-store" }).then(function (answer) {
      return answer.text();
    }).then(function (text) {
      if (hasCharts(text) && !window.Plotly) { location.assign(address); return; }
      var fresh = new DOMParser().parseFromString(text, "text/html");
      var made = fresh.getElementById("main"), head = fresh.querySelector(".masthead");
      if (!made) { return; }
      main.replaceChildren.apply(main, Array.prototype.slice.call(made.childNodes));
      if (head) { document.querySelector(".masthead").replaceWith(head); }
      body.dataset.entry = fresh.body.dataset.entry;
      begin(main);
      window.dispatchEvent(new Event("resize")); // the charts draw themselves anew
      watchWork();
    });
  }

  function listen() {
    if (!body.dataset.live || !window.EventSource) { return; }
    var source = null;
    function change(event) {
      var told = JSON.parse(event.data);
      if (told.entry <= Number(body.dataset.entry)) { return; }
      var main = document.getElementById("main");
      if (main.dataset.fresh && !isBusy()) {
        refresh().then(function () { say("Just now: " + told.summary + "."); });
      } else {
        say("Just now, elsewhere: " + told.summary + ".", "Reload the page", function () { location.reload(); });
      }
    }
    // A browser keeps about six connections to one server: tabs in the background give theirs up, and catch up when seen.
    function follow() {
      if (source) { source.close(); source = null; }
      if (document.hidden) { return; }
      source = new EventSource(body.dataset.live + "?since=" + body.dataset.entry);
      source.addEventListener("change", change);
    }
    document.addEventListener("visibilitychange", follow);
    window.addEventListener("pagehide", function () { if (source) { source.close(); } });
    window.addEventListener("pageshow", function (event) { if (event.persisted) { follow(); } });
    follow();
  }

  function watchWork() {
    if (document.querySelector("[data-working]")) { window.setTimeout(function () { if (!isBusy()) { refresh(); } }, 800); }
  }

  // Predictions follow the settings as they are changed; the answer takes the place of the one before.
  function follow(form) {
    var latest = 0;
    form.addEventListener("input", function () {
      var own = latest += 1;
      window.setTimeout(function () {
        if (own !== latest) { return; }
        var query = new URLSearchParams(new FormData(form)).toString(), answer = document.getElementById("answer");
        answer.setAttribute("aria-busy", "true");
        fetch(form.getAttribute("action") + "?" + query, { headers: { Accept: "text/html" }, cache: "no-store" }).then(function (got) {
          return got.text();
        }).then(function (text) {
          if (own !== latest) { return; }
          var made = new DOMParser().parseFromString(text, "text/html").getElementById("answer");
          answer.replaceChildren.apply(answer, Array.prototype.slice.call(made.childNodes));
          answer.removeAttribute("aria-busy");
          window.history.replaceState(null, "", "?" + query);
        });
      }, 250);
    });
  }

  // A file that takes a while to make: the link says so until it is there. Without this script the browser itself waits.
  function keepWhenMade(link) {
    link.addEventListener("click", function (event) {
      if (!window.fetch || !window.URL || !URL.createObjectURL) { return; }
      event.preventDefault();
      if (link.getAttribute("aria-busy")) { return; }
      var told = link.textContent;
      link.setAttribute("aria-busy", "true");
      link.textContent = link.dataset.making;
      fetch(link.href, { cache: "no-store" }).then(function (got) {
        if (!got.ok) { throw new Error(got.status); }
        var named = /filename="([^"]*)"/.exec(got.headers.get("Content-Disposition") || "");
        return got.blob().then(function (file) {
          var made = document.createElement("a");
          made.href = URL.createObjectURL(file);
          made.download = named ? named[1] : "report.html";
          document.body.appendChild(made);
          made.click();
          made.remove();
          window.setTimeout(function () { URL.revokeObjectURL(made.href); }, 60000);
        });
      }).catch(function () { window.location.assign(link.href); }).then(function () {
        link.removeAttribute("aria-busy");
        link.textContent = told;
      });
    });
  }

  function begin(part) {
    Array.prototype.forEach.call(part.querySelectorAll(".entry[data-step]"), addSteps);
    Array.prototype.forEach.call(part.querySelectorAll("form"), function (form) {
      countChanges(form);
      if (form.dataset.draft && store) { keepDrafts(form); countChanges(form); }
      if (form.dataset.follow) { follow(form); }
      sendOnce(form);
    });
    Array.prototype.forEach.call(part.querySelectorAll("[data-keep]"), keepChecks);
    Array.prototype.forEach.call(part.querySelectorAll("[data-making]"), keepWhenMade);
  }

  dropSent();
  begin(document);
  listen();
  watchWork();
  var bad = document.querySelector("[aria-invalid=true]") || document.querySelector(".head-problem[tabindex]");
  if (bad) {
    bad.focus();
    window.addEventListener("load", function () { // going to the form that the address names takes the focus away
      if (document.activeElement === body) { bad.focus(); }
    });
  }
})();
