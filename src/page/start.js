// Everything begins here: the machine as a text with its undo, the check of every change, and who is told.

// A file that is opened; the reader has limits of its own.
const MOST_BYTES = 4 * 1024 * 1024;

class Tool {
    constructor(module, language) {
        // One thread for what moves, and at least two where a machine does not say how many it has.
        const threads = Math.min(Math.max(navigator.hardwareConcurrency || 2, 1), 8);
        this.clerk = new Desk(module);
        this.language = language;
        this.answer = new Answer(language);
        this.form = new Form(language, (edit) => this.edit(edit));
        this.live = new Live(module, threads, (run) => this.told(run));
        this.past = [];
        this.turn = Promise.resolve();
        this.report = new Report(module, threads, () => (this.isSound ? this.texts : undefined));
        this.kept = new Kept(module, () => (this.isSound ? this.texts : undefined), () => this.facts.name);
        document.getElementById("undo").addEventListener("click", () => this.undo());
        document.getElementById("save").addEventListener("click", () => saved(this.texts.file, this.texts.text));
        document.getElementById("film").addEventListener("click", () => this.film());
        document.addEventListener("units", () => this.isSound && this.form.show(this.facts, this.tables));
    }

    // One change after the other, however fast they come.
    after(work) {
        this.turn = this.turn.then(work).catch((error) => trouble(error.message));
        return this.turn;
    }

    load(texts) {
        return this.after(async () => {
            this.isFresh = true;
            await this.take(texts);
            if (this.isSound) {
                document.documentElement.dataset.units = this.facts.units;
                document.getElementById(`units-${this.facts.units}`).checked = true;
                document.dispatchEvent(new Event("units"));
            }
        });
    }

    edit(edit) {
        return this.after(async () => {
            const { told } = await this.clerk.ask({ ask: "edit", text: this.texts.text, edit });
            if (told.problems) {
                this.form.blame(told.problems);
            } else if (told.text !== this.texts.text) {
                this.past.push(this.texts);
                await this.take({ ...this.texts, text: told.text });
            }
        });
    }

    undo() {
        return this.after(async () => {
            const texts = this.past.pop();
            if (texts) {
                await this.take(texts);
            }
        });
    }

    // A text takes the place of the last one: it is checked, shown, and simulated where it is sound.
    async take(texts) {
        this.texts = texts;
        document.getElementById("undo").disabled = this.past.length === 0;
        const { told } = await this.clerk.ask({ ask: "check", texts });
        this.isSound = Boolean(told.facts);
        document.getElementById("stale").hidden = this.isSound;
        if (!this.isSound) {
            this.form.blame(told.problems ?? [{ key: "", line: 0, message: told.why }]);
            return;
        }
        this.facts = told.facts;
        this.tables = told.tables;
        this.form.show(told.facts, told.tables);
        // What comes next is held against the last machine that was told of.
        if (this.live.run?.kind) {
            this.last = { texts: this.live.run.machine.work.texts, kind: this.live.run.kind };
        }
        if (this.isFresh) {
            this.last = undefined;
        }
        this.isFresh = false;
        document.getElementById("against").textContent = "";
        document.getElementById("film-frame").replaceChildren();
        trouble("");
        this.live.begin(texts, told.facts);
    }

    told(run) {
        if (run.trouble) {
            trouble(run.trouble);
            return;
        }
        this.answer.take(run);
        const work = run.told.work;
        if (!work) {
            return;
        }
        run.kind = this.answer.kind(work);
        if (work.passes === 256 && !run.compared && this.last) {
            run.compared = true;
            const machines = [this.last.texts, run.machine.work.texts];
            this.live.also({ ask: "against", machines, controllers: [this.last.kind, run.kind], passes: 256 }, (told) => {
                if (told.difference) {
                    this.answer.against(told);
                }
            });
        }
    }

    async film() {
        const run = this.live.run;
        if (!run?.told.work) {
            return;
        }
        const { told } = await this.live.books.work.ask({ ask: "film", machine: run.machine.work });
        if (told.page && run.turn === this.live.turn) {
            filmed(told.page);
        }
    }

