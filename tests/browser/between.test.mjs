// Holds the page's script against the library, text for text:
//
//     shown_numbers >NUMBERS.json
//     between_settings RESULTS.json >SETTINGS.json
//     node tests/browser/between.test.mjs NUMBERS.json RESULTS.json SETTINGS.json [RESULTS.json SETTINGS.json ...]

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

const script = (name) => readFileSync(new URL(`../../src/report/live/${name}`, import.meta.url), "utf8");
const names = ["fixed", "signed", "trimmed", "grouped", "money", "percent", "chosenPercent", "plantsInWords", "limitInWords",
    "cutInWords", "speedText", "clearanceText", "smallText", "distanceText", "between", "shown"];
const live = new Function(`"use strict"; ${script("numbers.js")} ${script("between.js")} return { ${names.join(", ")} };`)();

const [numbersFile, ...pairs] = process.argv.slice(2);
assert.ok(pairs.length > 0 && pairs.length % 2 === 0, "NUMBERS.json RESULTS.json SETTINGS.json [...]");
const read = (file) => JSON.parse(readFileSync(file, "utf8"));

// What the page carries of a study, made from its results here: two ways to the same numbers.
function studyOf(results) {
    const { speeds_m_s, clearances_m, answers } = results;
    const keyed = (cells) => new Map(cells.map((cell) => [`${cell.speed_m_s} ${cell.clearance_m}`, cell]));
    const grid = (map, key) => speeds_m_s.map((speed) => clearances_m.map((clearance) => map.get(`${speed} ${clearance}`)?.[key] ?? null));
    const controllers = results.controllers.filter((note) => note.left_out === null).map(({ controller }) => {
        const whole = results.rates.filter((cell) => cell.controller === controller && cell.stretch === "whole");
        const share = (name) => {
            const cells = keyed(whole.map((cell) => ({ ...cell, ...cell[name] })));
            return Object.assign({}, ...["rate", "lower", "upper"].map((key) => ({ [key]: grid(cells, key) })));
        };
        return { name: controller, cut: share("cut"), touched: share("touched"), resolved: grid(keyed(whole), "resolved") };
    });
    const { cells, currency, plants } = answers.spacing;
    let farm = null;
    if (cells.length > 0) {
        const priced = keyed(cells);
        farm = Object.assign({ currency, plant_value_per_ha: plants.value_per_ha, touched_lost_share: plants.touched_lost_share },
            ...["machine_per_ha", "weeding_per_ha", "weeds_left_share", "hectares_per_hour", "days"]
                .map((key) => ({ [key]: grid(priced, key) })));
    }
    return { speeds_m_s, clearances_m, allowed_cut_rate: results.allowed_cut_rate, controllers, farm };
}

// The value at a place of a slider.
function valueAt(values, place) {
    const [from, tenths] = [Math.floor(place / 10), place % 10];
    const a = values[from];
    return tenths === 0 ? a : a + (values[from + 1] - a) * tenths / 10;
}

test("every number reads as the library writes it", () => {
    const numbers = read(numbersFile);
    for (const [name, values, text] of numbers) {
        assert.equal(live[name](...values), text, `${name}(${values})`);
    }
    console.log(`${numbers.length} numbers`);
});

for (let i = 0; i < pairs.length; i += 2) {
    test(`every setting reads as the library writes it: ${pairs[i]}`, () => {
        const study = studyOf(read(pairs[i]));
        const settings = read(pairs[i + 1]);
        let between = 0;
        for (const setting of settings) {
            const speed = valueAt(study.speeds_m_s, setting.speed_place);
            const clearance = valueAt(study.clearances_m, setting.clearance_place);
            const found = live.between(study, setting.controller, speed, clearance);
            for (const units of ["metric", "us"]) {
                const texts = {
                    speed: live.speedText(speed, units),
                    clearance: live.clearanceText(clearance, units),
                    ...live.shown(study, found, units),
                };
                assert.deepEqual(texts, setting[units], `${setting.controller} at ${speed}, ${clearance}`);
            }
            between += setting.speed_place % 10 !== 0 || setting.clearance_place % 10 !== 0;
        }
        assert.ok(settings.length > between && between > 0);
        console.log(`${settings.length} settings, ${between} of them between simulated ones`);
    });

    test(`nothing is told beyond what was simulated: ${pairs[i]}`, () => {
        const study = studyOf(read(pairs[i]));
        const name = study.controllers[0].name;
        const [speed, clearance] = [study.speeds_m_s[1], study.clearances_m[1]];
        assert.equal(live.between(study, name, speed, clearance).cut.rate, study.controllers[0].cut.rate[1][1]);
        for (const [v, c] of [[NaN, clearance], [speed, NaN], [0, clearance], [100, clearance], [speed, 0], [speed, 9]]) {
            assert.equal(live.between(study, name, v, c), null);
        }
        assert.equal(live.between(study, "nobody", speed, clearance), null);
        study.controllers[0].cut.rate[1][1] = null;
        assert.equal(live.between(study, name, speed, clearance), null);
        study.farm = null;
        const other = live.between(study, name, study.speeds_m_s[0], clearance);
        assert.equal(live.shown(study, other, "us").days, "not worked out");
    });
}
