// Rates over speed and over room, drawn anew with every step: share of plants cut on a logarithmic axis, with its limits.

const SVG = "http://www.w3.org/2000/svg";
const WIDE = 460;
const HIGH = 300;
const LEFT = 62;
const RIGHT = 12;
const TOP = 12;
const BOTTOM = 44;
const LEAST = 1e-5;

function drawn(name, attributes, text) {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) {
        made.setAttribute(key, value);
    }
    if (text !== undefined) {
        made.textContent = text;
    }
    return made;
}

// `points`: rising `x` with its `text`, `cut` and `known` of the guided frame and `locked` rate. `now` is the x worked at.
function curve(box, { points, now, allowed, axis, title }) {
    const svg = drawn("svg", { viewBox: `0 0 ${WIDE} ${HIGH}`, role: "img", "aria-label": title });
    const [low, high] = [points[0]?.x ?? 0, points.at(-1)?.x ?? 1];
    const x = (value) => LEFT + (WIDE - LEFT - RIGHT) * (high > low ? (value - low) / (high - low) : 0.5);
    const y = (rate) => TOP + (HIGH - TOP - BOTTOM) * (Math.log10(Math.min(Math.max(rate, LEAST), 1)) / Math.log10(LEAST));
    for (const rate of [1, 0.1, 0.01, 0.001, 0.0001, 0.00001]) {
        svg.append(drawn("line", { class: "grid", x1: LEFT, x2: WIDE - RIGHT, y1: y(rate), y2: y(rate) }));
        const text = rate === 1 ? "all" : `1 in ${grouped(Math.round(1 / rate))}`;
        svg.append(drawn("text", { x: LEFT - 6, y: y(rate) + 4, "text-anchor": "end", class: "soft-text" }, rate === 0.00001 ? "fewer" : text.replace("1 in ", "1/")));
    }
    const path = (of) => points.filter((point) => of(point) !== undefined).map((point, i) => `${i ? "L" : "M"}${x(point.x).toFixed(1)} ${y(of(point)).toFixed(1)}`).join("");
    const band = (upper, lower) => {
        const there = points.filter((point) => point.cut);
        const back = [...there].reverse().map((point) => `L${x(point.x).toFixed(1)} ${y(lower(point)).toFixed(1)}`).join("");
        return there.length > 1 ? `${path(upper)}${back}Z` : "";
    };
    svg.append(drawn("path", { class: "band", d: band((point) => point.cut?.upper, (point) => point.cut.lower) }));
    svg.append(drawn("path", { class: "farms", d: path((point) => point.known?.cut.p95) }));
    svg.append(drawn("path", { class: "farms", d: path((point) => point.known?.cut.p05) }));
    svg.append(drawn("path", { class: "locked", d: path((point) => point.locked) }));
    svg.append(drawn("path", { class: "line", d: path((point) => point.cut?.rate) }));
    svg.append(drawn("line", { class: "allowed", x1: LEFT, x2: WIDE - RIGHT, y1: y(allowed), y2: y(allowed) }));
    svg.append(drawn("text", { x: WIDE - RIGHT - 4, y: y(allowed) - 5, "text-anchor": "end" }, "allowed"));
    svg.append(drawn("line", { class: "now", x1: x(now), x2: x(now), y1: TOP, y2: HIGH - BOTTOM }));
    let free = -Infinity;
    for (const point of points) {
        if (x(point.x) - free > 46 || point.x === now) {
            svg.append(drawn("text", { x: x(point.x), y: HIGH - BOTTOM + 17, "text-anchor": "middle" }, point.text));
            free = x(point.x);
        }
    }
    svg.append(drawn("text", { x: (LEFT + WIDE - RIGHT) / 2, y: HIGH - 6, "text-anchor": "middle" }, axis));
    box.replaceChildren(svg);
}
