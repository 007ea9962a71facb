"""What a chart really drew, turned back from pixels."""

INTERVALS = """id => {
    const plot = document.getElementById(id), axis = plot._fullLayout.xaxis, found = [];
    for (const line of plot.querySelectorAll(".scatterlayer path.js-line")) {
        for (const [, x1, y, x2] of line.getAttribute("d").matchAll(/M([-\\d.]+),([-\\d.]+)[LH]([-\\d.]+)/g)) {
            found.push([parseFloat(y), axis.p2d(parseFloat(x1)), axis.p2d(parseFloat(x2)), axis.p2d(1) - axis.p2d(0)]);
        }
    }
    return found.sort((a, b) => a[0] - b[0]);
}"""

ENDS = """id => {
    const plot = document.getElementById(id), found = [];
    for (const drawn of plot.querySelectorAll(".scatterlayer .trace")) {
        const trace = drawn.__data__[0].trace;
        if (!trace.name.endsWith(" interval")) continue;
        const axes = {x: plot._fullLayout["xaxis" + trace.xaxis.slice(1)], y: plot._fullLayout["yaxis" + trace.yaxis.slice(1)]};
        const lines = [...drawn.querySelectorAll("path.js-line")].map(path => path.getAttribute("d")).join("");
        const number = "([-\\\\d.]+)";
        const step = new RegExp(`M${number},${number}(?:L${number},${number}|H${number}|V${number})`, "g");
        for (const [, x1, y1, x2, y2, h, v] of lines.matchAll(step)) {
            const from = {x: +x1, y: +y1}, to = {x: +(x2 ?? h ?? x1), y: +(y2 ?? v ?? y1)};
            const side = from.x === to.x && from.y !== to.y ? "y" : "x", axis = axes[side];
            const ends = [axis.p2d(from[side]), axis.p2d(to[side])].sort((a, b) => a - b);
            const range = [...axis.range].map(Number).sort((a, b) => a - b);
            found.push({axis: axis._id, low: ends[0], high: ends[1], pixel: Math.abs(axis.p2d(1) - axis.p2d(0)), range});
        }
    }
    return found;
}"""
"""By id of a chart, every interval as it stands on the screen: its axis, its ends in data units, one pixel in data units."""
