// The page's policy allows no style attribute in markup, and setAttribute("style", ...) counts as one. Writing the same text
// through the style object is allowed, so the two are made one for the drawings.
(function () {
  "use strict";
  [SVGElement.prototype, HTMLElement.prototype].forEach(function (kind) {
    var plain = Element.prototype.setAttribute;
    kind.setAttribute = function (name, value) {
      if (String(name).toLowerCase() === "style") { this.style.cssText = value; return; }
      plain.call(this, name, value);
    };
  });
  // The library would put style elements into the head, which the policy stops and the console reports. What its drawings
  // need stands in app.css; its own switch for this is an element of that id and class.
  var off = document.createElement("meta");
  off.id = "plotly.js-style-global";
  off.className = "no-inline-styles";
  document.head.appendChild(off);
  var append = document.head.appendChild;
  document.head.appendChild = function (node) { return node.tagName === "STYLE" ? node : append.call(this, node); };
  Array.prototype.forEach.call(document.querySelectorAll(".plot[data-height]"), function (plot) {
    plot.style.minHeight = plot.dataset.height + "px";
  });
})();
