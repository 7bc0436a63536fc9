// A pass from above as a film: the machine drives to the right, left is up. This is the player: its controls, clock and words.

const FRAMES = 600;
const RUN_UP_M = 3;
// What is told changes no faster than it can be read.
const TELL_MS = 150;

function film(data) {
    const told = data.film;
    const canvas = document.getElementById("film-canvas");
    if (!told || told.passes.length === 0 || !canvas) {
        return;
    }
    const playButton = document.getElementById("film-play");
    const worstButton = document.getElementById("film-worst");
    const scrub = document.getElementById("film-scrub");
    const passChoice = document.getElementById("film-pass");
    const paceChoice = document.getElementById("film-pace");
    const said = document.getElementById("film-said");
    const stillMotion = window.matchMedia("(prefers-reduced-motion: reduce)");
    const dark = window.matchMedia("(prefers-color-scheme: dark)");
    const view = filmView(canvas, told);
    const prepared = told.passes.map(() => null);
    // What is said of each lane once so many plants are passed.
    const words = told.lanes.map(() => ({ counts: "", entry: "" }));
    let wordsPassed = -1;
    const frameTimes = [];

    let pass = null;
    let station = 0;
    let playing = false;
    let frames = 0;
    let lastTime = 0;
    let lastTold = 0;
    let request = 0;
    let timer = 0;

    // Halfway between the entry stretch, where the frame still looks for the row, and the end of the first pass.
    function midField({ passes: [{ from_m, step_m, row_mm }], entry_length_m }) {
        const end = from_m + step_m * (row_mm.length - 1);
        return 0.5 * (Math.min(Math.max(from_m, entry_length_m), end) + end);
    }

    // ---- words ----

    function alongText(station_m) {
        return unitsNow() === "us" ? `${(station_m / FOOT_M).toFixed(1)} ft` : `${station_m.toFixed(1)} m`;
    }

    function placeText() {
        return `at ${alongText(station)}, ${(station / told.speed_m_s).toFixed(station < 10 ? 1 : 0)} s`;
    }

    function countText({ plants, cut, touched }) {
        const of = `${cut === 0 ? "none" : cut} of ${plants} ${plants === 1 ? "plant" : "plants"} cut`;
        return [of, touched === 0 ? ", none touched" : `, ${touched} touched`];
    }

    function updateWords() {
        const passed = plantsPassed(pass, pass.stations, station);
        if (passed === wordsPassed) {
            return;
        }
        wordsPassed = passed;
        const done = passed >= pass.stations.length;
        words.forEach((one, lane) => {
            const { entry, after } = countsAt(pass, lane, passed);
            if (after.plants === 0) {
                one.counts = "nothing counted yet";
            } else {
                const [of, gone] = countText(after);
                one.counts = of + (done ? " in this pass" : " so far") + gone;
            }
            one.entry = entry.plants === 0 ? "" : `entry stretch: ${countText(entry).join("")}`;
        });
    }

    function statusText() {
        const lanes = told.lanes.map((lane, i) => {
            const entry = words[i].entry === "" ? "" : ` (${words[i].entry})`;
            return `${lane.title}: ${words[i].counts}${entry}.`;
        });
        const where = placeText();
        const inEntry = station < told.entry_length_m ? ", in the entry stretch, which is counted apart" : "";
        return `${where[0].toUpperCase()}${where.slice(1)}${inEntry}. ${lanes.join(" ")}`;
    }

    // Slider and text for where the film is; only `draw` calls it, so that they, the picture and its counts are of one distance.
    function tell() {
        scrub.value = String(Math.round(10 * station));
        scrub.setAttribute("aria-valuetext", placeText());
        const status = statusText();
        said.setAttribute("aria-live", playing ? "off" : "polite");
        said.textContent = status;
        const setting = `${speedText(told.speed_m_s, unitsNow())}, tools ${clearanceText(told.clearance_m, unitsNow())} from the row`;
        canvas.setAttribute("aria-label", `${pass.title} from above, ${setting}. ${status}`);
    }

    // ---- the picture ----

    function refresh() {
        wordsPassed = -1;
        view.refresh();
        draw();
    }

    // Picture, slider and text; between two tellings of a film that plays the picture only.
    function draw() {
        const began = performance.now();
        const anew = view.stale();
        const telling = !playing || anew || began - lastTold > TELL_MS;
        if (telling) {
            lastTold = began;
            updateWords();
        }
        if (!anew || view.lay(pass)) {
            view.draw(station, telling ? words : null);
            frameTimes[frames % FRAMES] = performance.now() - began;
            frames += 1;
        }
        if (telling) {
            tell();
        }
    }

    // ---- playing ----

    function pace() {
        return paceChoice ? Number(paceChoice.value) || 1 : 1;
    }

    function advance(seconds) {
        station = Math.min(station + told.speed_m_s * pace() * seconds, pass.end);
        draw();
        return station < pass.end;
    }

    function smoothFrame(now) {
        const seconds = Math.min(Math.max(now - lastTime, 0) / 1000, 0.25);
        lastTime = now;
        if (!advance(seconds)) {
            pause();
            return;
        }
        request = requestAnimationFrame(smoothFrame);
    }

    function stillFrame() {
        if (!advance(1)) {
            pause();
            return;
        }
        timer = setTimeout(stillFrame, 1000);
    }

    function stopClocks() {
        cancelAnimationFrame(request);
        clearTimeout(timer);
    }

    function startClock() {
        stopClocks();
        if (stillMotion.matches) {
            timer = setTimeout(stillFrame, 1000);
        } else {
            lastTime = performance.now();
            request = requestAnimationFrame(smoothFrame);
        }
    }

    function showPlaying() {
        playButton.textContent = playing ? "Pause" : "Play";
        playButton.setAttribute("aria-pressed", String(playing));
    }

    function play() {
        if (station >= pass.end) {
            station = pass.start;
        }
        playing = true;
        showPlaying();
        draw();
        startClock();
    }

    function pause() {
        playing = false;
        stopClocks();
        showPlaying();
        draw();
    }

    function seek(station_m) {
        station = Math.min(Math.max(station_m, pass.start), pass.end);
        draw();
    }

    function choosePass(index) {
        if (prepared[index] === null) {
            prepared[index] = preparePass(told, told.passes[index]);
        }
        pass = prepared[index];
        // Both ends can be reached: beyond them lies nothing.
        scrub.min = String(Math.floor(10 * pass.start + 1e-6));
        scrub.max = String(Math.ceil(10 * pass.end - 1e-6));
        scrub.step = "1";
        station = Math.min(Math.max(station, pass.start), pass.end);
        refresh();
    }

    playButton.addEventListener("click", () => (playing ? pause() : play()));
    worstButton.addEventListener("click", () => {
        // The worst pass of the study comes last.
        const worst = told.passes.length - 1;
        if (passChoice.selectedIndex !== worst) {
            passChoice.selectedIndex = worst;
            choosePass(worst);
        }
        seek(pass.worst[0] - RUN_UP_M);
        if (stillMotion.matches) {
            pause();
        } else if (!playing) {
            play();
        }
    });
    scrub.addEventListener("input", () => seek(Number(scrub.value) / 10));
    passChoice.addEventListener("change", () => choosePass(passChoice.selectedIndex));
    stillMotion.addEventListener("change", () => {
        if (playing) {
            startClock();
        }
    });
    dark.addEventListener("change", refresh);
    document.addEventListener("units", () => {
        refresh();
    });
    document.addEventListener("visibilitychange", () => {
        if (document.hidden && playing) {
            pause();
        }
    });
    new ResizeObserver(() => {
        if (view.resized()) {
            refresh();
        }
    }).observe(canvas);

    passChoice.replaceChildren(...told.passes.map((source) => new Option(source.title)));
    canvas.setAttribute("role", "img");
    station = midField(told);
    window.rowroomFilm = { frameTimes, draw: seek };
    choosePass(0);
    showPlaying();
}
