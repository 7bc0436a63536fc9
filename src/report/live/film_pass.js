// What is known of a pass of the film, in the form that drawing and counting need. Nothing here knows the page or the canvas.

// What becomes of a plant.
const SPARED = 0;
const TOUCHED = 1;
const CUT = 2;

const MOST_ROWS = 3;

// Neighbouring rows around the middle, as many to the left as to the right.
function middleRows(rows) {
    let shown = Math.min(rows, MOST_ROWS);
    if ((rows - shown) % 2 === 1) {
        shown -= 1;
    }
    const first = (rows - shown) / 2;
    return Array.from({ length: shown }, (_, i) => first + i);
}

// Half of the nearest distance from a row that is shown to a neighbouring one, mm.
function halfSpacing(rows_m) {
    let nearest = Infinity;
    for (const row of middleRows(rows_m.length)) {
        for (const other of [row - 1, row + 1]) {
            if (other >= 0 && other < rows_m.length) {
                nearest = Math.min(nearest, Math.abs(rows_m[row] - rows_m[other]));
            }
        }
    }
    return 500 * nearest;
}

// First place in a rising array that is not below a value.
function lowerBound(rising, value) {
    let from = 0;
    let to = rising.length;
    while (from < to) {
        const middle = (from + to) >> 1;
        if (rising[middle] < value) {
            from = middle + 1;
        } else {
            to = middle;
        }
    }
    return from;
}

// A value between two places of a list.
function valueAt(values, position) {
    const last = values.length - 1;
    const inside = Math.min(Math.max(position, 0), last);
    const i = Math.min(Math.floor(inside), Math.max(last - 1, 0));
    const next = Math.min(i + 1, last);
    return values[i] + (inside - i) * (values[next] - values[i]);
}

// One of a pass's lists where the tools are at a station.
function valueOn(pass, values, station_m) {
    return valueAt(values, (station_m - pass.start) / pass.step);
}

// Means over so many places to either side.
function smoothed(values, reach) {
    const sums = new Float64Array(values.length + 1);
    for (let i = 0; i < values.length; i += 1) {
        sums[i + 1] = sums[i] + values[i];
    }
    return Float32Array.from(values, (_, i) => {
        const from = Math.max(i - reach, 0);
        const to = Math.min(i + reach + 1, values.length);
        return (sums[to] - sums[from]) / (to - from);
    });
}

// What became of plants that a clearance of so many mm would have spared.
function fatesOf(told, needed_mm) {
    const clearance_mm = 1000 * told.clearance_m;
    const protected_mm = 1000 * told.protected_radius_m;
    const stem_mm = 1000 * told.stem_radius_m;
    return Uint8Array.from(needed_mm, (needed) => {
        if (needed - protected_mm + stem_mm > clearance_mm + 1e-6) {
            return CUT;
        }
        return needed > clearance_mm + 1e-6 ? TOUCHED : SPARED;
    });
}

// The line from which a pass is drawn: straight as planned or, where rows bend too far for the picture, the rows without their quick turns.
function middleLine(told, source, halfSpacing_mm) {
    const bend = source.row_mm.reduce((most, row) => Math.max(most, Math.abs(row)), 0);
    const straightened = bend > Math.max(2000 * told.clearance_m, 0.4 * Math.min(halfSpacing_mm, 500));
    const middle = straightened
        ? smoothed(source.row_mm, Math.round(8 / source.step_m))
        : new Float32Array(source.row_mm.length);
    return { straightened, middle };
}

// Plants of one row: stations in m and how far they stand to the left of the middle line, mm.
function plantsOf(told, plants, middleAt) {
    const stations = new Float64Array(plants.station_mm.length);
    let sum = 0;
    plants.station_mm.forEach((gap, i) => {
        sum += gap;
        stations[i] = sum / 1000;
    });
    return {
        stations,
        laterals: Float32Array.from(plants.lateral_mm, (lateral, i) => lateral - middleAt(stations[i])),
        fates: plants.needed_mm.map((needed) => fatesOf(told, needed)),
    };
}

// Running counts over all rows, one per plant passed.
function runningCounts(told, rows) {
    const all = [];
    rows.forEach((row) => {
        row.stations.forEach((station_m, i) => all.push({ station_m, row, i }));
    });
    all.sort((a, b) => a.station_m - b.station_m);
    const stations = Float64Array.from(all, (plant) => plant.station_m);
    const running = (lane, least) => {
        const sums = new Uint32Array(all.length + 1);
        all.forEach((plant, i) => {
            sums[i + 1] = sums[i] + (plant.row.fates[lane][plant.i] >= least ? 1 : 0);
        });
        return sums;
    };
    return {
        stations,
        entryPlants: lowerBound(stations, told.entry_length_m),
        met: told.lanes.map((_, lane) => running(lane, TOUCHED)),
        cut: told.lanes.map((_, lane) => running(lane, CUT)),
    };
}

// How far to either side of a row the picture reaches, mm: nearly all of what the tools do, never the next row.
function halfWidth(told, tools, halfSpacing_mm) {
    const clearance_mm = 1000 * told.clearance_m;
    const away = [];
    for (const tool of tools) {
        for (let i = 0; i < tool.length; i += 4) {
            away.push(Math.abs(tool[i]) + clearance_mm);
        }
    }
    away.sort((a, b) => a - b);
    const most = away[Math.floor(0.97 * (away.length - 1))] || 0;
    return Math.min(halfSpacing_mm, Math.max(1.08 * most, 2 * clearance_mm));
}

// Everything of a pass; done once per pass.
function preparePass(told, source) {
    const samples = source.row_mm.length;
    const start = source.from_m;
    const step = source.step_m;
    const halfSpacing_mm = halfSpacing(told.rows_m);
    const { straightened, middle } = middleLine(told, source, halfSpacing_mm);
    const middleAt = (station_m) => valueAt(middle, (station_m - start) / step);
    const tools = source.shift_mm.map((shifts) =>
        Float32Array.from(shifts, (shift, i) => source.frame_mm[i] + shift - middle[i]));
    const rows = source.plants.map((plants) => plantsOf(told, plants, middleAt));
    const half_mm = halfWidth(told, tools, halfSpacing_mm);
    return {
        title: source.title,
        worst: source.worst_m,
        start,
        step,
        samples,
        end: start + (samples - 1) * step,
        straightened,
        tools,
        shifts: source.shift_mm,
        axle: Float32Array.from(source.axle_mm, (axle_mm, i) =>
            axle_mm - middleAt(start + i * step + told.axle_ahead_m)),
        row: Float32Array.from(source.row_mm, (row_mm, i) => row_mm - middle[i]),
        rows,
        ...runningCounts(told, rows),
        half_mm,
        // Whether the picture leaves out ground between its rows.
        cutOut: middleRows(told.rows_m.length).length > 1 && half_mm < halfSpacing_mm - 1,
    };
}

// How many plants with these stations the tools have passed; at the end of the pass all of them.
function plantsPassed(pass, stations, station_m) {
    return station_m >= pass.end ? stations.length : lowerBound(stations, station_m);
}

// What became of the first so many plants of a pass in a lane: on the entry stretch and after it.
function countsAt(pass, lane, passed) {
    const met = pass.met[lane];
    const cut = pass.cut[lane];
    const counted = (from, to) => {
        const gone = cut[to] - cut[from];
        return { plants: to - from, cut: gone, touched: met[to] - met[from] - gone };
    };
    const entry = Math.min(passed, pass.entryPlants);
    return { entry: counted(0, entry), after: counted(entry, passed) };
}
