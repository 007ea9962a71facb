// Plays the recordings of a rater's page: all of them run together, one is heard, so that switching is instant.
(function () {
  "use strict";
  var player = document.querySelector("[data-player]");
  var Context = window.AudioContext || window.webkitAudioContext;
  if (!player || !Context) { return; }
  var board = player.querySelector(".player-board"), keys = player.querySelector(".player-keys");
  var told = player.querySelector("[data-state]"), load = player.querySelector("[data-load]");
  var loudness = player.querySelector("#loudness");
  var buttons = Array.prototype.slice.call(player.querySelectorAll("[data-sound]"));
  var context = null, master = null, playing = [], sounds = [];
  var FADE_S = 0.01; // short enough to be instant, long enough not to click

  board.hidden = false;

  function setLoudness() {
    if (master) { master.gain.setTargetAtTime(Math.pow(10, Number(loudness.value) / 20), context.currentTime, FADE_S); }
  }

  function fetchAll() {
    load.disabled = true;
    context = new Context();
    master = context.createGain();
    master.gain.value = Math.pow(10, Number(loudness.value) / 20);
    master.connect(context.destination);
    var done = 0;
    told.textContent = "0 of " + buttons.length + " loaded";
    Promise.all(buttons.map(function (button) {
      return fetch(button.dataset.sound).then(function (answer) {
        if (!answer.ok) { throw new Error(String(answer.status)); }
        return answer.arrayBuffer();
      }).then(function (bytes) { return context.decodeAudioData(bytes); }).then(function (sound) {
        done += 1;
        told.textContent = done + " of " + buttons.length + " loaded";
        return sound;
      });
    })).then(function (all) {
      sounds = all;
      load.hidden = true;
      keys.hidden = false;
      told.textContent = "Ready. Begin quietly.";
      player.dataset.ready = "1";
    }).catch(function () {
      told.textContent = "The recordings could not be loaded.";
      load.disabled = false;
    });
  }

  function start() {
    var at = context.currentTime + 0.05; // all of them at the same sample
    playing = sounds.map(function (sound) {
      var source = context.createBufferSource(), gain = context.createGain();
      source.buffer = sound;
      source.loop = true;
      gain.gain.value = 0;
      source.connect(gain);
      gain.connect(master);
      source.start(at);
      return { source: source, gain: gain };
    });
  }

  function hear(place) {
    context.resume();
    if (!playing.length) { start(); }
    playing.forEach(function (item, own) { item.gain.gain.setTargetAtTime(own === place ? 1 : 0, context.currentTime, FADE_S / 3); });
    show(place);
    player.dataset.heard = String(place);
  }

  function show(place) {
    buttons.forEach(function (button, own) { button.setAttribute("aria-pressed", own === place ? "true" : "false"); });
  }

  function stop() {
    playing.forEach(function (item) { item.source.stop(); });
    playing = [];
    show(-1);
  }

  load.addEventListener("click", fetchAll);
  loudness.addEventListener("input", setLoudness);
  player.querySelector("[data-stop]").addEventListener("click", stop);
  buttons.forEach(function (button, place) { button.addEventListener("click", function () { hear(place); }); });
})();
