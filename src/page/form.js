// The machine as a form: fields made from the declarations of the language.

// What a grower would change first; a table stands for the choice within its group.
const FIRST = [
    ["rows.rows_per_bed", "Rows under the implement"],
    ["rows.beds", "Beds under the implement"],
    ["rows.row_spacing", "Row spacing"],
    ["plants.established", "How the crop was established"],
    ["plants.stage", "Stage of growth"],
    ["study.working_speed", "Speed"],
    ["study.working_clearance", "Room beside the row, either side"],
    ["study.allowed_cut_rate", "Plants that may be cut"],
    ["driver", "Who steers the tractor"],
    ["driver.hand.practice", "The driver's practice"],
    ["ground.surface", "The ground"],
    ["camera.grade", "The camera"],
    ["hydraulics.stroke", "Stroke of the side-shift"],
];

const WORDS = { us: "US", s_tine: "S tine", c_shank: "C shank" };

function plainWords(name) {
    return WORDS[name] ?? name.replaceAll("_", " ").replace(/^./, (letter) => letter.toUpperCase());
}

function element(name, attributes = {}, ...inside) {
    const made = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) {
        if (key in made && key !== "list" && key !== "form") {
            made[key] = value;
        } else if (value !== undefined) {
            made.setAttribute(key, value);
        }
    }
    made.append(...inside.filter((one) => one !== undefined && one !== ""));
    return made;
}

let fieldNumber = 0;

// One key: label, input, message and what is known of it. `change(key, value)` is called once something was entered.
class Field {
    constructor(key, title, change) {
        const id = `field-${fieldNumber++}`;
        this.key = key;
        this.change = change;
        this.input = key.kind === "choice" ? this.choice(id) : element("input", { id, type: "text", autocomplete: "off", spellcheck: false });
        this.input.setAttribute("aria-describedby", `${id}-hint ${id}-message`);
        this.hint = element("p", { id: `${id}-hint`, className: "hint" });
        this.message = element("p", { id: `${id}-message`, className: "message", role: "alert" });
        this.box = element("div", { className: "field" }, element("label", { htmlFor: id, textContent: title }), this.input, this.message, this.hint);
        this.input.addEventListener("change", () => change(key.path, this.input.value));
    }

    choice(id) {
        const none = element("option", { value: "", textContent: this.key.required ? "choose" : "default" });
        return element("select", { id }, none, ...this.key.words.map((word) => element("option", { value: word, textContent: plainWords(word) })));
    }

    // `value` as the check told it; nothing where the key does not stand and has no default.
    show(value, stated, brief) {
        const units = unitsNow();
        const own = value && stated ? value.value : "";
        // Quotation marks inside are a list's or a range's and stay.
        const shown = brief ? value?.value ?? "" : own;
        if (document.activeElement !== this.input || this.input.tagName === "SELECT") {
            this.input.value = shown;
        }
        if (this.key.kind !== "choice") {
            this.input.placeholder = value?.value ?? this.key.example;
        }
        const other = value?.both?.[units];
        const parts = [];
        if (other && other !== value.value) {
            parts.push(`= ${other}`);
        }
        if (!brief) {
            parts.push(this.key.meaning + ".", this.range(units));
        }
        if (value && !stated) {
            parts.push(`${brief ? "default, " : `Default ${value.value}: `}${value.origin}${value.range ? `; plausible ${value.range}` : ""}`);
        } else if (!brief && this.key.default) {
            parts.push(`Default: ${this.key.default}`);
        }
        this.hint.textContent = parts.filter((part) => part).join(" \u2013 ");
    }

    range(units) {
        if (this.key.ends) {
            const [low, high] = this.key.ends[units];
            return `${low} to ${high}${this.key.may_vary ? "; may vary from pass to pass" : ""}`;
        }
        return this.key.kind === "count" || this.key.kind === "counts" ? this.key.allowed : "";
    }

    say(message) {
        if (this.message.textContent !== message) {
            this.message.textContent = message;
        }
        this.input.setAttribute("aria-invalid", message ? "true" : "false");
    }
}

// The whole form. `edit(edit)` changes the machine's text.
class Form {
    constructor(language, edit) {
        this.language = language;
        this.edit = edit;
        this.fields = [];
        const byPath = new Map(language.keys.map((key) => [key.path, key]));
        const set = (key, value) => edit({ change: "set", key, value });
        const first = document.getElementById("first-fields");
        for (const [path, title] of FIRST) {
            if (byPath.has(path)) {
                const field = new Field(byPath.get(path), title, set);
                field.brief = true;
                this.fields.push(field);
                first.append(field.box);
            } else {
                this.steering = this.group(path, title);
                first.append(this.steering.box);
            }
        }
        this.groups = [this.steering];
        this.tables = this.language.tables.filter(({ name }) => language.keys.some((key) => key.table === name)).map((table) => this.table(table, set));
        document.getElementById("all").append(...this.tables.map(({ box }) => box));
        document.getElementById("find").addEventListener("input", ({ target }) => this.find(target.value.trim().toLowerCase()));
    }

