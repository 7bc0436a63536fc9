// Rates while somebody looks on: parts of a study on every thread, put together in order, told at 16, 64, 256 and 1024 passes, from
// which on there are fields enough to tell of farms like this one.

// The passes of the longest step, and how many a thread takes at a time.
const MOST = 1024;
const SHARE = 8;
// Steps at the working speed and over all speeds, in the order in which they are worth most to somebody who waits.
const STEPS = [
    ["work", 16],
    ["work", 64],
    ["map", 16],
    ["work", 256],
    ["map", 64],
    ["work", 1024],
    ["map", 256],
    ["map", 1024],
];

class Live {
    constructor(module, threads, show) {
        this.show = show;
        this.runners = Array.from({ length: threads }, () => new Desk(module));
        this.books = { work: new Desk(module), map: new Desk(module) };
        this.idle = [...this.runners];
        this.turn = 0;
        this.tasks = [];
    }

    // Begins anew with a sound machine; whatever is still under way for the last one is dropped.
    begin(texts, facts) {
        const turn = ++this.turn;
        const { working_speed_m_s, speeds_m_s, clearances_m } = facts;
        const at = (speeds) => ({ texts, grid: { speeds_m_s: speeds, clearances_m } });
        const run = { turn, machine: { work: at([working_speed_m_s]), map: at(speeds_m_s) }, told: {}, waiting: { work: new Map(), map: new Map() }, joined: { work: 0, map: 0 }, broken: false };
        this.run = run;
        this.tasks = [];
        const done = { work: 0, map: 0 };
        for (const [sight, passes] of STEPS) {
            for (; done[sight] * SHARE < passes; done[sight]++) {
                this.tasks.push({ run, sight, number: done[sight] + 1 });
            }
        }
        this.next();
    }

    // Work for the runner that is free next, such as a comparison. Dropped with the next machine.
    also(request, then) {
        this.tasks.unshift({ run: this.run, request, then });
        this.next();
    }

    next() {
        while (this.idle.length > 0) {
            const task = this.tasks.shift();
            if (!task) {
                return;
            }
            const desk = this.idle.pop();
            this.done(desk, task).finally(() => {
                this.idle.push(desk);
                this.next();
            });
        }
    }

    async done(desk, task) {
        const { run } = task;
        const current = () => run.turn === this.turn && !run.broken;
        try {
            if (task.request) {
                const { told } = await desk.ask(task.request);
                if (current()) {
                    task.then(told);
                }
                return;
            }
            const { sight, number } = task;
            const machine = run.machine[sight];
            const { told, behind } = await desk.ask({ ask: "part", machine, number, of: MOST / SHARE, passes: MOST });
            if (!current()) {
                return;
            }
            if (told.why || told.problems) {
                throw new Error(told.why ?? told.problems.map(({ message }) => message).join("; "));
            }
            run.waiting[sight].set(number, behind);
            this.join(run, sight);
        } catch (error) {
            if (current()) {
                run.broken = true;
                this.tasks = [];
                this.show({ trouble: error.message });
            }
        }
    }

    // Hands parts on in order; tells at every step.
    join(run, sight) {
        const book = this.books[sight];
        const machine = run.machine[sight];
        for (;;) {
            const part = run.waiting[sight].get(run.joined[sight] + 1);
            if (!part || run.turn !== this.turn) {
                return;
            }
            run.waiting[sight].delete(++run.joined[sight]);
            const passes = run.joined[sight] * SHARE;
            book.ask({ ask: "join", machine, first: passes === SHARE }, part).then(({ told }) => this.mind(run, told));
            if (STEPS.some(([one, step]) => one === sight && step === passes)) {
                book.ask({ ask: "told", machine }).then(({ told }) => {
                    if (run.turn === this.turn && this.mind(run, told)) {
                        run.told[sight] = told;
                        this.show(run);
                    }
                });
            }
        }
    }

    // False, and shown, where an answer tells of trouble.
    mind(run, told) {
        if (!told.why) {
            return true;
        }
        if (run.turn === this.turn && !run.broken) {
            run.broken = true;
            this.tasks = [];
            this.show({ trouble: told.why });
        }
        return false;
    }
}
