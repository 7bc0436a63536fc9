// The page that is the whole tool, opened from its file: node --test page.test.mjs
//
// PAGE   the file that `rowroom page` wrote
// STUDY  the folder of a whole study of 24 passes of wide_rows_us (its download is left out if not given)
// SHOTS  folder for pictures and printed pages (none if not given)

import assert from "node:assert/strict";
import { mkdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { after, test } from "node:test";
import vm from "node:vm";
import axe from "axe-core";
import { desk, atWork, shipped } from "./module.mjs";
import { opened, stopped } from "./opened.mjs";

const { PAGE, STUDY, SHOTS } = process.env;
if (!PAGE) {
    throw new Error("PAGE must name the file that `rowroom page` wrote");
}
if (SHOTS) {
    mkdirSync(SHOTS, { recursive: true });
}
// Most of the page is the module: what mailboxes take without a word.
const MOST_BYTES = 2_500_000;
const LONG_MS = 60_000;

after(stopped);

// Opens the page once its first numbers are there; nothing may go wrong.
async function clean(options, use) {
    const { found, troubles } = await opened(PAGE, options, async (page, context) => {
        await page.waitForFunction(() => /passes/.test(document.getElementById("passes").textContent), undefined, { timeout: LONG_MS });
        return use(page, context);
    });
    assert.deepEqual(troubles, []);
    return found;
}

// Waits until so many passes are told.
const passes = (page, least) =>
    page.waitForFunction((least) => Number.parseInt(document.getElementById("passes").textContent, 10) >= least, least, { timeout: LONG_MS });

// Waits until the numbers are of another machine than now; `change` makes it one.
async function changed(page, change) {
    const turn = () => Number(document.getElementById("answer").dataset.turn);
    const before = await page.evaluate(turn);
    await change();
    await page.waitForFunction((before) => Number(document.getElementById("answer").dataset.turn) > before, before, { timeout: LONG_MS });
}

const textOf = (page, id) => page.evaluate((id) => document.getElementById(id).textContent, id);

// A field of those in sight, by its label.
const field = (page, label) => page.locator("#first-fields").getByLabel(label, { exact: true });

async function picture(page, name, fullPage = true) {
    if (SHOTS) {
        await page.screenshot({ path: join(SHOTS, name), fullPage });
    }
}

// The page's words for a share, by its own script.
const numbers = vm.createContext({});
vm.runInContext(readFileSync(new URL("../../src/report/live/numbers.js", import.meta.url), "utf8"), numbers);

test("it is small enough for a mail, and opens by itself", async () => {
    assert.ok(readFileSync(PAGE).length < MOST_BYTES);
    await clean({}, async (page) => {
        assert.match(await textOf(page, "lead"), /plant/);
        assert.equal(await page.locator("#trouble").isVisible(), false);
        assert.match(await textOf(page, "cautions"), /not a permission/);
        await passes(page, 256);
        await page.waitForFunction(() => document.querySelectorAll("#map td").length > 0, undefined, { timeout: LONG_MS });
        await picture(page, "page_1280.png");
    });
});

test("every shipped scenario has the program's numbers", async () => {
    await clean({}, async (page) => {
        // Every step is seen, however short it stands.
        await page.evaluate(() => {
            window.steps = [];
            const note = () =>
                window.steps.push([document.getElementById("answer").dataset.turn, Number.parseInt(document.getElementById("passes").textContent, 10), document.getElementById("lead").textContent]);
            new MutationObserver(note).observe(document.getElementById("passes"), { childList: true });
        });
        const names = ["sugar_beet", "wide_rows_us", "drawn_on_off", "carrots_slope", "leeks"];
        const places = { leeks: 0, sugar_beet: 1, wide_rows_us: 2, drawn_on_off: 3, carrots_slope: 4 };
        assert.equal(await page.locator("#begin optgroup").first().locator("option").count(), names.length);
        const { ask } = await desk();
        for (const name of names) {
            const texts = await shipped(name);
            const told = atWork({ ask }, texts, 64);
            const moves = (kind) => kind !== "locked";
            const rates = told.rates.filter((rate) => rate.speed_m_s === told.working_speed_m_s && rate.clearance_m === told.working_clearance_m && moves(rate.controller));
            const decisive = (rate) => rate.known?.assured_cut ?? rate.cut.upper;
            rates.sort((a, b) => decisive(a) - decisive(b));
            const words = `${numbers.cutInWords(rates[0].cut)}.`;
            await changed(page, () => page.selectOption("#begin", `scenario ${places[name]}`));
            await passes(page, 64);
            const turn = await page.evaluate(() => document.getElementById("answer").dataset.turn);
            const steps = await page.evaluate(() => window.steps);
            const step = steps.find(([of, passes]) => of === turn && passes === 64);
            assert.ok(step, `${name}: 64 passes were told`);
            assert.equal(step[2], words, name);
        }
    });
});

test("a field tells what is wrong in the program's words, and undo takes it back", async () => {
    await clean({}, async (page) => {
        const stroke = field(page, "Stroke of the side-shift");
        const lead = await textOf(page, "name");
        const before = await stroke.inputValue();
        await stroke.fill("4 mm");
        await stroke.press("Enter");
        await page.waitForFunction(() => document.querySelector("[aria-invalid=true]") !== null);
        assert.equal(await stroke.getAttribute("aria-invalid"), "true");
        const described = (await stroke.getAttribute("aria-describedby")).split(" ")[1];
        assert.match(await textOf(page, described), /50 mm to 2000 mm/);
        assert.equal(await page.locator("#stale").isVisible(), true);
        await picture(page, "page_mistake.png", false);
        await page.click("#undo");
        await page.waitForFunction(() => document.querySelector("[aria-invalid=true]") === null);
        assert.equal(await stroke.inputValue(), before);
        assert.equal(await textOf(page, "name"), lead);
        assert.equal(await page.locator("#undo").isDisabled(), true);
    });
});

test("what is saved is the scenario with its comments, one line changed", async () => {
    await clean({ acceptDownloads: true }, async (page) => {
        const clearance = field(page, "Room beside the row, either side");
        await changed(page, async () => {
            await clearance.fill("70 mm");
            await clearance.press("Tab");
        });
        const [download] = await Promise.all([page.waitForEvent("download"), page.click("#save")]);
        assert.equal(download.suggestedFilename(), "leeks.toml");
        const lines = (text) => text.split("\n");
        const now = lines(readFileSync(await download.path(), "utf8"));
        const was = lines((await shipped("leeks")).text);
        assert.deepEqual(now.filter((line, i) => line !== was[i]), ['working_clearance = "70 mm"']);
        assert.equal(now.length, was.length);
        // And the difference to the machine before, on the same passes.
        await page.waitForFunction(() => /before/.test(document.getElementById("against").textContent), undefined, { timeout: LONG_MS });
        assert.match(await textOf(page, "against"), /fewer cut/);
    });
});

test("a table comes in and another goes, and all keys can be found", async () => {
    await clean({}, async (page) => {
        await changed(page, () => field(page, "Who steers the tractor").selectOption("driver.satellite_line"));
        assert.match(await textOf(page, "lead"), /plant/);
        await page.fill("#find", "latency");
        const found = page.locator("#all .field:visible");
        assert.ok((await found.count()) >= 1 && (await found.count()) < 12);
        assert.match(await found.first().textContent(), /Default/);
    });
});

test("both systems of units", async () => {
    await clean({}, async (page) => {
        await page.check("#units-us");
        assert.match(await textOf(page, "allowed"), /mph.* in of room/);
        await page.check("#units-metric");
        assert.match(await textOf(page, "allowed"), /km\/h.* mm of room/);
    });
});

test("a scenario dropped on it takes the place of the last", async () => {
    await clean({}, async (page) => {
        const text = (await shipped("sugar_beet")).text.replace(/^name = .*$/m, 'name = "</script><img src=x onerror=alert(1)>"');
        await changed(page, () => page.setInputFiles("#open", { name: "mine.toml", mimeType: "text/plain", buffer: Buffer.from(text) }));
        assert.equal(await textOf(page, "name"), "</script><img src=x onerror=alert(1)>");
        assert.equal(await page.locator("#name img").count(), 0);
    });
});

test("a log is read, notes go into the scenario, and machines are compared", async () => {
    await clean({ acceptDownloads: true }, async (page) => {
        const log = readFileSync(new URL("../data/synthetic_pass.csv", import.meta.url));
        await page.setInputFiles("#open", { name: "monday.csv", mimeType: "text/csv", buffer: log });
        await page.waitForFunction(() => document.getElementById("log-told").textContent !== "");
        assert.match(await textOf(page, "log-told"), /wander/i);
        await page.click("#keep");
        await changed(page, () => field(page, "The driver's practice").selectOption("practised"));
        await page.click("#keep");
        await page.click("#keep");
        await page.locator("#kept button").last().click();
        assert.equal(await page.locator("#kept li").count(), 2);
        await page.click("#compare");
        await page.waitForFunction(() => /Done|not work/.test(document.getElementById("compare-said").textContent), undefined, { timeout: 3 * LONG_MS });
        assert.match(await textOf(page, "compare-said"), /Done/);
        const [download] = await Promise.all([page.waitForEvent("download"), page.locator("#compared a").click()]);
        assert.match(readFileSync(await download.path(), "utf8"), /<!DOCTYPE html>/);
        await changed(page, () => page.selectOption("#begin", "starter cabbage hand"));
        const notes = '[camera]\nlatency = { measured = "95 ms", error = "10 ms" }\n';
        await changed(page, () => page.setInputFiles("#open", { name: "walk.toml", mimeType: "text/plain", buffer: Buffer.from(notes) }));
        await page.fill("#find", "latency");
        const latency = page.locator("#all .field:visible").getByLabel("Latency", { exact: true });
        assert.match(await latency.inputValue(), /measured = "95 ms"/);
    });
});

test("phones, dark, print, keyboard", async () => {
    for (const width of [360, 800]) {
        await clean({ width, height: 740 }, async (page) => {
            await passes(page, 64);
            const wide = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
            assert.ok(wide <= 0, `${wide} px too wide at ${width}`);
            await picture(page, `page_${width}.png`);
        });
    }
    await clean({ colorScheme: "dark" }, async (page) => {
        await passes(page, 256);
        await picture(page, "page_dark.png");
    });
    await clean({}, async (page) => {
        await passes(page, 64);
        // From the top to the speed by Tab alone, then a change and Enter.
        const reached = () => page.evaluate(() => document.activeElement?.labels?.[0]?.textContent);
        let steps = 0;
        while ((await reached()) !== "Speed" && steps++ < 40) {
            await page.keyboard.press("Tab");
        }
        assert.equal(await reached(), "Speed");
        await changed(page, async () => {
            await page.keyboard.press("Control+A");
            await page.keyboard.type("10 km/h");
            await page.keyboard.press("Enter");
        });
        assert.match(await textOf(page, "allowed"), /10 km\/h/);
        if (SHOTS) {
            await page.pdf({ path: join(SHOTS, "page.pdf") });
        }
    });
});

test("axe-core finds nothing serious", async () => {
    for (const colorScheme of ["light", "dark"]) {
        await clean({ colorScheme }, async (page) => {
            await passes(page, 64);
            await page.evaluate(() => document.querySelectorAll("details").forEach((fold) => (fold.open = true)));
            await page.evaluate(axe.source);
            const { violations } = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
            const serious = violations.filter(({ impact }) => ["serious", "critical"].includes(impact));
            assert.deepEqual(serious.map(({ id, nodes }) => `${id} ${nodes[0].html.slice(0, 120)}`), [], colorScheme);
        });
    }
});

test("the film of a machine plays in its frame", async () => {
    await clean({}, async (page) => {
        await passes(page, 64);
        await page.click("#film");
        const frame = page.frameLocator("#film-frame iframe");
        await frame.locator("#film-play").click();
        const place = async () => Number(await frame.locator("#film-scrub").inputValue());
        const begun = await place();
        const late = Date.now() + LONG_MS;
        while ((await place()) === begun) {
            assert.ok(Date.now() < late, "it does not move");
            await page.waitForTimeout(50);
        }
        await picture(page, "page_film.png");
    });
});

test("the report by download is the program's, byte for byte; stop stops", { skip: !STUDY }, async () => {
    await clean({ acceptDownloads: true }, async (page) => {
        await changed(page, () => page.selectOption("#begin", "scenario 2"));
        await page.click("#report");
        await page.click("#report-stop");
        assert.match(await textOf(page, "report-said"), /Stopped/);
        await page.evaluate(() => (document.querySelector("#report-passes option").textContent = "24"));
        await page.selectOption("#report-passes", "24");
        await page.click("#report");
        await page.waitForFunction(() => /^Done/.test(document.getElementById("report-said").textContent), undefined, { timeout: 5 * LONG_MS });
        for (const name of ["report.html", "customer.html", "setting_sheet.html", "results.json"]) {
            const [download] = await Promise.all([page.waitForEvent("download"), page.locator("#files").getByText(name, { exact: true }).click()]);
            assert.ok(readFileSync(await download.path()).equals(readFileSync(join(STUDY, name))), name);
        }
        await picture(page, "page_reports.png");
    });
});
