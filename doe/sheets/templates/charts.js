(function () {
  "use strict";
  var settings = JSON.parse(document.getElementById("chart-settings").textContent);
  var dark = window.matchMedia("(prefers-color-scheme: dark)");
  var paperWidth = 860; // what the wide drawing is made for
  var paperZoom = 0.78; // brings it between the margins of A4 and Letter
  var narrowBelow = 720; // names of levels would run into each other in the wide drawing
  var narrowest = 350; // what the narrow drawing can do with
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
  function enlarged(figure) {
    var letters = parseFloat(window.getComputedStyle(document.documentElement).fontSize) / 16;
    return Math.max(1, Math.min(letters || 1, figure.clientWidth / narrowest));
  }

  function enlarge(plot, scale, height) {
    plot.style.transform = scale > 1 ? "scale(" + scale + ")" : "";
    plot.style.transformOrigin = "0 0";
    plot.style.width = scale > 1 ? 100 / scale + "%" : "";
    plot.style.marginBottom = scale > 1 ? height * (scale - 1) + "px" : "";
  }

  function draw(figure, printing) {
    var plot = figure.querySelector(".plot");
    var scale = printing ? 1 : enlarged(figure);
    var narrow = !printing && figure.clientWidth / scale < narrowBelow;
    var made = [narrow, !printing && dark.matches, printing, scale].join();
    if (plot.dataset.made === made) { return; }
    var parsed = JSON.parse(drawing(figure, narrow), !printing && dark.matches ? darkened : undefined);
    var layout = parsed.layout;
    if (printing) {
      layout.width = paperWidth;
      layout.paper_bgcolor = layout.plot_bgcolor = "rgba(0,0,0,0)";
    }
    plot.style.zoom = printing ? paperZoom : "";
    plot.style.minHeight = layout.height + "px";
    enlarge(plot, scale, layout.height);
    window.Plotly.newPlot(plot, parsed.data, layout, Object.assign({}, settings.config, { responsive: !printing }));
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
