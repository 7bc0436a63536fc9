// The page's module against the program, byte for byte: node --test module.test.mjs
//
// PARTS: a folder with the first part of one of 20 passes of every shipped scenario, as `rowroom study FILE --part 1/1 --passes 20` writes it,
// in a folder of the scenario's name. STUDY: the folder of a whole study of 20 passes of wide_rows_us.

import assert from "node:assert/strict";
import { readFile, readdir } from "node:fs/promises";
import { join } from "node:path";
import { test } from "node:test";
import { desk, shipped } from "./module.mjs";

const { PARTS, STUDY } = process.env;
const PASSES = 20;
const SCENARIOS = ["leeks", "sugar_beet", "wide_rows_us", "drawn_on_off", "carrots_slope", "replayed_pass"];

test("every shipped scenario is here", async () => {
    const files = await readdir(new URL("../../scenarios/", import.meta.url));
    const names = files.filter((file) => file.endsWith(".toml")).map((file) => file.replace(".toml", ""));
    assert.deepEqual(names.sort(), [...SCENARIOS].sort());
});

for (const name of SCENARIOS) {
    test(`${name}: the sums have the program's bits`, { skip: !PARTS }, async () => {
        const { ask } = await desk();
        const texts = await shipped(name);
        const grid = ask({ ask: "grid", texts }).told;
        const part = ask({ ask: "part", machine: { texts, grid }, number: 1, of: 1, passes: PASSES });
        assert.equal(part.told.why, undefined);
        const program = await readFile(join(PARTS, name, "part_1_of_1.json"));
        assert.ok(program.length > 10_000);
        assert.ok(program.equals(part.behind), `${program.length} and ${part.behind.length} bytes`);
    });
}

test("report, customer page, setting sheet and all else are the program's, byte for byte", { skip: !STUDY }, async () => {
    const { ask, progress } = await desk();
    const texts = await shipped("wide_rows_us");
    const machine = { texts, grid: ask({ ask: "grid", texts }).told };
    const part = ask({ ask: "part", machine, number: 1, of: 1, passes: PASSES });
    ask({ ask: "join", machine, first: true }, part.behind);
    const { told, behind } = ask({ ask: "files", machine });
    assert.equal(told.why, undefined);
    const names = told.files.map(({ name }) => name);
    assert.deepEqual([...names].sort(), (await readdir(STUDY)).filter((name) => !name.startsWith(".")).sort());
    for (const name of ["report.html", "customer.html", "setting_sheet.html", "results.json"]) {
        assert.ok(names.includes(name), name);
    }
    let at = 0;
    for (const { name, length } of told.files) {
        const program = await readFile(join(STUDY, name));
        assert.ok(program.equals(behind.subarray(at, at + length)), name);
        at += length;
    }
    assert.equal(at, behind.length);
    assert.ok(progress.length > 3, "it tells how far it is");
});

test("one change after the other takes no more memory", async () => {
    const { ask, memory } = await desk();
    const texts = await shipped("drawn_on_off");
    const { facts } = ask({ ask: "check", texts }).told;
    const grid = { speeds_m_s: [facts.working_speed_m_s], clearances_m: facts.clearances_m };
    const sizes = [];
    for (let turn = 0; turn < 1000; turn++) {
        const edit = { change: "set", key: "hydraulics.stroke", value: `${300 + (turn % 200)} mm` };
        texts.text = ask({ ask: "edit", text: texts.text, edit }).told.text;
        assert.ok(ask({ ask: "check", texts }).told.facts);
        // Passes at every twentieth: they are the same from there on.
        if (turn % 20 === 0) {
            const machine = { texts, grid };
            const { behind } = ask({ ask: "part", machine, number: 1, of: 128, passes: 1024 });
            ask({ ask: "join", machine, first: true }, behind);
            assert.equal(ask({ ask: "told", machine }).told.passes, 8);
        }
        sizes.push(memory());
    }
    assert.equal(sizes.at(-1), sizes[500], `it grew after the first 500 changes: ${sizes.filter((_, turn) => turn % 100 === 99)}`);
    assert.ok(sizes.at(-1) < 64 * 1024 * 1024);
});

test("what is wrong is told, whatever is asked", async () => {
    const { ask } = await desk();
    const texts = await shipped("leeks");
    assert.match(ask({ ask: "nothing" }).told.why, /unknown variant/);
    assert.match(ask({ ask: "told", machine: { texts } }).told.why, /no passes are kept/);
    const edit = { change: "set", key: "hydraulics.stroke", value: "4 mm" };
    const wrong = { ...texts, text: ask({ ask: "edit", text: texts.text, edit }).told.text };
    const { problems } = ask({ ask: "check", texts: wrong }).told;
    assert.equal(problems[0].key, "hydraulics.stroke");
    assert.match(problems[0].message, /50 mm to 2000 mm/);
    // A part of another machine does not join.
    const machine = { texts };
    const other = { texts: { ...texts, text: `${texts.text}\n# another\n` } };
    const at = (machine, number) => ask({ ask: "part", machine, number, of: 128, passes: 1024 }).behind;
    assert.equal(ask({ ask: "join", machine, first: true }, at(machine, 1)).told.passes, 8);
    assert.match(ask({ ask: "join", machine, first: false }, at(other, 2)).told.why, /scenario/);
    assert.equal(ask({ ask: "join", machine, first: true }, at(machine, 1)).told.passes, 8);
    assert.match(ask({ ask: "join", machine, first: false }, at(machine, 3)).told.why, /place/);
});
