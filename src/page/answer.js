// What the rates say, in plain words, as they narrow.

function titleOf(language, kind) {
    return language.controllers.find(({ name }) => name === kind)?.title ?? kind;
}

// The rate of a setting; nothing where it was not simulated.
function rateAt(told, kind, speed, clearance) {
    const place = told.rates.findIndex((rate) => rate.controller === kind && rate.speed_m_s === speed && rate.clearance_m === clearance);
    return place < 0 ? undefined : { ...told.rates[place], kept_on: told.kept_on[place] };
}

// What a decision counts with: what most farms do not exceed where something is not known, else the upper limit.
function decisive(rate) {
    return rate.known ? rate.known.assured_cut : rate.cut.upper;
}

// The steering that cuts least at work, guided before locked.
function bestKind(language, told) {
    const moves = (kind) => language.controllers.find(({ name }) => name === kind)?.moves;
    const at = (kind) => rateAt(told, kind, told.working_speed_m_s, told.working_clearance_m);
    const order = told.controllers.filter(moves).filter(at).sort((a, b) => decisive(at(a)) - decisive(at(b)));
    return order[0] ?? told.controllers[0];
}

class Answer {
    constructor(language) {
        this.language = language;
        this.choice = document.getElementById("kind");
        this.choice.addEventListener("change", () => this.show());
        this.shown = undefined;
        document.addEventListener("units", () => this.show());
    }

    // A run as live.js has it.
    take(run) {
        this.run = run;
        this.show();
    }

    kind(told) {
        return this.choice.value && told.controllers.includes(this.choice.value) ? this.choice.value : bestKind(this.language, told);
    }

    show() {
        const told = this.run?.told.work;
        if (!told) {
            return;
        }
        const units = unitsNow();
        const text = (id, words) => {
            document.getElementById(id).textContent = words;
        };
        const chosen = this.choice.value;
        const options = [element("option", { value: "", textContent: "the one that cuts least" }), ...told.controllers.map((kind) => element("option", { value: kind, textContent: titleOf(this.language, kind) }))];
        if (this.choice.options.length !== options.length || told.controllers.some((kind, i) => this.choice.options[i + 1]?.value !== kind)) {
            this.choice.replaceChildren(...options);
            this.choice.value = told.controllers.includes(chosen) ? chosen : "";
        }
        const kind = this.kind(told);
        const [speed, clearance] = [told.working_speed_m_s, told.working_clearance_m];
        const rate = rateAt(told, kind, speed, clearance);
        text("lead", `${cutInWords(rate.cut)}.`);
        text("allowed", `${titleOf(this.language, kind)}, at ${speedText(speed, units)} with ${clearanceText(clearance, units)} of room on either side of the row. Allowed: ${limitInWords(told.allowed_cut_rate)} (${chosenPercent(told.allowed_cut_rate)}).`);
        text("farms", this.farms(rate, told));
        const locked = kind === "locked" ? undefined : rateAt(told, "locked", speed, clearance);
        text("locked", locked ? `With a locked frame: ${plantsInWords(locked.cut.rate)}.` : "");
        document.getElementById("answer").dataset.turn = this.run.turn;
        text("passes", `${told.passes} of ${MOST} passes, limits at ${chosenPercent(told.level)}`);
        document.getElementById("done").value = told.passes / MOST;
        document.getElementById("warnings").replaceChildren(...told.warnings[units].map((words) => element("li", { textContent: words })));
        this.curves(kind, told, units);
        this.highest(kind, units);
        this.map(kind, units);
    }

    farms(rate, told) {
        if (!rate.known) {
            return told.no_farms ? (told.passes < MOST ? `What is not known of this farm shows at ${MOST} passes.` : told.no_farms) : "";
        }
        const { p05, p95 } = rate.known.cut;
        const kept = rate.kept_on === null ? "" : ` It stays within what is allowed on ${fixed(100 * rate.kept_on, 0)} of 100 farms like this one; ${fixed(100 * told.assurance, 0)} are wanted.`;
        return `What is not known leaves it between ${limitInWords(p05)} and ${limitInWords(p95)} from farm to farm (9 in 10).${kept}`;
    }

