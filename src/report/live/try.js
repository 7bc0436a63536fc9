// Sliders over the simulated settings: what they say, and a mark on the maps.

const STEPS = 10;

// Simulated values that all studies share the range of, from the first study.
function slider(id, lists) {
    const low = Math.max(...lists.map((list) => list[0]));
    const high = Math.min(...lists.map((list) => list[list.length - 1]));
    const all = [...new Set(lists.flat())].sort((a, b) => a - b);
    const values = all.filter((value) => value >= low && value <= high);
    const input = document.getElementById("try-" + id);
    input.max = STEPS * (values.length - 1);
    input.disabled = values.length < 2;
    const at = () => {
        const place = Number(input.value);
        const below = Math.floor(place / STEPS);
        const part = place % STEPS;
        if (part === 0) {
            return values[below];
        }
        return values[below] + (values[below + 1] - values[below]) * part / STEPS;
    };
    const put = (value) => {
        let best = 0;
        for (let i = 0; i < values.length; i += 1) {
            if (Math.abs(values[i] - value) < Math.abs(values[best] - value)) {
                best = i;
            }
        }
        input.value = STEPS * best;
    };
    return { input, at, put, said: document.getElementById("try-" + id + "-said"), empty: values.length === 0 };
}

function tryIt(data) {
    const studies = data.studies;
    if (studies.length === 0) {
        return;
    }
    const speed = slider("speed", studies.map((study) => study.speeds_m_s));
    const clearance = slider("clearance", studies.map((study) => study.clearances_m));
    if (speed.empty || clearance.empty) {
        return;
    }
    const choices = studies.map((_, i) => document.getElementById("try-controller" + (i === 0 ? "" : "-" + i)));
    const maps = studies.map((study, i) => mapsOf(study, i, data.frame));
    const show = () => {
        const units = unitsNow();
        const [v, c] = [speed.at(), clearance.at()];
        say(speed, speedText(v, units));
        say(clearance, clearanceText(c, units));
        studies.forEach((study, i) => {
            const found = between(study, choices[i].value, v, c);
            const told = found === null ? null : shown(study, found, units);
            for (const what of ["words", "rate", "limits", "touched", "keeps", "weeds", "area", "days", "cost"]) {
                const output = document.getElementById("try-" + what + "-" + i);
                output.textContent = told === null ? "not simulated" : told[what];
            }
            maps[i].forEach((map) => map.mark(v, c, choices[i].value));
        });
    };
    speed.put(studies[0].working_speed_m_s);
    clearance.put(studies[0].working_clearance_m);
    for (const input of [speed.input, clearance.input, ...choices]) {
        input.addEventListener("input", show);
    }
    document.addEventListener("units", show);
    maps.flat().forEach((map) => {
        map.svg.addEventListener("click", (event) => {
            const [v, c] = map.at(event);
            near(speed, v);
            near(clearance, c);
            show();
        });
    });
    show();
}

function say(one, text) {
    one.said.textContent = text;
    one.input.setAttribute("aria-valuetext", text);
}

// The place of a slider nearest to a value.
function near(one, value) {
    const before = one.input.value;
    let best = before;
    let least = Infinity;
    for (let place = 0; place <= Number(one.input.max); place += 1) {
        one.input.value = place;
        const off = Math.abs(one.at() - value);
        if (off < least) {
            [best, least] = [place, off];
        }
    }
    one.input.value = best;
}

// The maps of a study: the chosen controller's is shown, with a ring where the sliders stand.
function mapsOf(study, number, frame) {
    const figures = document.querySelectorAll(".maps[data-study=\"" + number + "\"] figure");
    const across = [study.speeds_m_s[0], study.speeds_m_s[study.speeds_m_s.length - 1]];
    const up = [study.clearances_m[0], study.clearances_m[study.clearances_m.length - 1]];
    return [...figures].map((figure) => {
        const svg = figure.querySelector("svg");
        const group = document.createElementNS("http://www.w3.org/2000/svg", "g");
        group.setAttribute("class", "try-marker");
        for (const shape of ["halo", "mark"]) {
            const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
            path.setAttribute("class", shape);
            path.setAttribute("d", "M-13 0H13M0 -13V13");
            group.append(path);
        }
        svg.append(group);
        return {
            svg,
            mark(v, c, controller) {
                const x = frame.left + (frame.right - frame.left) * (v - across[0]) / (across[1] - across[0]);
                const y = frame.bottom - (frame.bottom - frame.top) * (c - up[0]) / (up[1] - up[0]);
                group.setAttribute("transform", "translate(" + x.toFixed(1) + " " + y.toFixed(1) + ")");
                figure.classList.toggle("aside", figure.dataset.controller !== controller);
            },
            at(event) {
                const box = svg.getBoundingClientRect();
                const x = (event.clientX - box.left) / box.width * svg.viewBox.baseVal.width;
                const y = (event.clientY - box.top) / box.height * svg.viewBox.baseVal.height;
                const share = (value) => Math.min(1, Math.max(0, value));
                return [
                    across[0] + (across[1] - across[0]) * share((x - frame.left) / (frame.right - frame.left)),
                    up[0] + (up[1] - up[0]) * share((frame.bottom - y) / (frame.bottom - frame.top)),
                ];
            },
        };
    });
}
