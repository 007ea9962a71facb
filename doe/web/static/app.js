(function () {
  "use strict";
  var body = document.body;

  // Drafts: what was typed survives a closed tab, until it is stored.
  var store, tab; // what is kept for good, and what this tab knows
  try { store = window.localStorage; tab = window.sessionStorage; store.getItem("x"); } catch (error) { store = null; }

  function parsed(text) {
    try { return JSON.parse(text || "null"); } catch (error) { return null; }
  }

  function read(key) { return parsed(store.getItem(key)); }

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

  function pageOf(once) { return once ? once.value.split(".")[0] : ""; }

  function doneHere() { return new URLSearchParams(location.search).get("done"); }

  function noteSent(form) {
    if (!store) { return; }
    var once = form.elements.namedItem("once");
    var sent = { draft: form.dataset.draft ? draftKey(form) : "", once: pageOf(once), done: doneHere() };
    tab.setItem("fettle sent", JSON.stringify(sent));
  }

  // What was sent is no draft any more once a page says that something was stored, whichever page that is; but not the page
  // that it was sent from, to which Back leads when nothing came of it.
  function dropSent() {
    if (!store) { return; }
    var sent = parsed(tab.getItem("fettle sent"));
    if (sent && body.dataset.done && doneHere() !== sent.done) {
      if (sent.draft && body.dataset.done !== "earlier") { write(sent.draft, null); } // what was changed since is still to be sent
      tab.setItem("fettle stored", sent.once);
    }
    tab.removeItem("fettle sent");
  }

  function keepDrafts(form) {
    var key = draftKey(form);
    var first = JSON.stringify(typed(form));
    var draft = store && !form.dataset.returned ? read(key) : null;
    if (draft && JSON.stringify(draft) !== first) {
      fill(form, draft);
      say("What you typed here before is still there.", "Start afresh", function () { write(key, null); reload(); });
    }
    form.addEventListener("input", function () { write(key, typed(form)); });
  }

  function markTouched(event) {
    var form = event.target.form;
    if (form && !form.dataset.follow) { form.dataset.dirty = "1"; } // what is followed stands in the address too
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

  // A form is sent once, however often it is tapped. (The server makes sure of it; this only says so.) Nothing tells a page
  // that sending was stopped, so after a while, or as soon as something is changed, the button works again.
  var waits = [];

  function showWaiting(form, button) {
    var told = Array.prototype.slice.call(button.childNodes), timer = window.setTimeout(end, 8000);
    function end() {
      window.clearTimeout(timer);
      form.removeEventListener("input", end);
      button.replaceChildren.apply(button, told);
      delete form.dataset.sent;
    }
    button.textContent = button.dataset.waiting || "One moment…";
    form.addEventListener("input", end);
    waits.push(end);
  }

  function sendOnce(form) {
    if (form.method !== "post") { return; }
    form.addEventListener("submit", function (event) {
      if (form.dataset.sent) { event.preventDefault(); return; }
      form.dataset.sent = "1";
      showWaiting(form, event.submitter || form.querySelector("button:not([type=button])"));
      noteSent(form);
    });
  }

  // Back to a page that the browser kept as it was: what was stored from it cannot be sent from it once more.
  function comeBack(event) {
    waits.forEach(function (end) { end(); });
    waits = [];
    var once = document.querySelector("form [name=once]");
    if (event.persisted && store && once && pageOf(once) === tab.getItem("fettle stored")) { reload(); }
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

  function reload() { location.reload(); }

  function hasFiles() {
    return Array.prototype.some.call(document.querySelectorAll("input[type=file]"), function (item) { return item.files.length > 0; });
  }

  function isBusy() {
    var item = document.activeElement;
    return !!document.querySelector("form[data-dirty], #main .problem") || hasFiles() || // what was refused stands there as it was typed
      !!(item && item.form && /^(INPUT|TEXTAREA|SELECT)$/.test(item.tagName));
  }

  // Instead of drawing a page anew under the hands of somebody who fills a form on it.
  function offerReload(text) {
    var lost = document.querySelector("form[data-dirty]:not([data-draft])") ? "what was filled in here" : hasFiles() ? "the files chosen here" : "";
    say(text + (lost ? " Reloading drops " + lost + "." : ""), "Reload the page", reload);
  }

  // What an element is called, so that it is found again on the page that takes the place of this one.
  function signOf(item) {
    var said = item.querySelector("summary") || item;
    return item.id || [item.name, item.getAttribute("href"), item.dataset.called, said.textContent].join(" ");
  }

  function twinOf(item, old, made) {
    function alike(part) {
      return Array.prototype.filter.call(part.querySelectorAll(item.tagName), function (other) { return signOf(other) === signOf(item); });
    }
    return alike(made)[alike(old).indexOf(item)];
  }

  // Put what was made anew in the place of the old; what was open stays open, and the focus stays where it was.
  function swap(old, made) {
    var held = document.activeElement, twin = held !== old && old.contains(held) ? twinOf(held, old, made) || old : null;
    Array.prototype.forEach.call(old.querySelectorAll("details"), function (details) {
      var same = twinOf(details, old, made);
      if (same) { same.open = details.open; }
    });
    old.replaceChildren.apply(old, Array.prototype.slice.call(made.childNodes));
    if (twin) { twin.focus({ preventScroll: true }); }
  }

  function here() { return location.pathname + location.search.replace(/([?&])done=\d+&?/, "$1").replace(/[?&]$/, ""); }

  function look() {
    return fetch(here(), { headers: { Accept: "text/html" }, cache: "no-store" }).then(function (answer) {
      return answer.ok ? answer.text() : "";
    }).then(function (text) { return text ? new DOMParser().parseFromString(text, "text/html") : null; });
  }

  // Draw the page anew, unless somebody is busy on it, perhaps since it was asked for; tell whether it was drawn.
  function draw(fresh) {
    var main = document.getElementById("main"), made = fresh && fresh.getElementById("main");
    if (!made || isBusy()) { return false; }
    if (made.querySelector(".plot") && !document.getElementById("chart-settings")) { location.assign(here()); return true; }
    swap(main, made);
    swap(document.querySelector(".masthead"), fresh.querySelector(".masthead"));
    body.dataset.entry = fresh.body.dataset.entry;
    begin(main);
    window.dispatchEvent(new Event("resize")); // the charts draw themselves anew
    watchWork();
    return true;
  }

  function listen() {
    if (!body.dataset.live || !window.EventSource) { return; }
    var source = null;
    function change(event) {
      var told = JSON.parse(event.data);
      if (told.entry <= Number(body.dataset.entry)) { return; }
      function offer() { offerReload("Just now, elsewhere: " + told.summary + "."); }
      if (!document.getElementById("main").dataset.fresh || isBusy()) { offer(); return; }
      look().then(function (fresh) {
        if (draw(fresh)) { say("Just now: " + told.summary + "."); } else { offer(); }
      }, offer);
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

  var watching = 0;
  function watchWork() {
    window.clearTimeout(watching);
    if (!document.querySelector("[data-working]")) { return; }
    watching = window.setTimeout(function () {
      look().then(function (fresh) {
        if (draw(fresh) || !fresh) { return; }
        if (fresh.querySelector("[data-working]")) { watchWork(); } else { offerReload("The work that this page waited for is over."); }
      }, watchWork);
    }, 800);
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

  // Fields that only some choices of a list ask for. What holds something, or was refused, is never hidden.
  function showWhenAsked(form) {
    var parts = form.querySelectorAll("[data-when]");
    function holds(part) {
      return Array.prototype.some.call(part.querySelectorAll("input, select, textarea"), function (item) { return item.value.trim() !== ""; });
    }
    function show() {
      Array.prototype.forEach.call(parts, function (part) {
        var asked = part.dataset.when.split("="), chosen = form.elements[asked[0]].value;
        var isAsked = asked[1] === "*" ? chosen !== "" : asked[1].split(" ").indexOf(chosen) >= 0;
        part.hidden = !isAsked && !holds(part) && !part.classList.contains("bad");
      });
    }
    form.addEventListener("change", show);
    show();
  }

  function begin(part) {
    Array.prototype.forEach.call(part.querySelectorAll(".entry[data-step]"), addSteps);
    Array.prototype.forEach.call(part.querySelectorAll("form"), function (form) {
      countChanges(form);
      if (form.dataset.draft && store) { keepDrafts(form); countChanges(form); }
      if (form.dataset.follow) { follow(form); }
      showWhenAsked(form);
      sendOnce(form);
    });
    Array.prototype.forEach.call(part.querySelectorAll("[data-keep]"), keepChecks);
    Array.prototype.forEach.call(part.querySelectorAll("[data-making]"), keepWhenMade);
  }

  dropSent();
  document.addEventListener("input", markTouched);
  document.addEventListener("change", markTouched);
  window.addEventListener("pageshow", comeBack);
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
