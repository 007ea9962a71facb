(function () {
  "use strict";
  var settings = JSON.parse(document.getElementById("chart-settings").textContent);
  var dark = window.matchMedia("(prefers-color-scheme: dark)");
  var paperWidth = 860; // what the wide drawing is made for
  var paperZoom = 0.78; // brings it between the margins of A4 and Letter
  var narrowBelow = 720; // names of levels would run into each other in the wide drawing
  var narrowest = 350; // what the narrow drawing can do with
  var mostGrown = 2; // beyond it, little but letters would be left
  var leastGrown = 1.08; // less is not seen
  var shareLeft = 0.75; // of the width of what is drawn; names at its side must not take more
  var lengths = ["height", "xshift", "yshift", "standoff"]; // in pixels, beside margins and letters
  var exchange = {};
  Object.keys(settings.colours.light).forEach(function (name) {
    exchange[settings.colours.light[name]] = settings.colours.dark[name];
  });

  function darkened(key, value) {
    if (typeof value !== "string") { return value; }
    if (exchange[value]) { return exchange[value]; }
    return value.replace(/color:(#[0-9a-f]{6})/g, function (all, hue) { return "color:" + (exchange[hue] || hue); });
  }

  function drawing(figure, narrow) {
    return figure.querySelector('script[data-drawing="' + (narrow ? "narrow" : "wide") + '"]').textContent;
  }

  // Letters of a chart are drawn for a browser's usual 16 px; where somebody asks for larger ones, the whole chart grows with
  // them, as far as there is room. A transform, since plotly finds what lies under the pointer through one.
  function asked() { return parseFloat(window.getComputedStyle(document.documentElement).fontSize) / 16 || 1; }

  function enlarged(figure) { return Math.max(1, Math.min(asked(), figure.clientWidth / narrowest)); }

  function enlarge(plot, scale, height) {
    plot.style.transform = scale > 1 ? "scale(" + scale + ")" : "";
    plot.style.transformOrigin = "0 0";
    plot.style.width = scale > 1 ? 100 / scale + "%" : "";
    plot.style.marginBottom = scale > 1 ? height * (scale - 1) + "px" : "";
  }

  // Where there is no room for that, letters alone grow, and with them heights and margins: the drawing stays as wide as it is.
  function grown(value, by, key) {
    if (typeof value === "string") {
      return value.replace(/font-size:(\d+)px/g, function (all, size) { return "font-size:" + Math.round(size * by) + "px"; });
    }
    if (!value || typeof value !== "object") { return value; }
    if (Array.isArray(value)) { return value.map(function (item) { return grown(item, by, ""); }); }
    var made = {};
    Object.keys(value).forEach(function (name) {
      var isLonger = key === "margin" || (/font$/i.test(key) && name === "size") || lengths.indexOf(name) >= 0;
      made[name] = isLonger && typeof value[name] === "number" ? value[name] * by : grown(value[name], by, name);
    });
    return made;
  }

  // How many texts of a drawing leave it or lie over one another.
  function crowded(plot) {
    var room = plot.getBoundingClientRect(), count = 0;
    var seen = Array.prototype.map.call(plot.querySelectorAll(".main-svg text"), function (item) {
      return item.getBoundingClientRect();
    }).filter(function (box) { return box.width > 0 && box.height > 0; });
    seen.forEach(function (box, place) {
      if (box.left < room.left - 1 || box.right > room.right + 1 || box.bottom > room.bottom + 1) { count += 1; }
      seen.slice(place + 1).forEach(function (other) {
        var wide = Math.min(box.right, other.right) - Math.max(box.left, other.left);
        var high = Math.min(box.bottom, other.bottom) - Math.max(box.top, other.top);
        if (wide > 2 && high > 2) { count += 1; }
      });
    });
    return count;
  }

  function put(plot, parsed, printing) {
    plot.style.minHeight = parsed.layout.height + "px";
    window.Plotly.newPlot(plot, parsed.data, parsed.layout, Object.assign({}, settings.config, { responsive: !printing }));
  }

  // Draw with letters as much larger as is asked for, or as little less as keeps them apart and leaves room.
  function putLarge(plot, parsed, wanted) {
    var usual = crowded(plot), width = plot._fullLayout._size.w, by = Math.min(wanted, mostGrown);
    for (; by > leastGrown; by *= 0.9) {
      put(plot, grown(parsed, by, ""), false);
      if (crowded(plot) <= usual && plot._fullLayout._size.w >= shareLeft * width) { plot.dataset.letters = by; return; }
    }
    put(plot, parsed, false);
  }

  function draw(figure, printing) {
    var plot = figure.querySelector(".plot");
    var scale = printing ? 1 : enlarged(figure);
    var narrow = !printing && figure.clientWidth / scale < narrowBelow;
    var more = printing ? 1 : asked() / scale;
    var made = [narrow, !printing && dark.matches, printing, scale, more, more > leastGrown ? figure.clientWidth : ""].join();
    if (plot.dataset.made === made) { return; }
    var parsed = JSON.parse(drawing(figure, narrow), !printing && dark.matches ? darkened : undefined);
    var layout = parsed.layout;
    if (printing) {
      layout.width = paperWidth;
      layout.paper_bgcolor = layout.plot_bgcolor = "rgba(0,0,0,0)";
    }
    plot.style.zoom = printing ? paperZoom : "";
    enlarge(plot, scale, layout.height);
    put(plot, parsed, printing);
    delete plot.dataset.letters;
    if (more > leastGrown) { putLarge(plot, parsed, more); }
    plot.dataset.made = made;
  }

  function drawAll(printing) {
    Array.prototype.forEach.call(document.querySelectorAll("figure.chart"), function (figure) { draw(figure, printing); });
  }

  var waiting = 0;
  window.addEventListener("resize", function () {
    window.clearTimeout(waiting);
    waiting = window.setTimeout(function () { drawAll(false); }, 120);
  });
  dark.addEventListener("change", function () { drawAll(false); });
  window.addEventListener("beforeprint", function () { drawAll(true); });
  window.addEventListener("afterprint", function () { drawAll(false); });
  drawAll(false);
})();