    // The choice between the tables of a group.
    group(name, title) {
        const id = `group-${name}-${fieldNumber++}`;
        const members = this.language.tables.filter((table) => table.group === name && table.presence === "one_of");
        const input = element(
            "select",
            { id },
            ...members.map((table) => element("option", { value: table.name, textContent: plainWords(table.name.split(".")[1]) })),
        );
        input.addEventListener("change", () => this.edit({ change: "add", table: input.value }));
        const hint = element("p", { className: "hint" });
        return { members, input, hint, box: element("div", { className: "field" }, element("label", { htmlFor: id, textContent: title }), input, hint) };
    }

    table(table, set) {
        const keys = this.language.keys.filter((key) => key.table === table.name);
        const fields = keys.map((key) => new Field(key, plainWords(key.name), set));
        this.fields.push(...fields);
        const button = table.presence === "always" ? undefined : element("button", { type: "button" });
        button?.addEventListener("click", () => this.edit({ change: button.dataset.change, table: table.name }));
        const box = element(
            "details",
            { className: "fold all-table" },
            element("summary", {}, element("span", { textContent: `${table.name || "scenario"} \u2013 ${table.meaning}` })),
            element("div", {}, button, element("div", { className: "fields" }, ...fields.map((field) => field.box))),
        );
        return { table, fields, button, box };
    }

    find(word) {
        document.getElementById("all-others-fold").open = Boolean(word);
        for (const { table, fields, box } of this.tables) {
            let any = false;
            for (const field of fields) {
                const fits = !word || `${field.key.path} ${field.key.meaning} ${table.meaning}`.toLowerCase().replaceAll("_", " ").includes(word.replaceAll("_", " "));
                field.box.hidden = !fits;
                any ||= fits;
            }
            box.hidden = !any;
            box.open = Boolean(word) && any;
        }
    }

    // Shows a sound machine: `facts` and the names of its `tables`.
    show(facts, tables) {
        const values = new Map(facts.values.map((value) => [value.key, value]));
        values.set("name", { value: facts.name, known: "scenario" });
        values.set("description", { value: facts.description, known: facts.description ? "scenario" : "assumed", origin: "none given" });
        const units = unitsNow();
        for (const field of this.fields) {
            const value = values.get(field.key.path);
            field.show(value, value?.known === "scenario", field.brief);
            field.say("");
            if (field.brief) {
                field.box.hidden = !value;
            }
        }
        for (const { members, input, hint } of this.groups) {
            const now = members.find(({ name }) => tables.includes(name));
            input.value = now?.name ?? "";
            hint.textContent = now?.meaning ?? "";
        }
        for (const { table, button, box } of this.tables) {
            const there = tables.includes(table.name);
            const place = document.getElementById(there || table.presence === "always" ? "all" : "all-others");
            if (box.parentElement !== place) {
                place.append(box);
            }
            if (button) {
                button.dataset.change = there ? "remove" : "add";
                button.hidden = table.presence === "one_of" && there;
                button.textContent = there ? `Take ${table.name} out` : `Put ${table.name} in${table.presence === "one_of" ? " instead" : ""}`;
            }
        }
        document.getElementById("name").textContent = facts.name;
        document.getElementById("description").textContent = facts.description;
        this.elsewhere([]);
        return units;
    }

    // Shows what is wrong, each at its field; the rest above the form.
    blame(problems) {
        const told = new Map();
        const elsewhere = [];
        for (const { key, message, line } of problems) {
            if (this.fields.some((field) => field.key.path === key)) {
                told.set(key, told.has(key) ? `${told.get(key)}; ${message}` : message);
            } else {
                elsewhere.push(line > 0 ? `line ${line}: ${message}` : message);
            }
        }
        for (const field of this.fields) {
            field.say(told.get(field.key.path) ?? "");
        }
        // A field that is not in sight is told above too.
        const inSight = new Set(this.fields.filter((field) => field.brief && !field.box.hidden).map((field) => field.key.path));
        for (const [key, message] of told) {
            if (!inSight.has(key)) {
                elsewhere.push(`${key}: ${message}`);
            }
        }
        this.elsewhere(elsewhere);
    }

    elsewhere(messages) {
        const box = document.getElementById("other-problems");
        box.hidden = messages.length === 0;
        box.textContent = messages.join(" \u2022 ");
    }
}
