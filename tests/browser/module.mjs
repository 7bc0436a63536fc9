// The module of the page under Node: unpacked, and asked as a thread of the page asks it (src/page/worker.js).

import { readFile } from "node:fs/promises";
import { gunzipSync } from "node:zlib";
import vm from "node:vm";

const ROOT = new URL("../../", import.meta.url);

// A desk as src/page/desks.js has it, on the page's own worker script: `ask(request, behind)` gives `{ told, behind }`.
export async function desk() {
    const parts = [1, 2].map((part) => readFile(new URL(`src/page/module.wasm.gz.${part}`, ROOT)));
    const module = await WebAssembly.compile(gunzipSync(Buffer.concat(await Promise.all(parts))));
    const script = await readFile(new URL("src/page/worker.js", ROOT), "utf8");
    let heard;
    const told = [];
    const thread = vm.createContext({
        WebAssembly,
        TextEncoder,
        TextDecoder,
        Uint8Array,
        ArrayBuffer,
        postMessage: (data) => (data.progress === undefined ? (heard = data) : told.push(data.progress)),
    });
    vm.runInContext(script, thread);
    thread.onmessage({ data: { module } });
    const ask = (request, behind) => {
        thread.onmessage({ data: { id: 0, ask: JSON.stringify(request), behind } });
        if (heard.broken) {
            throw new Error(heard.broken);
        }
        return { told: JSON.parse(heard.told), behind: Buffer.from(heard.behind) };
    };
    const memory = () => vm.runInContext("instance.memory.buffer.byteLength", thread);
    return { ask, memory, progress: told };
}

// The texts of a shipped scenario, as the page has them.
export async function shipped(name) {
    const read = (file) => readFile(new URL(file, ROOT), "utf8");
    const files = name === "carrots_slope" ? { "carrots_slope_rows.csv": await read("scenarios/carrots_slope_rows.csv") } : {};
    const replay = name === "replayed_pass" ? ["synthetic_pass.csv", await read("tests/data/synthetic_pass.csv")] : null;
    return { file: `${name}.toml`, text: await read(`scenarios/${name}.toml`), files, replay };
}

// What so many passes at the working speed say, as src/page/live.js has it.
export function atWork(desk, texts, passes) {
    const { told } = desk.ask({ ask: "check", texts });
    const { working_speed_m_s, clearances_m } = told.facts;
    const machine = { texts, grid: { speeds_m_s: [working_speed_m_s], clearances_m } };
    const parts = 128;
    for (let number = 1; number * 8 <= passes; number++) {
        const { behind } = desk.ask({ ask: "part", machine, number, of: parts, passes: 8 * parts });
        desk.ask({ ask: "join", machine, first: number === 1 }, behind);
    }
    return desk.ask({ ask: "told", machine }).told;
}