    highest(kind, units) {
        const told = this.run.told.map;
        const at = document.getElementById("highest");
        // So few passes decide nothing.
        if (!told || told.passes < 256) {
            at.textContent = "";
            return;
        }
        const clearance = told.working_clearance_m;
        const keeps = (speed) => decisive(rateAt(told, kind, speed, clearance)) <= told.allowed_cut_rate;
        // Up to the first speed that does not keep it: one beyond that does so by chance.
        const fail = told.speeds_m_s.findIndex((speed) => !keeps(speed));
        const kept = fail < 0 ? told.speeds_m_s : told.speeds_m_s.slice(0, fail);
        const rest = `by ${told.passes} passes; tools, soil and hydraulics have limits of their own, see all answers below`;
        at.textContent = kept.length === 0 ? `No simulated speed keeps what is allowed at this room, ${rest}.` : `Of the speeds simulated, what is allowed is kept up to ${speedText(kept.at(-1), units)} at this room, ${rest}.`;
    }

    curves(kind, work, units) {
        const map = this.run.told.map;
        const speed = work.working_speed_m_s;
        const clearance = work.working_clearance_m;
        const point = (told, v, c, x, text) => {
            const rate = rateAt(told, kind, v, c);
            const locked = kind === "locked" ? undefined : rateAt(told, "locked", v, c)?.cut.rate;
            return { x, text, cut: rate?.cut, known: rate?.known, locked };
        };
        const inUnits = (one) => Number.parseFloat(one);
        curve(document.getElementById("by-clearance"), {
            points: work.clearances_m.map((c) => point(work, speed, c, c, String(inUnits(clearanceText(c, units))))),
            now: clearance,
            allowed: work.allowed_cut_rate,
            axis: `room beside the row, ${units === "us" ? "in" : "mm"}`,
            title: "Share of plants cut over the room beside the row",
        });
        document.getElementById("by-clearance-said").textContent = `At ${speedText(speed, units)}, ${work.passes} passes.`;
        if (map) {
            curve(document.getElementById("by-speed"), {
                points: map.speeds_m_s.map((v) => point(map, v, clearance, v, String(inUnits(speedText(v, units))))),
                now: speed,
                allowed: map.allowed_cut_rate,
                axis: `speed, ${units === "us" ? "mph" : "km/h"}`,
                title: "Share of plants cut over speed",
            });
            document.getElementById("by-speed-said").textContent = `With ${clearanceText(clearance, units)} on either side, ${map.passes} passes.`;
        }
        const farms = rateAt(work, kind, speed, clearance)?.known ? " Dashed: what is not known moves it between these, on 9 farms in 10." : "";
        document.getElementById("curves-note").textContent = `Share of plants cut: ${titleOf(this.language, kind)} with its limits as a band, a locked frame dotted.${farms}`;
    }

    map(kind, units) {
        const told = this.run.told.map;
        const table = document.getElementById("map");
        if (!told) {
            table.replaceChildren();
            return;
        }
        const head = element("tr", {}, element("th", { scope: "col", textContent: `Room` }), ...told.speeds_m_s.map((v) => element("th", { scope: "col", textContent: speedText(v, units) })));
        const rows = told.clearances_m.map((c) =>
            element(
                "tr",
                {},
                element("th", { scope: "row", textContent: clearanceText(c, units) }),
                ...told.speeds_m_s.map((v) => {
                    const rate = rateAt(told, kind, v, c);
                    const kept = decisive(rate) <= told.allowed_cut_rate;
                    return element("td", { className: kept ? "kept" : "", textContent: `${percent(rate.cut.rate)} (${percent(rate.cut.lower)} to ${percent(rate.cut.upper)})` });
                }),
            ),
        );
        table.replaceChildren(
            element("caption", { className: "caption", textContent: `${titleOf(this.language, kind)}: plants cut, with limits at ${chosenPercent(told.level)}; bold where what is allowed is kept.` }),
            element("thead", {}, head),
            element("tbody", {}, ...rows),
        );
    }

    // The difference to the machine before, on the same passes.
    against({ difference, passes }) {
        const { value, lower, upper } = difference;
        const many = (share) => fixed(1000 * Math.abs(share), Math.abs(share) < 0.01 ? 2 : 1);
        const ends = [lower, upper].map((end) => `${end < 0 ? "\u2212" : "+"}${many(end)}`).join(" to ");
        const words = lower <= 0 && upper >= 0
            ? `Against the machine before: no difference to be seen in ${passes} shared passes (${ends} of 1000 plants).`
            : `Against the machine before: ${many(value)} of 1000 plants ${value < 0 ? "fewer" : "more"} cut (${ends}), on the same ${passes} passes.`;
        document.getElementById("against").textContent = words;
    }
}