    // Files dropped or opened: a scenario, the files it names or replays, or notes for the one that is there.
    async open(files) {
        const read = [];
        for (const file of files) {
            if (file.size > MOST_BYTES) {
                trouble(`${file.name} is larger than ${MOST_BYTES / 1024 / 1024} MiB.`);
                return;
            }
            read.push({ name: file.name, text: await file.text() });
        }
        const isToml = ({ name }) => /\.toml$/i.test(name);
        const isScenario = (file) => isToml(file) && /^\s*\[study\]/m.test(file.text);
        const scenario = read.find(isScenario);
        const rest = read.filter((file) => file !== scenario);
        const texts = scenario ? { file: scenario.name, text: scenario.text, files: {}, replay: null } : { ...this.texts, files: { ...this.texts.files } };
        for (const file of rest.filter((one) => !isToml(one))) {
            if (/^\[driver\.replay\]/m.test(texts.text) && !texts.text.includes(`"${file.name}"`)) {
                texts.replay = [file.name, file.text];
            }
            texts.files[file.name] = file.text;
        }
        // A notebook has a column for the place; any other table is a log of positions.
        const isNotes = (file) => isToml(file) || /^[^\n]*\bplace\b/i.test(file.text);
        const belongs = rest.some((file) => texts.text.includes(`"${file.name}"`)) || /^\[driver\.replay\]/m.test(texts.text);
        if (scenario || belongs) {
            this.past.push(this.texts);
            await this.load(texts);
        }
        for (const notes of rest.filter(isNotes)) {
            await this.notes(notes);
        }
        for (const log of belongs ? [] : rest.filter((file) => !isNotes(file))) {
            await this.log(log);
        }
    }

    // What a log tells, in the program's words.
    log({ name, text }) {
        return this.after(async () => {
            const behind = new TextEncoder().encode(text).buffer;
            const { told } = await this.clerk.ask({ ask: "log", file: name }, behind);
            document.getElementById("log").hidden = false;
            document.getElementById("log-name").textContent = name;
            document.getElementById("log-told").textContent = told.text ?? told.why;
            document.getElementById("log").scrollIntoView();
        });
    }

    notes({ name, text }) {
        return this.after(async () => {
            const behind = new TextEncoder().encode(text).buffer;
            const { told } = await this.clerk.ask({ ask: "notes", texts: this.texts, file: name }, behind);
            if (told.text) {
                this.past.push(this.texts);
                await this.take({ ...this.texts, text: told.text });
            } else {
                trouble(`${name}: ${told.why ?? told.problems.map(({ line, message }) => (line ? `line ${line}: ` : "") + message).join("; ")}`);
            }
        });
    }
}

function trouble(words) {
    const box = document.getElementById("trouble");
    box.hidden = !words;
    box.textContent = words;
}

function items(id, texts) {
    document.getElementById(id).replaceChildren(...texts.map((textContent) => element("li", { textContent })));
}

async function begin() {
    const lacks = lacking();
    if (lacks) {
        trouble(lacks);
        return;
    }
    const module = await unpacked();
    const scenarios = JSON.parse(document.getElementById("scenarios").textContent);
    const clerk = new Desk(module);
    const { told: language } = await clerk.ask({ ask: "language" });
    unitSwitch();
    items("cautions", language.cautions);
    items("left-out", language.left_out);
    document.getElementById("tool").hidden = false;
    const tool = new Tool(module, language);
    const choice = document.getElementById("begin");
    choice.append(
        element("optgroup", { label: "Shipped scenarios" }, ...scenarios.map(({ title }, place) => element("option", { value: `scenario ${place}`, textContent: title }))),
        element(
            "optgroup",
            { label: "A short one, all else by default" },
            ...language.crops.flatMap((crop) =>
                [["hand", "steered by hand"], ["satellite_line", "steered by satellite"]].map(([driver, words]) =>
                    element("option", { value: `starter ${crop} ${driver}`, textContent: `${plainWords(crop)}, ${words}` }),
                ),
            ),
        ),
    );
    choice.addEventListener("change", async () => {
        const [what, one, driver] = choice.value.split(" ");
        if (tool.texts) {
            tool.past.push(tool.texts);
        }
        if (what === "scenario") {
            await tool.load(scenarios[Number(one)].texts);
        } else {
            const { told } = await clerk.ask({ ask: "starter", crop: one, driver, units: unitsNow() });
            await tool.load({ file: `${one}.toml`, text: told.text, files: {}, replay: null });
        }
    });
    const files = document.getElementById("open");
    files.addEventListener("change", async () => {
        await tool.open(files.files);
        files.value = "";
    });
    document.addEventListener("dragover", (event) => event.preventDefault());
    document.addEventListener("drop", (event) => {
        event.preventDefault();
        tool.open(event.dataTransfer.files);
    });
    await tool.load(scenarios[0].texts);
}

begin().catch((error) => trouble(`The tool could not start: ${error.message}`));
