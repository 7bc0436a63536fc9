// What leaves the page by download: scenarios, reports, comparisons. And the film.

// Links to files of the last work; the old ones go, so that memory does not grow.
class Links {
    constructor(list) {
        this.list = list;
        this.addresses = [];
    }

    show(files) {
        this.addresses.forEach((address) => URL.revokeObjectURL(address));
        this.addresses = [];
        const items = files.map(({ name, bytes, words }) => {
            const type = name.endsWith(".html") ? "text/html" : name.endsWith(".svg") ? "image/svg+xml" : "application/octet-stream";
            const address = URL.createObjectURL(new Blob([bytes], { type }));
            this.addresses.push(address);
            return element("li", {}, element("a", { href: address, download: name, textContent: name }), words ? ` \u2013 ${words}` : "");
        });
        this.list.replaceChildren(...items);
    }
}

function unbound({ told, behind }) {
    let at = 0;
    return told.files.map(({ name, length }) => ({ name, bytes: behind.slice(at, (at += length)) }));
}

function saved(name, text) {
    const address = URL.createObjectURL(new Blob([text], { type: "application/toml" }));
    element("a", { href: address, download: name }).click();
    // The browser has begun to write it by then.
    setTimeout(() => URL.revokeObjectURL(address), 60_000);
}

const WORDS_OF = {
    "report.html": "the whole study on one page",
    "customer.html": "a sheet for somebody who buys or hires the machine",
    "setting_sheet.html": "a sheet for the workshop",
    "results.json": "every number, for scripts",
    "rates.csv": "the rates as a table",
};

// The whole study: passes on every thread, then the answers on one.
class Report {
    constructor(module, threads, texts) {
        this.module = module;
        this.threads = threads;
        this.texts = texts;
        this.turn = 0;
        this.desks = [];
        this.links = new Links(document.getElementById("files"));
        this.button = document.getElementById("report");
        this.stopper = document.getElementById("report-stop");
        this.bar = document.getElementById("report-done");
        this.button.addEventListener("click", () => this.begin());
        this.stopper.addEventListener("click", () => this.end("Stopped; nothing was kept."));
    }

    say(words) {
        document.getElementById("report-said").textContent = words;
    }

    end(words) {
        this.turn += 1;
        this.desks.forEach((desk) => desk.thread.terminate());
        this.desks = [];
        this.button.hidden = false;
        this.stopper.hidden = true;
        this.bar.hidden = true;
        this.say(words);
    }

    async begin() {
        const texts = this.texts();
        if (!texts) {
            this.say("First mend what is wrong above.");
            return;
        }
        const passes = Number(document.getElementById("report-passes").value);
        const turn = ++this.turn;
        this.links.show([]);
        this.button.hidden = true;
        this.stopper.hidden = false;
        this.stopper.focus();
        this.bar.hidden = false;
        this.bar.value = 0;
        this.say("Choosing speeds and clearances.");
        this.desks = Array.from({ length: this.threads }, () => new Desk(this.module));
        try {
            const files = await this.work(texts, passes, turn);
            if (files && turn === this.turn) {
                const order = ["report.html", "customer.html", "setting_sheet.html", "results.json", "rates.csv"];
                const place = ({ name }) => (order.includes(name) ? order.indexOf(name) : order.length);
                this.links.show(files.sort((a, b) => place(a) - place(b)).map((file) => ({ ...file, words: WORDS_OF[file.name] })));
                this.end(`Done: ${passes} passes, ${files.length} files.`);
            }
        } catch (error) {
            if (turn === this.turn) {
                this.end(`It did not work: ${error.message}`);
            }
        }
    }

    async work(texts, passes, turn) {
        const sound = ({ told, behind }) => {
            if (told.why || told.problems) {
                throw new Error(told.why ?? told.problems.map(({ message }) => message).join("; "));
            }
            return { told, behind };
        };
        const [keeper, ...others] = this.desks;
        const grid = sound(await keeper.ask({ ask: "grid", texts })).told;
        const machine = { texts, grid };
        const of = passes / SHARE;
        const parts = new Map();
        let next = 1;
        let joined = 0;
        const join = async () => {
            while (parts.has(joined + 1)) {
                const part = parts.get(++joined);
                parts.delete(joined);
                sound(await keeper.ask({ ask: "join", machine, first: joined === 1 }, part));
            }
        };
        let joins = Promise.resolve();
        const run = async (desk) => {
            while (next <= of && turn === this.turn) {
                const number = next++;
                const { behind } = sound(await desk.ask({ ask: "part", machine, number, of, passes }));
                parts.set(number, behind);
                joins = joins.then(join);
                this.bar.value = (0.5 * joined) / of;
                this.say(`${joined * SHARE} of ${passes} passes.`);
            }
        };
        await Promise.all((others.length > 0 ? others : [keeper]).map(run));
        await joins;
        this.say("Now the answers that follow.");
        keeper.progress = (share) => {
            this.bar.value = 0.5 + 0.5 * Math.min(share, 1);
        };
        return unbound(sound(await keeper.ask({ ask: "files", machine })));
    }
}

// Machines kept to be compared.
class Kept {
    constructor(module, texts, name) {
        this.machines = [];
        this.links = new Links(document.getElementById("compared"));
        this.list = document.getElementById("kept");
        this.said = document.getElementById("compare-said");
        this.keep = document.getElementById("keep");
        this.button = document.getElementById("compare");
        this.keep.addEventListener("click", () => {
            const sound = texts();
            if (sound && this.machines.length < 8) {
                this.machines.push({ texts: sound, name: `${name()} (${this.machines.length + 1})` });
                this.show();
            }
        });
        this.button.addEventListener("click", async () => {
            const desk = new Desk(module);
            this.button.disabled = true;
            this.said.textContent = "Working on it: some ten seconds for each machine.";
            try {
                const machines = this.machines.map(({ texts }) => texts);
                const answer = await desk.ask({ ask: "compare", machines, passes: 256 });
                if (answer.told.why || answer.told.problems) {
                    throw new Error(answer.told.why ?? answer.told.problems[0].message);
                }
                this.links.show(unbound(answer).map((file) => ({ ...file, words: "all of them on one page" })));
                this.said.textContent = "Done, on the same 256 passes.";
            } catch (error) {
                this.said.textContent = `It did not work: ${error.message}`;
            }
            desk.thread.terminate();
            this.show();
        });
    }

    show() {
        this.button.disabled = this.machines.length < 2;
        this.keep.disabled = this.machines.length >= 8;
        this.list.replaceChildren(
            ...this.machines.map((machine, place) => {
                const drop = element("button", { type: "button", textContent: "Drop", "aria-label": `Drop ${machine.name}` });
                drop.addEventListener("click", () => {
                    this.machines.splice(place, 1);
                    this.show();
                });
                return element("li", {}, machine.name, " ", drop);
            }),
        );
    }
}

// The film is a page of its own in a frame: the program's, unchanged.
function filmed(page) {
    const frame = element("iframe", { title: "A pass from above" });
    frame.setAttribute("sandbox", "allow-scripts");
    frame.srcdoc = page;
    document.getElementById("film-frame").replaceChildren(frame);
}
