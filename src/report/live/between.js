// A setting between the simulated ones: src/answers/between.rs, operation for operation, and the texts of said.rs.

// The places of the two rising values around one, and how far it lies from the first to the second. Null outside.
function placesAround(values, at) {
    const own = values.indexOf(at);
    if (own >= 0) {
        return [own, own, 0];
    }
    for (let i = 0; i + 1 < values.length; i += 1) {
        if (values[i] < at && at < values[i + 1]) {
            return [i, i + 1, (at - values[i]) / (values[i + 1] - values[i])];
        }
    }
    return null;
}

// The simulated settings around that one as [speed place, clearance place, weight], those of no weight left out.
function settingsAround(study, speed, clearance) {
    const speeds = placesAround(study.speeds_m_s, speed);
    const clearances = placesAround(study.clearances_m, clearance);
    if (speeds === null || clearances === null) {
        return null;
    }
    const [slower, faster, part] = speeds;
    const [closer, wider, share] = clearances;
    return [
        [slower, closer, (1 - part) * (1 - share)],
        [faster, closer, part * (1 - share)],
        [slower, wider, (1 - part) * share],
        [faster, wider, part * share],
    ].filter((corner) => corner[2] > 0);
}

// Weighted mean over the settings, of logarithms where numbers change by factors, never outside their range.
function meanAround(corners, grid, byFactors) {
    let sum = 0;
    let least = Infinity;
    let most = -Infinity;
    for (const [speed, clearance, weight] of corners) {
        const value = grid[speed][clearance];
        sum += weight * (byFactors ? Math.log(value) : value);
        least = Math.min(least, value);
        most = Math.max(most, value);
    }
    const mean = byFactors ? Math.exp(sum) : sum;
    return Math.min(Math.max(mean, least), most);
}

// What a controller would do at a speed in m/s and a clearance in m; null outside what was simulated.
function between(study, controllerName, speed, clearance) {
    const controller = study.controllers.find((one) => one.name === controllerName);
    const corners = settingsAround(study, speed, clearance);
    const known = (grid) => corners.every(([i, j]) => typeof grid[i][j] === "number");
    if (controller === undefined || corners === null || !known(controller.cut.rate)) {
        return null;
    }
    const mixed = (share) => {
        const byFactors = [share.rate, share.lower].every((grid) => corners.every(([i, j]) => grid[i][j] > 0));
        const part = (grid) => meanAround(corners, grid, byFactors);
        return { rate: part(share.rate), lower: part(share.lower), upper: part(share.upper) };
    };
    const cut = mixed(controller.cut);
    const touched = mixed(controller.touched);
    const found = {
        cut,
        touched,
        resolved: corners.every(([i, j]) => controller.resolved[i][j]),
        farm: null,
    };
    const farm = study.farm;
    if (farm !== null && known(farm.machine_per_ha)) {
        const machine = meanAround(corners, farm.machine_per_ha, false);
        const weeding = meanAround(corners, farm.weeding_per_ha, false);
        const lost = (part) =>
            farm.plant_value_per_ha * Math.min(cut[part] + farm.touched_lost_share * touched[part], 1);
        const cost = (part) => machine + weeding + lost(part);
        found.farm = {
            machine_per_ha: machine,
            weeding_per_ha: weeding,
            plants_per_ha: lost("rate"),
            cost_per_ha: cost("rate"),
            cost_lower: cost("lower"),
            cost_upper: cost("upper"),
            weeds_left_share: meanAround(corners, farm.weeds_left_share, false),
            hectares_per_hour: meanAround(corners, farm.hectares_per_hour, false),
            days: meanAround(corners, farm.days, false),
        };
    }
    return found;
}

// The texts of what between found.
function shown(study, found, units) {
    const doubt = found.resolved ? "" : " Not sure: it hangs on few passes.";
    const allowed = limitInWords(study.allowed_cut_rate);
    const keeps = found.cut.upper <= study.allowed_cut_rate;
    const texts = {
        words: cutInWords(found.cut) + "." + doubt,
        rate: percent(found.cut.rate),
        limits: percent(found.cut.lower) + " to " + percent(found.cut.upper),
        touched: percent(found.touched.rate),
        keeps: allowed + (keeps ? ": kept" : ": may be more"),
        weeds: "not worked out",
        area: "not worked out",
        days: "not worked out",
        cost: "not priced: the study has no farm, weeds and prices to go by",
    };
    const farm = found.farm;
    if (farm !== null) {
        const [lower, upper] = [farm.cost_lower, farm.cost_upper].map((cost) => money(perLand(cost, units)));
        texts.weeds = percent(farm.weeds_left_share);
        texts.area = fixed(land(farm.hectares_per_hour, units), 2) + " " + landUnit(units) + "s an hour";
        texts.days = fixed(farm.days, 1) + " days";
        texts.cost = price(farm.cost_per_ha, study.farm.currency, units) + " (" + lower + " to " + upper + ")";
    }
    return texts;
}
