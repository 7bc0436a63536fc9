// The module, unpacked, and the threads that answer for the page.

// The smallest module that uses 128-bit registers (WebAssembly Core Specification 2.0: v128.const, then drop).
const WITH_SIMD = new Uint8Array([
    0, 97, 115, 109, 1, 0, 0, 0, 1, 4, 1, 96, 0, 0, 3, 2, 1, 0, 10, 23, 1, 21, 0, 253, 12, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 26, 11,
]);

// Why this browser cannot run the tool; nothing where it can.
function lacking() {
    if (typeof WebAssembly !== "object") {
        return "This browser does not run WebAssembly. Take a newer one.";
    }
    if (!WebAssembly.validate(WITH_SIMD)) {
        return "This browser is too old: its WebAssembly has no 128-bit registers. Take one of the year 2023 or later.";
    }
    if (typeof DecompressionStream !== "function" || typeof Worker !== "function") {
        return "This browser is too old to unpack the tool. Take one of the year 2023 or later.";
    }
    return "";
}

async function unpacked() {
    const packed = Uint8Array.from(atob(document.getElementById("module").textContent.trim()), (letter) => letter.charCodeAt(0));
    const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
    return WebAssembly.compile(await new Response(stream).arrayBuffer());
}

let threadCode;

// A thread with a desk of its own.
class Desk {
    constructor(module) {
        threadCode ??= URL.createObjectURL(new Blob([document.getElementById("worker").textContent], { type: "text/javascript" }));
        this.module = module;
        this.asked = new Map();
        this.next = 0;
        this.progress = () => undefined;
        this.begin();
    }

    begin() {
        this.thread = new Worker(threadCode);
        this.thread.postMessage({ module: this.module });
        this.thread.onmessage = ({ data }) => {
            if (data.progress !== undefined) {
                this.progress(data.progress);
                return;
            }
            const waiting = this.asked.get(data.id);
            this.asked.delete(data.id);
            if (data.broken !== undefined) {
                waiting?.refuse(new Error(data.broken));
            } else {
                waiting?.settle({ told: JSON.parse(data.told), behind: data.behind });
            }
        };
    }

    // What the module answers to a request: `told`, and the bytes `behind` it.
    ask(request, behind) {
        const id = this.next++;
        return new Promise((settle, refuse) => {
            this.asked.set(id, { settle, refuse });
            this.thread.postMessage({ id, ask: JSON.stringify(request), behind }, behind ? [behind] : []);
        });
    }

    // Ends whatever it is at; what was asked is never answered.
    stop() {
        this.thread.terminate();
        this.asked.clear();
        this.begin();
    }
}
