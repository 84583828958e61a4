// SPDX-License-Identifier: MIT
// Pictures of every view, to be looked at: node tests/browser/shots.js BUILD FOLDER
import { mkdirSync } from "node:fs";
import { Bay, browser, wait, until, watched } from "./harness.js";

/** Rocking, then the feet that it has found, live and in a swing. */
async function feet(page, bay, shoot) {
    await bay.daemon();
    await page.goto(bay.url);
    bay.sim("empty:4,walk_on,stand:2,rock:10,stand:6,address,ball,stand:20", "--golfer", "3", "--seed", "3", "--hand", "right");
    await until("feet", async () => (await bay.ask({ ask: "status" })).feet.now, 60000);
    await page.waitForFunction(() => document.querySelector("#lead-region").textContent);
    await shoot("feet");
    await page.waitForSelector("#swing:not([hidden])");
    await wait(500);
    await shoot("feet-swing");
    await bay.unplug();
}

/** Sessions, comparison, players: of lessons that are over. */
async function records(page, bay, shoot) {
    await bay.lessons();
    await bay.daemon();
    await page.goto(bay.url);
    await page.keyboard.press("6");
    await page.locator("#session-list button").nth(2).click();
    await page.waitForSelector("#session-swings tr[data-counts=false]");
    await shoot("session");
    await page.click("#session-swings button[aria-label^='swing 3']");
    await page.waitForSelector("#star[aria-pressed=true]");
    await shoot("remarks");
    const compared = () => page.waitForSelector("#compare[data-waits=false] #compare-table tbody tr");
    await page.keyboard.press("6");
    await page.click("#session-compare");
    await compared();
    await shoot("compare-blocks");
    await page.check("#compare-what input[value=swings]");
    await compared();
    await page.fill("#compare-scrub", "380");
    await shoot("compare-swings");
    await page.keyboard.press("7");
    await page.click("#player-list button:has-text('Kim')");
    await page.waitForSelector("#player-sessions tbody tr");
    await shoot("player");
    await page.emulateMedia({ colorScheme: "light" });
    await shoot("player-light");
    await page.keyboard.press("5");
    await compared();
    await shoot("compare-light");
}

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
    for (const more of [feet, records]) {
        const own = new Bay(build);
        try {
            await more(page, own, shoot);
            await page.goto("about:blank");
        } finally {
            await own.end();
        }
    }
    console.log(wrong.length ? wrong : "nothing wrong");
} finally {
    await chrome.end();
    await bay.end();
}
