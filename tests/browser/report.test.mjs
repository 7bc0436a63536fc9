// What a browser makes of a finished study: node --test report.test.mjs
//
// REPORT      folder of the study, with results.json
// BETWEEN     what the program computes between the simulated settings of that study, by between_settings
// COMPARISON  a page that compares two studies (left out if not given)
// HOSTILE     folder of a study whose scenario has markup for texts (left out if not given)
// DEMO_REPORT the committed report of the demo (left out if not given)
// SHOTS       folder for pictures and printed pages (none if not given)
// QUICK       1: only what depends on the scenario

import assert from "node:assert/strict";
import { mkdirSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { after, test } from "node:test";
import axe from "axe-core";
import { fleschKincaid } from "flesch-kincaid";
import { syllable } from "syllable";
import { opened, started, stopped } from "./opened.mjs";

const { REPORT, BETWEEN, COMPARISON, HOSTILE, DEMO_REPORT, SHOTS } = process.env;
const QUICK = process.env.QUICK === "1";
const full = { skip: QUICK && "QUICK" };
if (!REPORT) {
    throw new Error("REPORT must name the folder of a finished study");
}
const report = join(REPORT, "report.html");
const customer = join(REPORT, "customer.html");
const sheet = join(REPORT, "setting_sheet.html");
const pages = { report, customer, "setting sheet": sheet };

// A report goes by mail: what most mailboxes and messengers take without a word. The demo is committed, and no file there is over 1 MiB.
const MOST_BYTES = 1_500_000;
const MOST_BYTES_OF_DEMO = 1024 * 1024;
// The first screen must read like a newspaper; our choice.
const HIGHEST_GRADE = 9;
const PHONES = [360, 320];

const scratch = mkdtempSync(join(tmpdir(), "rowroom-pages-"));
if (SHOTS) {
    mkdirSync(SHOTS, { recursive: true });
}
const shot = (name) => join(SHOTS || scratch, name);

after(async () => {
    await stopped();
    rmSync(scratch, { recursive: true, force: true });
});

function smallPage(name, text) {
    const file = join(scratch, name);
    writeFileSync(file, `<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">${text}`);
    return file;
}

// Like `opened`, and nothing may go wrong.
async function clean(file, options, use) {
    const { found, troubles } = await opened(file, options, use);
    assert.deepEqual(troubles, [], `${file} does not open cleanly`);
    return found;
}

const phone = (width) => ({ width, height: 740, deviceScaleFactor: 2, isMobile: true, hasTouch: true });

const dataOf = (page) => page.evaluate(() => JSON.parse(document.getElementById("rowroom-data").textContent));

// Every fold open, as somebody has it who reads it all.
const unfolded = (page) => page.evaluate(() => document.querySelectorAll("details").forEach((fold) => (fold.open = true)));

// Sets a range or a select, and tells the page as it is told of a hand.
const setControl = (page, id, value) =>
    page.evaluate(
        ([id, value]) => {
            const control = document.getElementById(id);
            control.value = String(value);
            if (control.value !== String(value)) {
                throw new Error(`#${id} does not take ${value}, it is ${control.value}`);
            }
            control.dispatchEvent(new Event("input", { bubbles: true }));
            control.dispatchEvent(new Event("change", { bubbles: true }));
        },
        [id, value],
    );

const chooseUnits = (page, units) => page.evaluate((units) => document.getElementById(`units-${units}`).click(), units);

test("the watch sees a page that does what no report may", async () => {
    const bad = smallPage(
        "bad.html",
        `<meta http-equiv="Content-Security-Policy" content="default-src 'none'; script-src 'sha256-AAAA'; img-src http:"><title>Bad</title>
         <p><img src="http://127.0.0.1:9/picture.png" alt=""><script>alert(1)</script>`,
    );
    const { troubles } = await opened(bad);
    for (const kind of ["request: http://127.0.0.1:9/picture.png", "policy: script-src", "console error"]) {
        assert.ok(
            troubles.some((line) => line.startsWith(kind)),
            `${kind} was overlooked: ${troubles.join("; ")}`,
        );
    }
    const loud = await opened(smallPage("loud.html", "<title>Loud</title><p>Loud<script>alert(1); console.warn(2); missing()</script>"));
    assert.deepEqual(loud.troubles.map((line) => line.split(":")[0]).sort(), ["console warning", "dialog", "script"]);
});

test("every page opens from a file, clean and without the network", async () => {
    for (const [name, file] of Object.entries(pages)) {
        await clean(file, {}, async (page) => {
            assert.ok((await page.title()).length > 0, `${name} has no title`);
            assert.ok(await page.locator("main h1").isVisible(), `${name} has no heading`);
        });
    }
    await clean(report, {}, async (page) => {
        assert.ok(
            await page.evaluate(() => document.documentElement.classList.contains("live")),
            "the report's script did not run",
        );
        const policy = await page.evaluate(() => document.querySelector("meta[http-equiv=Content-Security-Policy]")?.content ?? "");
        assert.match(policy, /default-src 'none'/, "the report has no policy that forbids everything else");
        assert.doesNotMatch(policy, /script-src[^;]*('unsafe-inline'|'unsafe-eval'|https?:|\*)/, "the policy lets other scripts in");
    });
});

test("without scripts the answers, maps and tables are all there", async () => {
    const shown = await clean(report, { javaScriptEnabled: false }, async (page) => {
        const fold = page.locator("details.fold:not(.needs-script)").first();
        const content = fold.locator("table").first();
        assert.ok(!(await content.isVisible()), "the parts are not folded");
        await fold.locator("summary").click();
        assert.ok(await content.isVisible(), "a part does not unfold without the script");
        await unfolded(page);
        return page.evaluate(() => {
            const visible = (selector) =>
                [...document.querySelectorAll(selector)].filter((element) => element.checkVisibility() && element.getClientRects().length > 0);
            return {
                live: document.documentElement.classList.contains("live"),
                answers: visible(".answers section").map((section) => section.innerText.trim().length),
                maps: visible("svg.chart[aria-labelledby^=cut_map]").length,
                allMaps: document.querySelectorAll("svg.chart[aria-labelledby^=cut_map]").length,
                tables: visible("table").length,
                needing: visible(".needs-script").map((element) => element.id || element.textContent.slice(0, 60)),
                allNeeding: document.querySelectorAll(".needs-script").length,
            };
        });
    });
    assert.ok(!shown.live, "scripts ran");
    assert.equal(shown.answers.length, 3, "there are not three answers");
    assert.ok(Math.min(...shown.answers) > 20, "an answer is empty");
    assert.ok(shown.maps >= 1 && shown.maps === shown.allMaps, `${shown.maps} of ${shown.allMaps} maps are visible`);
    assert.ok(shown.tables >= 3, `only ${shown.tables} tables are visible`);
    assert.ok(shown.allNeeding > 0, "nothing is marked as needing the script");
    assert.deepEqual(shown.needing, [], "what needs the script is shown without it");
});

// Sets controller and sliders to each of the `places` in both systems of units and reads the results of the first study.
async function triedIn(page, places) {
    const said = {};
    for (const units of ["metric", "us"]) {
        await chooseUnits(page, units);
        said[units] = await page.evaluate(
            ([units, places]) => {
                const other = units === "us" ? "metric" : "us";
                const set = (id, value) => {
                    const control = document.getElementById(id);
                    if (control.value === String(value)) {
                        return;
                    }
                    control.value = String(value);
                    if (control.value !== String(value)) {
                        throw new Error(`#${id} does not take ${value}, it is ${control.value}`);
                    }
                    control.dispatchEvent(new Event("input", { bubbles: true }));
                    control.dispatchEvent(new Event("change", { bubbles: true }));
                };
                const outputs = ["words", "rate", "limits", "touched", "keeps", "weeds", "area", "days", "cost"].map((name) => {
                    const output = document.getElementById(`try-${name}-0`);
                    if (output === null || !output.checkVisibility()) {
                        throw new Error(`#try-${name}-0 is not to be seen`);
                    }
                    return [name, output];
                });
                for (const name of ["speed", "clearance"]) {
                    outputs.push([name, document.getElementById(`try-${name}-said`)]);
                }
                const read = (output) => {
                    if (output.firstElementChild === null) {
                        return output.textContent.trim();
                    }
                    const copy = output.cloneNode(true);
                    copy.querySelectorAll(`.${other}`).forEach((hidden) => hidden.remove());
                    return copy.textContent.trim();
                };
                return places.map(({ controller, speed_place, clearance_place }) => {
                    set("try-controller", controller);
                    set("try-speed", speed_place);
                    set("try-clearance", clearance_place);
                    return Object.fromEntries(outputs.map(([name, output]) => [name, read(output)]));
                });
            },
            [units, places],
        );
    }
    return said;
}

test("between the simulated settings the sliders say what the program says", full, async () => {
    assert.ok(BETWEEN, "BETWEEN must name what between_settings wrote");
    const entries = JSON.parse(readFileSync(BETWEEN, "utf8"));
    const between = entries.filter((entry) => entry.speed_place % 10 !== 0 || entry.clearance_place % 10 !== 0);
    assert.ok(between.length >= 20 && between.length < entries.length, `${between.length} of ${entries.length} are between the settings`);
    assert.ok(new Set(entries.map((entry) => entry.controller)).size > 1, "only one controller is asked for");
    await clean(report, {}, async (page) => {
        const said = await triedIn(page, entries);
        let compared = 0;
        const wrong = [];
        for (const units of ["metric", "us"]) {
            entries.forEach((entry, i) => {
                for (const [name, expected] of Object.entries(entry[units])) {
                    const shown = said[units][i][name];
                    compared += 1;
                    if ((shown ?? "") !== (expected ?? "")) {
                        const place = `${entry.controller} ${entry.speed_place}/${entry.clearance_place} ${units}`;
                        wrong.push(`${place} ${name}: ${JSON.stringify(shown)} instead of ${JSON.stringify(expected)}`);
                    }
                }
            });
        }
        assert.equal(compared, 22 * entries.length, "an entry lacks some of the texts");
        assert.deepEqual(wrong.slice(0, 10), [], `${wrong.length} of ${compared} texts differ`);
        console.log(`sliders: ${compared} texts at ${entries.length} places, as the program writes them`);
    });
});

test("at the simulated settings the sliders say what was counted", full, async () => {
    const results = JSON.parse(readFileSync(join(REPORT, "results.json"), "utf8"));
    const whole = results.rates.filter((rate) => rate.stretch === "whole");
    const places = whole.map((rate) => ({
        controller: rate.controller,
        speed_place: 10 * results.speeds_m_s.indexOf(rate.speed_m_s),
        clearance_place: 10 * results.clearances_m.indexOf(rate.clearance_m),
    }));
    assert.ok(places.length > 0, "there are no rates");
    await clean(report, {}, async (page) => {
        const said = await triedIn(page, places);
        const wrong = [];
        whole.forEach(({ cut: { rate } }, i) => {
            for (const units of ["metric", "us"]) {
                const shown = said[units][i].rate ?? "";
                const [, below, number, decimals] = shown.match(/^(<)?(\d+(?:\.(\d+))?) %/) ?? [];
                const half = 0.5 * 10 ** -(decimals ?? "").length;
                const fits = below ? 100 * rate < Number(number) : Math.abs(100 * rate - Number(number)) <= half * (1 + 1e-9);
                // A rate of a thousandth of a percent must not pass as 0 %.
                if (number === undefined || !fits || (Number(number) === 0 && rate !== 0)) {
                    wrong.push(`${JSON.stringify(places[i])} ${units}: ${JSON.stringify(shown)} for ${100 * rate} %`);
                }
            }
        });
        assert.deepEqual(wrong.slice(0, 10), [], `${wrong.length} of ${2 * places.length} rates are wrong`);
        const steps = await page.evaluate(() => ["try-speed", "try-clearance"].map((id) => Number(document.getElementById(id).max)));
        assert.deepEqual(steps, [10 * (results.speeds_m_s.length - 1), 10 * (results.clearances_m.length - 1)], "the sliders' ends are elsewhere");
    });
});

test("the mark on the map stands on the dot of its setting", full, async () => {
    const results = JSON.parse(readFileSync(join(REPORT, "results.json"), "utf8"));
    const [speeds, clearances] = [results.speeds_m_s.length, results.clearances_m.length];
    await clean(report, {}, async (page) => {
        const places = await page.evaluate(
            ([speeds, clearances]) => {
                const shown = document.querySelector(".maps figure:not(.aside)");
                const spots = [...shown.querySelectorAll("circle.spot")].map((spot) => [spot.cx.baseVal.value, spot.cy.baseVal.value]);
                const places = [];
                for (let i = 0; i < speeds; i += 1) {
                    for (let j = 0; j < clearances; j += 1) {
                        document.getElementById("try-speed").value = 10 * i;
                        const clearance = document.getElementById("try-clearance");
                        clearance.value = 10 * j;
                        clearance.dispatchEvent(new Event("input"));
                        const { e, f } = shown.querySelector(".try-marker").transform.baseVal.consolidate().matrix;
                        places.push({ mark: [e, f], off: Math.min(...spots.map(([x, y]) => Math.hypot(x - e, y - f))) });
                    }
                }
                return places;
            },
            [speeds, clearances],
        );
        assert.equal(places.length, speeds * clearances);
        assert.ok(Math.max(...places.map((place) => place.off)) < 1, "a mark stands beside its dot");
        assert.equal(new Set(places.map((place) => place.mark.join())).size, places.length, "two settings have the same mark");
        // A click on a dot goes back to its setting.
        const figure = page.locator(".maps figure:not(.aside) svg");
        await figure.scrollIntoViewIfNeeded();
        const box = await figure.boundingBox();
        const [x, y] = places[0].mark;
        const width = await figure.evaluate((svg) => svg.viewBox.baseVal.width);
        await page.mouse.click(box.x + (x / width) * box.width, box.y + (y / width) * box.width);
        assert.deepEqual([await page.inputValue("#try-speed"), await page.inputValue("#try-clearance")], ["0", "0"], "the click went elsewhere");
    });
});

const CONTROLS = [
    "units-metric",
    "units-us",
    "try-controller",
    "try-speed",
    "try-clearance",
    "film-pass",
    "film-play",
    "film-worst",
    "film-scrub",
    "note-customer",
    "note-text",
    "note-save",
];

test("the keyboard alone reaches and moves everything", full, async () => {
    await clean(report, {}, async (page) => {
        const expected = await page.evaluate((ids) => {
            const missing = ids.filter((id) => document.getElementById(id) === null);
            if (missing.length > 0) {
                throw new Error(`not there: ${missing.join(", ")}`);
            }
            // Of a group of radio buttons Tab reaches the chosen one.
            const controls = [...document.querySelectorAll("input, select, textarea, button, summary, a[href]")];
            window.reached = controls.filter((control) => !control.disabled && (control.type !== "radio" || control.checked) && control.checkVisibility());
            return window.reached.map((control) => control.id || control.textContent.trim().slice(0, 40));
        }, CONTROLS);
        const unreached = CONTROLS.filter((id) => !expected.includes(id));
        assert.equal(unreached.length, 1, `hidden or out of use: ${unreached.join(", ")}`);
        assert.match(unreached[0], /^units-/, "not exactly one system of units is chosen");
        const stops = [];
        for (let press = 0; press < 500; press += 1) {
            await page.keyboard.press("Tab");
            const stop = await page.evaluate(() => {
                const element = document.activeElement;
                if (element === null || element === document.body || element === document.documentElement) {
                    return null;
                }
                const { outlineStyle, outlineWidth } = getComputedStyle(element);
                return {
                    place: window.reached.indexOf(element),
                    name: element.id || element.getAttribute("aria-label") || element.textContent.trim().slice(0, 40),
                    seen: outlineStyle !== "none" && parseFloat(outlineWidth) > 0 && element.checkVisibility(),
                };
            });
            if (stop === null) {
                break;
            }
            stops.push(stop);
            assert.ok(stops.length < 500, "Tab does not come to an end");
        }
        assert.deepEqual(
            stops.filter((stop) => stop.place >= 0).map((stop) => expected[stop.place]),
            expected,
            "Tab does not reach the controls in their order",
        );
        assert.deepEqual(
            stops.filter((stop) => !stop.seen).map((stop) => stop.name),
            [],
            "the focus is not to be seen",
        );

        const results = () => page.evaluate(() => document.getElementById("try").innerText);
        for (const [slider, keys] of [
            ["try-speed", ["ArrowLeft", "ArrowRight", "Home", "End"]],
            ["try-clearance", ["ArrowUp", "ArrowDown", "Home", "End"]],
        ]) {
            const max = await page.evaluate((id) => Number(document.getElementById(id).max), slider);
            await setControl(page, slider, Math.round(max / 2));
            await page.focus(`#${slider}`);
            for (const key of keys) {
                const [before, spoken] = [await results(), await page.textContent(`#${slider}-said`)];
                await page.keyboard.press(key);
                assert.notEqual(await page.textContent(`#${slider}-said`), spoken, `${key} on #${slider} does not change its setting`);
                assert.notEqual(await results(), before, `${key} on #${slider} changes no result`);
            }
        }
        await page.focus("#try-controller");
        const before = await results();
        await page.keyboard.press((await page.evaluate(() => document.getElementById("try-controller").selectedIndex)) > 0 ? "ArrowUp" : "ArrowDown");
        assert.notEqual(await results(), before, "an arrow key on the controllers changes nothing");
        await page.focus("#units-metric:checked, #units-us:checked");
        const units = () => page.evaluate(() => document.documentElement.dataset.units);
        const old = await units();
        await page.keyboard.press("ArrowRight");
        assert.notEqual(await units(), old, "an arrow key does not change the units");

        const scrub = () => page.evaluate(() => Number(document.getElementById("film-scrub").value));
        await setControl(page, "film-scrub", await page.evaluate(() => document.getElementById("film-scrub").min || "0"));
        const start = await scrub();
        await page.focus("#film-play");
        await page.keyboard.press("Space");
        await page.waitForFunction((start) => Number(document.getElementById("film-scrub").value) !== start, start, { timeout: 5000 });
        await page.keyboard.press("Space");
        const stopped = await scrub();
        await page.waitForTimeout(400);
        assert.equal(await scrub(), stopped, "Space does not stop the film");
        await page.focus("#film-scrub");
        await page.keyboard.press("ArrowRight");
        assert.notEqual(await scrub(), stopped, "an arrow key does not move the film");
    });
});

const sideways = (page) =>
    page.evaluate(() => ({
        screen: document.documentElement.clientWidth,
        content: Math.max(document.documentElement.scrollWidth, document.body.scrollWidth),
        hidden: [document.documentElement, document.body].some((element) => /hidden|clip/.test(getComputedStyle(element).overflowX)),
    }));

async function fitsPhones(name, file) {
    for (const width of PHONES) {
        await clean(file, phone(width), async (page) => {
            await unfolded(page);
            const switches = await page.locator("#units-us").count();
            for (const units of switches > 0 ? ["metric", "us"] : [""]) {
                if (units) {
                    await chooseUnits(page, units);
                }
                const { screen, content, hidden } = await sideways(page);
                assert.equal(screen, width, `${name} is not laid out for the width of the screen`);
                assert.ok(content <= screen, `${name} is ${content} px wide on ${width} px ${units}`);
                assert.ok(!hidden, `${name} cuts off what is too wide`);
            }
            if (width === PHONES[0]) {
                await page.evaluate(() => scrollTo(0, 0));
                await page.screenshot({ path: shot(`${name.replace(" ", "_")}_${width}.png`) });
            }
        });
    }
}

test("nothing scrolls sideways on a phone", async () => {
    const wide = smallPage("wide.html", '<meta name="viewport" content="width=device-width"><title>Wide</title><pre style="width:400px">Wide</pre>');
    await clean(wide, phone(360), async (page) => assert.ok((await sideways(page)).content > 360, "a page that is too wide was overlooked"));
    for (const [name, file] of Object.entries(pages)) {
        await fitsPhones(name, file);
    }
});

// Violations of axe-core's rules that hinder somebody seriously.
async function hindrances(file, options) {
    const { found } = await opened(file, { bypassCSP: true, reducedMotion: "reduce", ...options }, async (page) => {
        await unfolded(page);
        await page.evaluate(axe.source);
        return page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
    });
    const contrast = ["passes", "violations", "incomplete"].some((kind) => found[kind].some((rule) => rule.id === "color-contrast"));
    assert.ok(contrast, `${file}: contrast was not looked at`);
    return found.violations
        .filter((rule) => ["serious", "critical"].includes(rule.impact))
        .map((rule) => {
            const where = rule.nodes.slice(0, 3).map((node) => `${node.target.join(" ")}: ${node.any[0]?.message ?? node.failureSummary}`);
            return `${rule.id} (${rule.nodes.length}): ${where.join(" | ")}`;
        });
}

const EVERY_LOOK = {
    light: { colorScheme: "light" },
    dark: { colorScheme: "dark" },
    "360 px": { colorScheme: "light", ...phone(360) },
};
// What scenarios bring into a page does not depend on its look.
const LOOKS = QUICK ? { light: EVERY_LOOK.light } : EVERY_LOOK;

// Pictures that are neither wholly in sight nor in something that scrolls sideways and says so in words beside it, and texts cut at a picture's edge.
const cutPictures = (page) =>
    page.evaluate(() => {
        const seen = (element) => element.getClientRects().length > 0 && getComputedStyle(element).visibility !== "hidden";
        const cut = [];
        for (const picture of [...document.querySelectorAll("svg, canvas")].filter(seen)) {
            const name = picture.querySelector("title")?.id ?? picture.id;
            const box = picture.getBoundingClientRect();
            const scroller = picture.closest(".scroll");
            const hint = picture.closest("figure")?.querySelector(".sideways");
            const told = hint !== null && hint !== undefined && seen(hint);
            if (scroller !== null && scroller.scrollWidth > scroller.clientWidth) {
                scroller.scrollLeft = scroller.scrollWidth;
                const last = picture.getBoundingClientRect().right;
                if (last > scroller.getBoundingClientRect().right + 1) {
                    cut.push(`${name} cannot be scrolled to its end`);
                }
                scroller.scrollLeft = 0;
                if (!told) {
                    cut.push(`${name} scrolls and does not say so`);
                }
            } else if (box.left < 0 || box.right > document.documentElement.clientWidth + 1) {
                cut.push(`${name} is cut by the screen`);
            } else if (told) {
                cut.push(`${name} says that it scrolls and does not`);
            }
            for (const text of [...picture.querySelectorAll("text")].filter(seen)) {
                const { left, right } = text.getBoundingClientRect();
                if (left < box.left - 1 || right > box.right + 1) {
                    cut.push(`${name} cuts "${text.textContent}"`);
                }
            }
        }
        return cut;
    });

test("no picture is cut on a phone", async () => {
    const bad = smallPage(
        "cut.html",
        `<meta name="viewport" content="width=device-width"><title>Cut</title><figure><div class="scroll" style="overflow-x:auto"><svg id="a" width="900" height="9"></svg></div></figure><svg id="b" width="700" height="9"></svg>`,
    );
    assert.equal((await clean(bad, phone(360), cutPictures)).length, 2, "a cut picture was overlooked");
    for (const [name, file] of Object.entries(pages)) {
        for (const look of QUICK ? [phone(360), {}] : [phone(360), phone(320), { width: 700 }, { width: 640 }, {}]) {
            await clean(file, look, async (page) => {
                await unfolded(page);
                assert.deepEqual(await cutPictures(page), [], `${name} at ${look.width ?? 1280} px`);
            });
        }
    }
});

test("axe-core finds nothing serious", async () => {
    const pale = smallPage("pale.html", '<title>Pale</title><main><h1>Pale</h1><p style="color:#aaa">Pale<img src="data:,"></main>');
    const overlooked = await hindrances(pale, {});
    assert.deepEqual(overlooked.map((line) => line.split(" ")[0]).sort(), ["color-contrast", "image-alt"], "axe-core overlooked what is bad");
    const found = [];
    for (const [name, file] of Object.entries(pages)) {
        for (const [look, options] of Object.entries(LOOKS)) {
            found.push(...(await hindrances(file, options)).map((line) => `${name}, ${look}: ${line}`));
        }
    }
    assert.deepEqual(found, []);
});

// Chromium leaves the objects of pages uncompressed: one for each page, and their number in the root of the tree.
function pageCount(pdf) {
    const text = pdf.toString("latin1");
    const leaves = text.match(/\/Type\s*\/Page\b(?!s)/g)?.length ?? 0;
    const counts = [...text.matchAll(/\/Count\s+(\d+)/g)].map((match) => Number(match[1]));
    assert.ok(leaves > 0, "no page found in the PDF");
    assert.equal(Math.max(...counts), leaves, "the PDF's count of pages is another");
    return leaves;
}

test("printed, the sheets take one page and the report is light", async () => {
    const two = smallPage("two.html", '<title>Two</title><p style="break-after:page">One<p>Two');
    await clean(two, {}, async (page) => assert.equal(pageCount(await page.pdf({ format: "A4" })), 2, "two pages were not counted as two"));
    for (const [name, file] of Object.entries(pages)) {
        await clean(file, { colorScheme: "dark" }, async (page) => {
            const lightness = () =>
                page.evaluate(() => {
                    const [red, green, blue] = getComputedStyle(document.body).backgroundColor.match(/\d+/g).map(Number);
                    return (red + green + blue) / 3;
                });
            if (name === "report") {
                await page.screenshot({ path: shot("report_dark.png") });
                assert.ok((await lightness()) < 80, "the report is not dark where dark is wanted");
            }
            for (const format of QUICK ? ["A4"] : ["A4", "Letter"]) {
                const count = pageCount(await page.pdf({ format, path: shot(`${name.replace(" ", "_")}_${format}.pdf`) }));
                console.log(`${name} on ${format}: ${count} ${count === 1 ? "page" : "pages"}`);
                assert.ok(name === "report" ? count > 1 : count === 1, `${name} takes ${count} pages of ${format}`);
            }
            await page.emulateMedia({ media: "print" });
            assert.ok((await lightness()) > 240, `${name} prints dark`);
        });
    }
});

// Every table and picture of the parts that are folded on the screen must be on the paper.
const unprinted = (page) =>
    page.evaluate(() =>
        [...document.querySelectorAll("details.fold:not(.needs-script) :is(table, svg, h3)")]
            .filter((element) => !element.checkVisibility({ contentVisibilityAuto: true }) || element.getBoundingClientRect().height === 0)
            .map((element) => element.textContent.trim().slice(0, 40)),
    );

test("paper has every part, also without scripts", async () => {
    for (const javaScriptEnabled of QUICK ? [true] : [true, false]) {
        await clean(report, { javaScriptEnabled }, async (page) => {
            assert.ok((await unprinted(page)).length > 10, "nothing is folded on the screen");
            const printed = pageCount(await page.pdf({ format: "A4" }));
            await page.emulateMedia({ media: "print" });
            // The style for paper takes a moment.
            await page.waitForTimeout(500);
            assert.deepEqual(await unprinted(page), [], `scripts ${javaScriptEnabled ? "run" : "do not run"}`);
            await page.emulateMedia({ media: null });
            await unfolded(page);
            assert.equal(printed, pageCount(await page.pdf({ format: "A4" })), "what is unfolded by hand takes other pages");
        });
    }
});

test("a link into a part unfolds it", async () => {
    for (const javaScriptEnabled of QUICK ? [true] : [true, false]) {
        await clean(report, { javaScriptEnabled }, async (page) => {
            const targets = await page.evaluate(() => {
                const links = [...document.querySelectorAll("nav a, .warn a")].filter((link) => link.checkVisibility());
                return links.map((link) => link.getAttribute("href"));
            });
            assert.ok(targets.includes("#method") && targets.includes("#machine"), targets.join(" "));
            for (const target of targets) {
                await page.locator(`a[href="${target}"]`).first().click();
                assert.ok(await page.locator(target).isVisible(), `${target} stays folded, scripts ${javaScriptEnabled}`);
            }
        });
    }
});

// What a grower reads before anything is unfolded.
const MOST_WORDS = 900;
const SCREEN = { width: 1200, height: 900 };
const MOST_SCREENS = 4;
// The same words as in src/report/page/tests.rs; here also where the script says them.
const NOT_A_FARMERS =
    /deviation|quantile|percentile|variance|monte carlo|median|estimate|interval|korn|jackknife|saturat|controller|lag-comp|yaw|confidence|logarithm|interpolat|lookahead|clearance|parameter|linear|stochastic|at worst|sha-256|\b(sd|pid|lag|rms|bode)\b/i;

// Text that is to be seen. Within a drawing that is not shown, checkVisibility does not tell.
const seenText = (page) =>
    page.evaluate(() => {
        const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
        const texts = [];
        while (walker.nextNode()) {
            const parent = walker.currentNode.parentElement;
            let hidden = parent.closest("script, style, title, desc, .for-ears, option:not(:checked)") !== null;
            for (let element = parent; element && !hidden; element = element.parentElement) {
                const folded = element.matches("details:not([open])") && !element.querySelector("summary").contains(parent);
                hidden = folded || getComputedStyle(element).display === "none";
            }
            if (!hidden) {
                texts.push(walker.currentNode.data);
            }
        }
        return texts.join(" ").replace(/\s+/g, " ");
    });

test("the farmer's part is four screens and 900 words in his language", full, async () => {
    assert.match("the PID cuts 3 %", NOT_A_FARMERS);
    assert.doesNotMatch("rapid flags on an island", NOT_A_FARMERS);
    await clean(report, SCREEN, async (page) => {
        for (const units of ["metric", "us"]) {
            await chooseUnits(page, units);
            const text = await seenText(page);
            const height = await page.evaluate(() => document.documentElement.scrollHeight);
            const words = text.split(/\s+/).filter((word) => /[\p{L}\d]/u.test(word)).length;
            console.log(`farmer's part, ${units}: ${words} words, ${height} px`);
            assert.ok(words > 200 && words <= MOST_WORDS, `${words} words`);
            assert.ok(height <= MOST_SCREENS * SCREEN.height, `${height} px`);
            assert.doesNotMatch(text, NOT_A_FARMERS);
        }
        const label = await page.getAttribute("#film-canvas", "aria-label");
        assert.doesNotMatch(label, NOT_A_FARMERS);
    });
});

test("the page begins with the film, in mid-field", full, async () => {
    await clean(report, {}, async (page) => {
        const order = ["#film", ".answers", "#try", "#cautions", "details.fold:not(.small)"];
        const tops = await page.evaluate((order) => order.map((place) => document.querySelector(place).getBoundingClientRect().top), order);
        assert.deepEqual([...tops].sort((a, b) => a - b), tops, order.join(" "));
        const { film } = await dataOf(page);
        const end = film.passes[0].from_m + film.passes[0].step_m * (film.passes[0].row_mm.length - 1);
        const place = (await page.evaluate(() => Number(document.getElementById("film-scrub").value))) / 10;
        assert.ok(place > film.entry_length_m && place > 0.3 * end && place < 0.8 * end, `the film begins at ${place} of ${end} m`);
        if (film.lanes.length > 1) {
            assert.notEqual(film.lanes[0].controller, "locked");
            assert.equal(film.lanes[1].controller, "locked");
        }
    });
});

const frames = (page) => page.evaluate(() => window.rowroomFilm.frameTimes.length);

test("who wants less motion gets steps", full, async () => {
    const drawnIn = (reducedMotion) =>
        clean(report, { reducedMotion }, async (page) => {
            await page.locator("#film").scrollIntoViewIfNeeded();
            const [before, start] = [await frames(page), await page.inputValue("#film-scrub")];
            await page.click("#film-play");
            await page.waitForTimeout(1500);
            const drawn = (await frames(page)) - before;
            await page.waitForFunction((start) => document.getElementById("film-scrub").value !== start, start, { timeout: 5000 });
            return drawn;
        });
    const [steps, smooth] = [await drawnIn("reduce"), await drawnIn("no-preference")];
    assert.ok(steps < 5, `${steps} frames were drawn in 1.5 s for somebody who wants less motion`);
    assert.ok(smooth > 5, `only ${smooth} frames were drawn in 1.5 s otherwise`);
});

// While the film plays, slider, text and the counts on the picture are of one distance in every frame.
test("the film tells one distance at a time", full, async () => {
    await clean(report, {}, async (page) => {
        await chooseUnits(page, "metric");
        await page.locator("#film").scrollIntoViewIfNeeded();
        await setControl(page, "film-scrub", await page.evaluate(() => document.getElementById("film-scrub").min));
        const told = await page.evaluate(async () => {
            const lanes = JSON.parse(document.getElementById("rowroom-data").textContent).film.lanes.length;
            const drawn = [];
            const fillText = CanvasRenderingContext2D.prototype.fillText;
            CanvasRenderingContext2D.prototype.fillText = function (text, ...place) {
                if (/ plants? cut| counted yet/.test(text) && !text.startsWith("entry")) {
                    drawn.push(text);
                }
                return fillText.call(this, text, ...place);
            };
            const told = [];
            document.getElementById("film-play").click();
            const end = performance.now() + 4000;
            while (performance.now() < end) {
                await new Promise(requestAnimationFrame);
                const said = document.getElementById("film-said").textContent;
                told.push({
                    said,
                    metres: Number(said.match(/^At ([\d.]+) m/)?.[1]),
                    slider: Number(document.getElementById("film-scrub").value) / 10,
                    counts: drawn.slice(-lanes),
                });
            }
            document.getElementById("film-play").click();
            CanvasRenderingContext2D.prototype.fillText = fillText;
            return told;
        });
        assert.ok(told[told.length - 1].slider > told[0].slider + 2, "the film does not move on");
        for (const { said, metres, slider, counts } of told) {
            // Both are kept to a tenth of a metre.
            assert.ok(Math.abs(metres - slider) < 0.11, `the slider is at ${slider} m, the text says: ${said}`);
            for (const count of counts) {
                assert.ok(said.includes(count), `the picture says ${count}, the text: ${said}`);
            }
        }
    });
});

// Plants of a pass behind the entry stretch and on it, and how many of them are cut and touched in a lane, as the page's data have it.
function countIn(film, pass, lane) {
    const none = () => ({ plants: 0, cut: 0, touched: 0 });
    const counts = { entry: none(), after: none() };
    for (const row of pass.plants) {
        let station = 0;
        row.station_mm.forEach((step, i) => {
            station += step;
            const needed = row.needed_mm[lane][i] - 1000 * film.clearance_m;
            const cut = needed > 1000 * (film.protected_radius_m - film.stem_radius_m) + 1e-6;
            const stretch = station < 1000 * film.entry_length_m ? counts.entry : counts.after;
            stretch.plants += 1;
            stretch.cut += cut ? 1 : 0;
            stretch.touched += !cut && needed > 1e-6 ? 1 : 0;
        });
    }
    return counts;
}

// "12 of 345 plants cut" and "6 touched" after a name, with "none" for 0.
const told = ({ plants, cut, touched }) => [
    `${cut === 0 ? "none" : cut} of ${plants} ${plants === 1 ? "plant" : "plants"} cut`,
    `, ${touched === 0 ? "none" : touched} touched`,
];

test("the film plays, stops, jumps and counts what was cut", full, async () => {
    await clean(report, {}, async (page, context) => {
        const { film } = await dataOf(page);
        assert.ok(film && film.passes.length > 0, "there is no film");
        await page.locator("#film").scrollIntoViewIfNeeded();
        await setControl(page, "film-pass", await page.evaluate(() => document.getElementById("film-pass").options[0].value));
        const scrub = () => page.evaluate(() => Number(document.getElementById("film-scrub").value));
        const picture = () => page.evaluate(() => document.getElementById("film-canvas").toDataURL());

        const session = await context.newCDPSession(page);
        await session.send("Emulation.setCPUThrottlingRate", { rate: 6 });
        const [before, start, first] = [await frames(page), await scrub(), await picture()];
        await page.click("#film-play");
        await page.waitForTimeout(5000);
        await page.click("#film-play");
        const times = (await page.evaluate((before) => window.rowroomFilm.frameTimes.slice(before), before)).sort((a, b) => a - b);
        const stopped = await scrub();
        await page.waitForTimeout(500);
        assert.equal(await scrub(), stopped, "the film does not stop");
        await session.send("Emulation.setCPUThrottlingRate", { rate: 1 });
        assert.ok(times.length > 0, "no frame was drawn");
        assert.notEqual(stopped, start, "the film does not move on");
        assert.notEqual(await picture(), first, "the picture stays the same");
        assert.ok(times.every((time) => Number.isFinite(time) && time >= 0), "times of frames are no times");
        const at = (share) => times[Math.min(times.length - 1, Math.floor(share * times.length))].toFixed(2);
        console.log(`script time per frame at 6x throttling: median ${at(0.5)} ms, 95 % below ${at(0.95)} ms, ${times.length} frames in 5 s`);

        for (const [index, pass] of film.passes.entries()) {
            await setControl(page, "film-pass", await page.evaluate((i) => document.getElementById("film-pass").options[i].value, index));
            const range = await page.evaluate(() => ["min", "max"].map((end) => Number(document.getElementById("film-scrub")[end])));
            if (index === 0) {
                // The worst stretch of the study lies in the last pass, whichever is shown.
                await setControl(page, "film-scrub", range[0]);
                await page.click("#film-worst");
                await page.waitForTimeout(300);
                const worst = film.passes[film.passes.length - 1];
                const chosen = await page.evaluate(() => document.getElementById("film-pass").selectedIndex);
                assert.equal(chosen, film.passes.length - 1, "another pass than the worst one is shown");
                const there = (await scrub()) / 10;
                const [from, to] = worst.worst_m;
                assert.ok(there >= from - 15 && there <= to, `the worst stretch is ${from} to ${to} m, the film is at ${there} m`);
                await setControl(page, "film-pass", await page.evaluate(() => document.getElementById("film-pass").options[0].value));
            }
            // The jump may have started it.
            await setControl(page, "film-scrub", range[1]);
            await page.waitForTimeout(300);
            const said = await page.innerText("#film-said");
            for (const [lane, { title }] of film.lanes.entries()) {
                const { entry, after } = countIn(film, pass, lane);
                const of = said.slice(said.indexOf(`${title}: `) + title.length).split(/\.(?=\s|$)/)[0];
                for (const count of [...told(after), ...(entry.plants > 0 ? told(entry) : [])]) {
                    assert.ok(of.includes(count), `${pass.title}, ${title}: ${count}, but the film says: ${said}`);
                }
            }
            await setControl(page, "film-scrub", range[0]);
            await page.waitForTimeout(100);
            assert.notEqual(await page.innerText("#film-said"), said, "the counts do not go with the film");
        }
    });
});

// Grade by J. P. Kincaid, R. P. Fishburne, R. L. Rogers and B. S. Chissom, Derivation of new readability formulas, Naval Technical Training
// Command, Research Branch Report 8-75, 1975: 0.39 words per sentence + 11.8 syllables per word - 15.59. A number is a word with a syllable for
// each digit; every paragraph ends a sentence, and no colon does.
function gradeOf(paragraphs) {
    let [sentences, words, syllables] = [0, 0, 0];
    for (const paragraph of paragraphs) {
        for (const sentence of paragraph.split(/[.!?]+(?=\s|$)/)) {
            const found = sentence.match(/\d+(?:[.,]\d+)*|\p{L}+(?:['\u2019]\p{L}+)*/gu) ?? [];
            if (found.length > 0) {
                sentences += 1;
                words += found.length;
                syllables += found.reduce((sum, word) => sum + (/^\d/.test(word) ? word.match(/\d/g).length : Math.max(1, syllable(word))), 0);
            }
        }
    }
    return fleschKincaid({ sentence: sentences, word: words, syllable: syllables });
}

test("the first screen reads easily", full, async () => {
    const hard = "Notwithstanding considerable organisational impediments, interdisciplinary commissions systematically institutionalised regulations.";
    assert.ok(gradeOf([hard]) > 20 && gradeOf(["The cat sat on the mat."]) < 2, "the grades themselves are wrong");
    await clean(report, {}, async (page) => {
        for (const units of ["metric", "us"]) {
            await chooseUnits(page, units);
            const paragraphs = await page.evaluate(() =>
                [...document.querySelectorAll(".answers p, .answers li")].filter((p) => p.checkVisibility()).map((p) => p.innerText),
            );
            assert.ok(paragraphs.length >= 3, "there are no answers");
            const grade = gradeOf(paragraphs);
            console.log(`reading grade of the first screen, ${units}: ${grade.toFixed(1)}`);
            assert.ok(grade <= HIGHEST_GRADE, `the first screen wants grade ${grade.toFixed(1)}`);
        }
    });
});

const elements = (page) =>
    page.evaluate(() => {
        const counts = {};
        for (const element of document.querySelectorAll("*")) {
            counts[element.localName] = (counts[element.localName] ?? 0) + 1;
        }
        return counts;
    });

test("a note is kept as text in the saved copy", full, async () => {
    const name = `Field "7" <i>west</i> & co, J'Orge \u2014 \u{1F33F}`;
    const text = `\n<b>"&\n</textarea></script><img src=x onerror="alert(1)"><!-- &lt; $& $1 \\u003c`;
    const copies = [join(scratch, "copy.html"), join(scratch, "copy_of_copy.html")];
    const save = async (page, file) => {
        const [download] = await Promise.all([page.waitForEvent("download", { timeout: 10_000 }), page.click("#note-save")]);
        assert.match(download.suggestedFilename(), /\.html$/, "the saved file is no page");
        await download.saveAs(file);
    };
    const before = await clean(report, { acceptDownloads: true }, async (page) => {
        const counts = await elements(page);
        await page.fill("#note-customer", name);
        await page.fill("#note-text", text);
        await save(page, copies[0]);
        return counts;
    });
    for (const [i, copy] of copies.entries()) {
        await clean(copy, { acceptDownloads: true }, async (page) => {
            assert.equal(await page.inputValue("#note-customer"), name, "the customer's name is another in the copy");
            assert.equal(await page.inputValue("#note-text"), text, "the note is another in the copy");
            assert.deepEqual(await elements(page), before, "the copy has other elements");
            assert.ok(await page.locator("html.live").count(), "the copy's script does not run");
            const spoken = await page.textContent("#try-speed-said");
            await setControl(page, "try-speed", (await page.inputValue("#try-speed")) === "0" ? 10 : 0);
            assert.notEqual(await page.textContent("#try-speed-said"), spoken, "the copy's sliders are dead");
            if (i === 0) {
                await save(page, copies[1]);
            }
        });
    }
    const [bytes, bytesAgain] = copies.map((copy) => statSync(copy).size);
    assert.ok(bytes < MOST_BYTES, `a copy has ${bytes} bytes`);
    assert.ok(Math.abs(bytesAgain - bytes) < 100, `copies grow: ${bytes}, then ${bytesAgain} bytes`);
});

test("the report is small enough to send", async () => {
    const bytes = statSync(report).size;
    console.log(`report.html: ${bytes} bytes`);
    assert.ok(bytes < MOST_BYTES, `report.html has ${bytes} bytes`);
});

test("the committed demo is small enough", { skip: !DEMO_REPORT && "DEMO_REPORT is not given" }, () => {
    const bytes = statSync(DEMO_REPORT).size;
    assert.ok(bytes < MOST_BYTES_OF_DEMO, `${DEMO_REPORT} has ${bytes} bytes`);
});

test("the switch of units reaches every text", async () => {
    // "1 in 240" has no inches in it.
    const foreign = {
        us: String.raw`\b\d[\d.,]*[ \u00a0]?(mm|km\/h|ha)\b`,
        metric: String.raw`(\b\d[\d.,]*[ \u00a0]?(mph|ft|acres?)\b|\b\d[\d.,/]*[ \u00a0]in\b(?! (\d|all|the|every|over)))`,
    };
    // Names of axes and columns have the unit alone.
    const alone = { us: String.raw`\b(mm|km\/h)\b`, metric: String.raw`\b(mph|acres?)\b` };
    await clean(report, {}, async (page) => {
        await unfolded(page);
        for (const units of ["us", "metric"]) {
            await chooseUnits(page, units);
            assert.equal(await page.evaluate(() => document.documentElement.dataset.units), units, "the switch does not switch");
            const [left, own] = await page.evaluate(
                ([measured, alone]) => {
                    const main = document.querySelector("main");
                    const found = { left: [], own: 0 };
                    const walker = document.createTreeWalker(main, NodeFilter.SHOW_TEXT);
                    while (walker.nextNode()) {
                        const { parentElement: parent, data } = walker.currentNode;
                        const lone = parent.closest("svg, th") !== null;
                        if (!new RegExp(measured).test(data) && !(lone && new RegExp(alone).test(data))) {
                            continue;
                        }
                        // Within a drawing that is not shown, checkVisibility does not tell.
                        let hidden = false;
                        for (let element = parent; element; element = element.parentElement) {
                            hidden ||= getComputedStyle(element).display === "none";
                        }
                        if (hidden || parent.closest("script, style, title, desc")) {
                            continue;
                        }
                        const except = parent.closest("main [lang], code, .own-units");
                        if (except) {
                            found.own += 1;
                        } else {
                            const section = parent.closest("section, figure, details, table")?.textContent.trim().slice(0, 40);
                            found.left.push(`${data.trim().slice(0, 100)} (in ${section})`);
                        }
                    }
                    return [found.left, found.own];
                },
                [foreign[units], alone[units]],
            );
            assert.deepEqual(left.slice(0, 10), [], `${left.length} texts stay in the other units (${units}; ${own} are the scenario's own)`);
        }
    });
});

// Elements and attributes that no report has; text that became markup would bring them.
const injected = (page) =>
    page.evaluate(() => {
        const found = [...document.querySelectorAll("img, iframe, object, embed, link, base, form, video, audio, marquee")].map((e) => e.outerHTML);
        for (const element of document.querySelectorAll("*")) {
            for (const { name, value } of element.attributes) {
                if (/^on/i.test(name) || /^\s*javascript:/i.test(value)) {
                    found.push(`${element.localName} ${name}=${value}`);
                }
            }
        }
        const scripts = [...document.querySelectorAll("script")].map((script) => script.type || "script").sort();
        return { found, scripts };
    });

async function nothingInjected(folder) {
    for (const name of ["report.html", "customer.html", "setting_sheet.html"]) {
        await clean(join(folder, name), {}, async (page) => {
            await unfolded(page);
            const { found, scripts } = await injected(page);
            assert.deepEqual(found, [], `${name} has elements that it should not have`);
            assert.deepEqual(scripts, name === "report.html" ? ["application/json", "script"] : [], `${name} has other scripts`);
        });
    }
}

test("nothing was injected into the pages", () => nothingInjected(REPORT));

test("hostile texts stay texts", { skip: !HOSTILE && "HOSTILE is not given" }, async () => {
    const bad = smallPage("injected.html", "<title>Bad</title><p onclick=x>Bad<img src='data:,'><script>1</script>");
    await opened(bad, {}, async (page) => {
        const { found, scripts } = await injected(page);
        assert.ok(found.length === 2 && scripts.length === 1, "what is injected was overlooked");
    });
    await nothingInjected(HOSTILE);
});

test("a comparison shows two columns", { skip: !COMPARISON && "COMPARISON is not given" }, async () => {
    await clean(COMPARISON, {}, async (page) => {
        const { studies } = await dataOf(page);
        assert.equal(studies.length, 2, "the page has not two studies");
        const read = () =>
            page.evaluate(() =>
                ["words", "rate", "limits", "touched", "keeps"].map((name) =>
                    [0, 1].map((study) => document.getElementById(`try-${name}-${study}`)?.textContent.trim() ?? "missing"),
                ),
            );
        const texts = await read();
        assert.ok(
            texts.flat().every((text) => text !== "" && text !== "missing"),
            `a column is not filled: ${JSON.stringify(texts)}`,
        );
        await page.screenshot({ path: shot("comparison.png") });
        const max = await page.evaluate(() => Number(document.getElementById("try-speed").max));
        await setControl(page, "try-speed", 0);
        const slow = await read();
        await setControl(page, "try-speed", max);
        const fast = await read();
        for (const study of [0, 1]) {
            assert.notDeepEqual(
                slow.map((pair) => pair[study]),
                fast.map((pair) => pair[study]),
                `column ${study} does not go with the slider`,
            );
        }
        assert.equal(await page.locator(".try-marker").count() > 0, true, "no map has a marker");
    });
    await fitsPhones("comparison", COMPARISON);
    const found = [];
    for (const [look, options] of Object.entries(LOOKS)) {
        found.push(...(await hindrances(COMPARISON, options)).map((line) => `${look}: ${line}`));
    }
    assert.deepEqual(found, []);
});
