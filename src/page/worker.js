// A thread of the page: one instance of the module, which answers one request after the other. Joined into a Blob by desks.js.

"use strict";
let module;
let instance;

// The module asks for nothing but `page.progress`; what a library leaves in it for a binding generator is never called.
function imports() {
    const given = { page: { progress: (done) => postMessage({ progress: done }) } };
    for (const { module: from, name } of WebAssembly.Module.imports(module)) {
        given[from] ??= {};
        given[from][name] ??= () => {
            throw new Error(`${from}.${name} is not there`);
        };
    }
    return given;
}

function answered(ask, behind) {
    instance ??= new WebAssembly.Instance(module, imports()).exports;
    const head = new TextEncoder().encode(ask + "\n");
    const room = instance.room(head.length + behind.byteLength);
    const bytes = new Uint8Array(instance.memory.buffer);
    bytes.set(head, room);
    bytes.set(new Uint8Array(behind), room + head.length);
    const at = instance.answer();
    const answer = new Uint8Array(instance.memory.buffer, at, instance.answer_length());
    const end = answer.indexOf(10);
    return [new TextDecoder().decode(answer.subarray(0, end)), answer.slice(end + 1).buffer];
}

onmessage = ({ data }) => {
    if (data.module) {
        module = data.module;
        return;
    }
    try {
        const [told, behind] = answered(data.ask, data.behind ?? new ArrayBuffer(0));
        postMessage({ id: data.id, told, behind }, [behind]);
    } catch (error) {
        // A trap leaves the instance in no known state: the next request gets a new one.
        instance = undefined;
        postMessage({ id: data.id, broken: String(error) });
    }
};
