// Chromium for the tests of the reports: found, started once, and every page watched from its first request on.

import { accessSync, constants } from "node:fs";
import { delimiter, join } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

// Nothing of the browser's own may use the network; a report is tested in one process as root in a container too.
const FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
];

function executable() {
    if (process.env.CHROMIUM) {
        return process.env.CHROMIUM;
    }
    for (const folder of process.env.PATH.split(delimiter)) {
        const file = join(folder, "chromium");
        try {
            accessSync(file, constants.X_OK);
            return file;
        } catch {
            // Not in this folder.
        }
    }
    throw new Error("no chromium in PATH, and CHROMIUM does not name one");
}

let browser;

export async function started() {
    browser ??= await chromium.launch({ executablePath: executable(), args: FLAGS });
    return browser;
}

export async function stopped() {
    await browser?.close();
    browser = undefined;
}

// Opens a file in a context of its own, hands it to `use` and says what went wrong meanwhile.
//
// `options`: width and height in CSS pixels, and contextOptions of playwright. Returned: whatever `use` returns, and `troubles`, a line for every
// message of the console from a warning on, error of a script, violation of the page's policy, dialog, and request other than for the file.
export async function opened(file, { width = 1280, height = 900, ...rest } = {}, use = async () => undefined) {
    const context = await (await started()).newContext({ viewport: { width, height }, ...rest });
    const troubles = [];
    const address = pathToFileURL(file).href;
    let own = 0;
    context.setDefaultTimeout(10_000);
    const page = await context.newPage();
    page.on("console", (message) => {
        if (["error", "warning", "assert"].includes(message.type())) {
            troubles.push(`console ${message.type()}: ${message.text()}`);
        }
    });
    page.on("pageerror", (error) => troubles.push(`script: ${error.message}`));
    page.on("dialog", async (dialog) => {
        troubles.push(`dialog: ${dialog.message()}`);
        await dialog.dismiss();
    });
    context.on("page", (other) => troubles.push(`another page: ${other.url()}`));
    page.on("websocket", (socket) => troubles.push(`request: ${socket.url()}`));
    page.on("request", (request) => {
        if (request.url() === address) {
            own += 1;
        } else if (!/^(blob|data):/.test(request.url())) {
            troubles.push(`request: ${request.url()}`);
        }
    });
    await page.addInitScript(() => {
        window.violations = [];
        document.addEventListener("securitypolicyviolation", (event) => {
            window.violations.push(`policy: ${event.effectiveDirective} ${event.blockedURI}`);
        });
    });
    try {
        await page.goto(address);
        const found = await use(page, context);
        // What is asked for late comes before this does.
        await page.waitForTimeout(100);
        troubles.push(...(await page.evaluate(() => window.violations ?? [])));
        if (own !== 1) {
            troubles.push(`the file was asked for ${own} times`);
        }
        return { found, troubles };
    } finally {
        await context.close();
    }
}
