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
