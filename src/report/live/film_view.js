// The picture of the film on its canvas: lanes one above the other, each with its head, ground and gauge; a ruler and the key below.

const FOOT_M = 0.3048;

function filmView(canvas, told) {
    const pen = canvas.getContext("2d");
    const colour = {};
    // Where everything stands, px; without width it has to be laid out anew.
    const place = { width: 0 };
    const rowsShown = middleRows(told.rows_m.length);
    // What the parts of the picture share.
    const sheet = {
        pen,
        colour,
        place,
        rowsShown,
        // Place among these rows where the driver's line is drawn.
        driverStrip: (rowsShown.length - 1) >> 1,
        pass: null,
        station: 0,
        screenX: (station_m) => place.toolX + (station_m - sheet.station) * place.perM,
    };
    const { screenX } = sheet;
    const marks = filmMarks(sheet);
    const key = filmKey(told, sheet, marks);
    const ground = filmGround(told, sheet, marks);
    const half_stroke_mm = 1000 * told.half_stroke_m;
    const laneCount = told.lanes.length;
    const titleWidths = [];
    const gauges = told.lanes.map(() => ({ shift: NaN, amount: "", side: "" }));
    const entryText = "entry stretch, counted apart";
    const worstText = laneCount > 1 ? "most plants cut or touched in the upper lane" : "most plants cut or touched";
    const rulerLabels = new Map();
    let entryWidth = 0;
    let worstWidth = 0;
    let ratio = 1;

    // ---- places ----

    function readColours() {
        const style = getComputedStyle(canvas);
        for (const name of ["ink", "soft", "page", "box", "film-ground", "film-soil", "film-plant", "film-touched",
            "film-camera", "film-tool"]) {
            colour[name.replace("film-", "")] = style.getPropertyValue(`--${name}`).trim() || "gray";
        }
    }

    // Forgets what depends on the pass, the units, the colours or the size.
    function refresh() {
        gauges.forEach((gauge) => {
            gauge.shift = NaN;
        });
        rulerLabels.clear();
        readColours();
        place.width = 0;
    }

    // Whether the picture must be laid out before it is drawn.
    function stale() {
        return place.width === 0 || ratio !== (window.devicePixelRatio || 1);
    }

    // Whether the page gave the canvas another size. It is too slow to be asked in every frame.
    function resized() {
        return Math.floor(canvas.clientWidth) !== place.width || ratio !== window.devicePixelRatio;
    }

    // Lays the picture of a pass out; false where the canvas has no room.
    function lay(pass) {
        const width = Math.floor(canvas.clientWidth);
        if (width === 0) {
            return false;
        }
        sheet.pass = pass;
        ratio = window.devicePixelRatio || 1;
        const narrow = width < 920;
        const rows = rowsShown.length;
        place.width = width;
        place.narrow = narrow;
        place.groundWidth = width - (narrow ? 58 : 84);
        place.gaugeX = place.groundWidth + (narrow ? 31 : 44);
        place.strip = [120, 84, 60][rows - 1] - (width < 520 ? 14 : 0);
        place.gap = pass.cutOut ? 6 : 0;
        place.groundHeight = rows * place.strip - place.gap;
        place.head = narrow ? 3 * LINE_PX + 2 : LINE_PX + 5;
        place.lane = place.head + rows * place.strip + 8;
        place.ruler = laneCount * place.lane;
        place.perMm = (place.strip - place.gap) / (2 * pass.half_mm);
        const leastAhead = Math.max(told.axle_ahead_m, told.camera_ahead_m, 0) + 0.4;
        const stretch = Math.max(Math.min(place.groundWidth / 72, 14), leastAhead / 0.55);
        const ahead = Math.max(leastAhead, 0.3 * stretch);
        place.perM = place.groundWidth / stretch;
        place.behind = stretch - ahead;
        place.ahead = ahead;
        place.toolX = place.behind * place.perM;
        place.keyTop = place.ruler + 46;
        const height = Math.ceil(place.keyTop + key.lay(place.keyTop, width, 1000 * place.perMm / place.perM));
        ground.makeRoom();
        canvas.style.height = `${height}px`;
        canvas.width = Math.round(width * ratio);
        canvas.height = Math.round(height * ratio);
        pen.setTransform(ratio, 0, 0, ratio, 0, 0);
        pen.textBaseline = "middle";
        pen.lineJoin = "round";
        key.draw();
        return true;
    }

    // ---- drawing ----

    function drawHead(lane, top, words) {
        const title = told.lanes[lane].title;
        pen.textAlign = "left";
        pen.fillStyle = colour.ink;
        pen.font = BOLD_FONT;
        pen.fillText(title, 0, top + 9);
        if (place.narrow) {
            pen.font = FONT;
            pen.fillText(words.counts, 0, top + 9 + LINE_PX);
            pen.font = SMALL_FONT;
            pen.fillStyle = colour.soft;
            pen.fillText(words.entry, 0, top + 9 + 2 * LINE_PX, place.width);
            return;
        }
        if (titleWidths[lane] === undefined) {
            titleWidths[lane] = pen.measureText(title).width;
        }
        pen.font = FONT;
        pen.fillText(words.counts, titleWidths[lane] + 14, top + 9);
        pen.fillStyle = colour.soft;
        pen.textAlign = "right";
        pen.fillText(words.entry, place.groundWidth, top + 9);
        pen.textAlign = "left";
    }

    // The frame's place between its stops.
    function drawGauge(lane, top) {
        const gauge = gauges[lane];
        const x = place.gaugeX;
        const from = top + 20;
        const to = top + place.groundHeight - 36;
        const middleY = 0.5 * (from + to);
        pen.textAlign = "center";
        pen.font = SMALL_FONT;
        pen.fillStyle = colour.ink;
        pen.fillText("side-shift", x, top + 8);
        pen.fillStyle = colour.box;
        pen.fillRect(x - 7, from, 14, to - from);
        pen.strokeStyle = colour.soft;
        pen.lineWidth = 1;
        pen.strokeRect(x - 6.5, from + 0.5, 13, to - from - 1);
        if (told.lanes[lane].controller === "locked") {
            pen.fillStyle = colour.tool;
            pen.fillRect(x - 12, middleY - 3, 24, 6);
            pen.fillText("locked", x, to + 11);
            pen.textAlign = "left";
            return;
        }
        const shift = valueOn(sheet.pass, sheet.pass.shifts[lane], sheet.station);
        const part = Math.min(Math.max(shift / half_stroke_mm, -1), 1);
        const y = middleY - 0.5 * (to - from - 6) * part;
        pen.fillStyle = colour.camera;
        pen.fillRect(x - 6, Math.min(y, middleY), 12, Math.abs(y - middleY));
        pen.fillStyle = colour.soft;
        pen.fillRect(x - 12, middleY - 0.5, 24, 1);
        pen.fillStyle = colour.tool;
        pen.fillRect(x - 12, y - 3, 24, 6);
        const whole = Math.round(shift);
        if (gauge.shift !== whole) {
            gauge.shift = whole;
            gauge.amount = clearanceText(Math.abs(whole) / 1000, unitsNow());
            gauge.side = whole === 0 ? "centred" : whole > 0 ? "left" : "right";
        }
        pen.fillText(gauge.amount, x, to + 11);
        pen.fillText(gauge.side, x, to + 27);
        pen.textAlign = "left";
    }

    // A named stretch under the ruler.
    function drawSpan(from_m, to_m, text, line, textWidth) {
        const from = Math.max(0, screenX(from_m));
        const to = Math.min(place.groundWidth, screenX(to_m));
        if (to <= from) {
            return;
        }
        pen.fillStyle = line;
        pen.fillRect(from, place.ruler + 20, to - from, 4);
        if (to - from > textWidth + 6) {
            pen.fillStyle = colour.ink;
            pen.fillText(text, from + 2, place.ruler + 34);
        }
    }

    function drawRuler() {
        const { pass, station } = sheet;
        const us = unitsNow() === "us";
        const unit = us ? FOOT_M : 1;
        const every = us ? 5 : 1;
        const y = place.ruler;
        pen.font = SMALL_FONT;
        pen.fillStyle = colour.soft;
        pen.fillRect(0, y, place.groundWidth, 1);
        pen.textAlign = "center";
        pen.fillText("travel \u2192", place.gaugeX, y + 12);
        const first = Math.max(0, Math.ceil((station - place.behind) / unit / every) * every);
        const last = Math.min(pass.end, station + place.ahead) / unit;
        for (let at = first; at <= last; at += every) {
            const x = screenX(at * unit);
            pen.fillRect(x - 0.5, y, 1, 5);
            if ((place.narrow || at % (2 * every) === 0) && x > 18 && x < place.groundWidth - 18) {
                let label = rulerLabels.get(at);
                if (label === undefined) {
                    label = `${at} ${us ? "ft" : "m"}`;
                    rulerLabels.set(at, label);
                }
                pen.fillText(label, x, y + 12);
            }
        }
        pen.textAlign = "left";
        if (entryWidth === 0) {
            entryWidth = pen.measureText(entryText).width;
            worstWidth = pen.measureText(worstText).width;
        }
        drawSpan(pass.start, told.entry_length_m, entryText, colour.soft, entryWidth);
        if (pass.worst) {
            drawSpan(pass.worst[0], pass.worst[1], worstText, colour.touched, worstWidth);
        }
    }

    // Draws the pass that was laid out with the tools at a station. Without words the heads of the lanes stay as they are.
    function draw(station_m, words) {
        sheet.station = station_m;
        for (let lane = 0; lane < laneCount; lane += 1) {
            const head = lane * place.lane;
            const top = head + place.head;
            if (words !== null) {
                pen.clearRect(0, head, place.width, place.head - 1);
                drawHead(lane, head, words[lane]);
            }
            pen.clearRect(0, top - 1, place.width, place.groundHeight + 2);
            ground.draw(lane, top);
            drawGauge(lane, top);
        }
        pen.clearRect(0, place.ruler - 1, place.width, place.keyTop - place.ruler - 1);
        drawRuler();
    }

    return { refresh, stale, resized, lay, draw };
}
