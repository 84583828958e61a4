// SPDX-License-Identifier: MIT
// Pictures of every view, to be looked at: node tests/browser/shots.js BUILD FOLDER
import { mkdirSync } from "node:fs";
import { Bay, browser, wait, until, watched } from "./harness.js";

const [build, folder] = process.argv.slice(2);
mkdirSync(folder, { recursive: true });
const bay = new Bay(build);
const chrome = await browser();
try {
    await bay.daemon();
    await bay.stopDaemon();
    await bay.calibrate();
    await bay.daemon();
    const { page, wrong } = await watched(chrome.context);
    const sizes = { wide: { width: 1280, height: 800 }, tall: { width: 800, height: 1280 } };
    const shoot = async (name) => {
        for (const [size, viewport] of Object.entries(sizes)) {
            await page.setViewportSize(viewport);
            await wait(250);
            await page.screenshot({ path: `${folder}/${name}-${size}.png` });
        }
    };
    await page.goto(bay.url);
    await wait(500);
    await shoot("no-device");
    const sim = bay.sim("empty:4,walk_on,address,ball,stand:2,rock:6,rock:6,address,ball,address,ball,stand:5");
    await until("somebody stands", async () => (await page.textContent("#trail-share")) !== "–");
    await wait(3500);
    await shoot("standing");
    await page.locator("#swing").waitFor();
    await wait(300);
    await shoot("swing");
    await page.keyboard.press("1");
    await wait(7000);
    await page.emulateMedia({ colorScheme: "light" });
    await shoot("light");
    await page.emulateMedia({ colorScheme: "dark" });
    await shoot("rock");
    await sim.ended;
    await page.keyboard.press("2");
    await page.fill("#scrub", "500");
    await shoot("last-swing");
    await page.keyboard.press("3");
    await shoot("list");
    await page.keyboard.press("4");
    await shoot("plates");
    await page.keyboard.press("1");
    await shoot("gone");
    console.log(wrong.length ? wrong : "nothing wrong");
} finally {
    await chrome.end();
    await bay.end();
}
