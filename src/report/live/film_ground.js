// The ground of one lane of the film: soil, plants and what became of them, tools, the driver's line and the camera's looking point.

// A fresh mark is drawn larger over this distance, so that it catches the eye.
const FRESH_M = 0.7;

function filmGround(told, sheet, marks) {
    const { pen, colour, place, screenX, rowsShown } = sheet;
    const clearance_mm = 1000 * told.clearance_m;
    const protected_mm = 1000 * told.protected_radius_m;
    const rowNames = told.rows_m.map((_, row) => `row ${row + 1} of ${told.rows_m.length}`);
    const rowNameWidths = [];
    // Screen points of one line, filled anew for every line and frame.
    let trailX = new Float32Array(0);
    let trailY = new Float32Array(0);

    // To be called when the sheet was laid out.
    function makeRoom() {
        const points = Math.ceil(place.groundWidth / 3) + 8;
        if (trailX.length < points) {
            trailX = new Float32Array(points);
            trailY = new Float32Array(points);
        }
    }

    // Fills trailX and trailY with a line from station to station; returns its number of points.
    function trail(values, ahead_m, from_m, to_m) {
        const { step, start, samples } = sheet.pass;
        const every = Math.max(1, Math.ceil(3 / (step * place.perM)));
        const first = Math.max(0, (from_m - start - ahead_m) / step);
        const last = Math.min(samples - 1, (to_m - start - ahead_m) / step);
        let points = 0;
        const put = (position) => {
            trailX[points] = screenX(start + ahead_m + position * step);
            trailY[points] = -valueAt(values, position) * place.perMm;
            points += 1;
        };
        if (last < first) {
            return 0;
        }
        put(first);
        // Whole multiples, so that the points lie on the same ground from frame to frame.
        for (let i = every * (Math.floor(first / every) + 1); i < last; i += every) {
            put(i);
        }
        put(last);
        return points;
    }

    function trailPath(points, dy) {
        pen.moveTo(trailX[0], dy + trailY[0]);
        for (let i = 1; i < points; i += 1) {
            pen.lineTo(trailX[i], dy + trailY[i]);
        }
    }

    function clipTo(top, height) {
        pen.save();
        pen.beginPath();
        pen.rect(0, top, place.groundWidth, height);
        pen.clip();
    }

    function drawSoil(top, height, points) {
        const left = Math.max(0, screenX(sheet.pass.start));
        const right = Math.min(place.groundWidth, screenX(sheet.pass.end) + 2);
        pen.fillStyle = colour.box;
        pen.fillRect(0, top, place.groundWidth, height);
        pen.fillStyle = colour.ground;
        pen.fillRect(left, top, right - left, height);
        if (points > 1) {
            pen.fillStyle = colour.soil;
            pen.fillRect(trailX[0], top, place.toolX - trailX[0], height);
        }
    }

    // The band that the two edges of a row leave between them.
    function drawBand(middleY, points) {
        if (points < 2) {
            return;
        }
        const edge = clearance_mm * place.perMm;
        pen.fillStyle = colour.ground;
        pen.beginPath();
        trailPath(points, middleY - edge);
        for (let i = points - 1; i >= 0; i -= 1) {
            pen.lineTo(trailX[i], middleY + edge + trailY[i]);
        }
        pen.fill();
        pen.strokeStyle = colour.ink;
        pen.lineWidth = 1.2;
        pen.beginPath();
        trailPath(points, middleY - edge);
        trailPath(points, middleY + edge);
        pen.stroke();
    }

    function drawPlants(row, lane, middleY) {
        const { stations, laterals } = row;
        const fates = row.fates[lane];
        const first = lowerBound(stations, sheet.station - place.behind - 0.2);
        const last = lowerBound(stations, sheet.station + place.ahead + 0.2);
        const passed = Math.min(plantsPassed(sheet.pass, stations, sheet.station), last);
        const reach = Math.max(protected_mm * place.perMm, 3);
        pen.fillStyle = colour.plant;
        pen.beginPath();
        for (let i = first; i < last; i += 1) {
            if (i >= passed || fates[i] === SPARED) {
                const x = screenX(stations[i]);
                const y = middleY - laterals[i] * place.perMm;
                pen.rect(x - 0.6, y - reach, 1.2, 2 * reach);
                pen.moveTo(x + 2.6, y);
                pen.arc(x, y, 2.6, 0, 2 * Math.PI);
            }
        }
        pen.fill();
        drawMet(row, fates, TOUCHED, first, passed, middleY);
        drawMet(row, fates, CUT, first, passed, middleY);
    }

    // All marks of one kind in one path: a frame has time for few strokes.
    function drawMet(row, fates, fate, first, passed, middleY) {
        let any = false;
        for (let i = first; i < passed; i += 1) {
            if (fates[i] === fate) {
                if (!any) {
                    any = true;
                    pen.beginPath();
                }
                const x = screenX(row.stations[i]);
                const y = middleY - row.laterals[i] * place.perMm;
                const fresh = Math.max(0, 1 - (sheet.station - row.stations[i]) / FRESH_M);
                if (fate === CUT) {
                    marks.diamondPath(x, y, 5.5 + 3 * fresh);
                } else {
                    marks.crossPath(x, y, 4.5 + 3 * fresh);
                }
            }
        }
        if (!any) {
            return;
        }
        if (fate === CUT) {
            marks.paintCut();
        } else {
            marks.paintTouched();
        }
    }

    function drawTools(lane, top, height) {
        const edge = clearance_mm * place.perMm;
        const x = place.toolX;
        const y = top + 0.5 * height - valueOn(sheet.pass, sheet.pass.tools[lane], sheet.station) * place.perMm;
        pen.fillStyle = colour.tool;
        pen.globalAlpha = 0.35;
        pen.fillRect(x + 12, top, 5, height);
        pen.globalAlpha = 1;
        const blade = Math.min(0.45 * height, 22);
        pen.beginPath();
        marks.bladePath(x, y - edge, -1, blade);
        marks.bladePath(x, y + edge, 1, blade);
        pen.rect(x - 3, y - edge - blade + 3, 17, 2.5);
        pen.rect(x - 3, y + edge + blade - 5.5, 17, 2.5);
        pen.fill();
    }

    function drawRows(lane, top) {
        const points = trail(sheet.pass.tools[lane], 0, sheet.station - place.behind, sheet.station);
        const rows = rowsShown.length;
        const strip = place.strip - place.gap;
        // Strips with ground cut out between them stand for themselves; without, tools may reach into the next one.
        const together = place.gap === 0 ? rows : 1;
        for (let first = 0; first < rows; first += together) {
            const y = top + first * place.strip;
            const height = together * strip;
            clipTo(y, height);
            drawSoil(y, height, points);
            for (let i = first; i < first + together; i += 1) {
                drawBand(top + i * place.strip + 0.5 * strip, points);
            }
            for (let i = first; i < first + together; i += 1) {
                drawPlants(sheet.pass.rows[rowsShown[i]], lane, top + i * place.strip + 0.5 * strip);
            }
            for (let i = first; i < first + together; i += 1) {
                drawTools(lane, top + i * place.strip, strip);
            }
            pen.restore();
        }
    }

    // Where counting begins.
    function drawEntryEnd(top) {
        const x = screenX(told.entry_length_m);
        const from = Math.max(0, screenX(sheet.pass.start));
        if (x <= 0) {
            return;
        }
        pen.fillStyle = colour.ink;
        pen.globalAlpha = 0.08;
        pen.fillRect(from, top, Math.min(x, place.groundWidth) - from, place.groundHeight);
        pen.globalAlpha = 1;
        if (x < place.groundWidth) {
            pen.fillRect(x - 1, top, 2, place.groundHeight);
        }
    }

    function drawDriver(lane, top) {
        const { pass, station } = sheet;
        const height = place.strip - place.gap;
        const middleY = top + 0.5 * height;
        const points = trail(pass.axle, told.axle_ahead_m, station - place.behind, station + told.axle_ahead_m);
        clipTo(top, height);
        if (points > 0) {
            pen.strokeStyle = colour.soft;
            pen.lineWidth = 2;
            pen.setLineDash(DASHED);
            // The dashes stay on the ground.
            pen.lineDashOffset = -trailX[0] + screenX(0);
            pen.beginPath();
            trailPath(points, middleY);
            pen.stroke();
            pen.setLineDash(UNBROKEN);
            marks.axle(trailX[points - 1], middleY + trailY[points - 1]);
        }
        if (told.lanes[lane].controller !== "locked") {
            const looked = station + told.camera_ahead_m;
            if (looked <= pass.end) {
                marks.camera(screenX(looked), middleY - valueOn(pass, pass.row, looked) * place.perMm);
            }
        }
        pen.restore();
    }

    function drawRowName(row, top) {
        pen.font = SMALL_FONT;
        if (rowNameWidths[row] === undefined) {
            rowNameWidths[row] = pen.measureText(rowNames[row]).width;
        }
        pen.globalAlpha = 0.85;
        pen.fillStyle = colour.page;
        pen.fillRect(3, top + 3, rowNameWidths[row] + 8, 16);
        pen.globalAlpha = 1;
        pen.fillStyle = colour.ink;
        pen.fillText(rowNames[row], 7, top + 12);
    }

    function draw(lane, top) {
        drawRows(lane, top);
        drawEntryEnd(top);
        drawDriver(lane, top + sheet.driverStrip * place.strip);
        rowsShown.forEach((row, i) => drawRowName(row, top + i * place.strip));
    }

    return { makeRoom, draw };
}
