// Prints the fingerprints of the engine as a browser runs it: node print.mjs rowroom_browser.wasm

import { readFile } from "node:fs/promises";

const { instance } = await WebAssembly.instantiate(await readFile(process.argv[2]), {});
const { memory, fingerprints_at, fingerprints_length } = instance.exports;
const [at, length] = [fingerprints_at(), fingerprints_length()];
process.stdout.write(new TextDecoder().decode(new Uint8Array(memory.buffer, at, length)));
