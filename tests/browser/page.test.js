// SPDX-License-Identifier: MIT
// The live page in a real browser, against the real daemon with simulated plates on a pty.
// node --test tests/browser/page.test.js, with the build folder in UNDERFOOT_BUILD.
import assert from "node:assert/strict";
import { appendFileSync, readFileSync } from "node:fs";
import { test } from "node:test";
import { one } from "./sqlite.js";
import { aBayForEach, bay, page, until, wait, wrong } from "./harness.js";


aBayForEach();

const number = async (selector) => Number(await page.textContent(selector));
const lineIs = (kind) => page.waitForSelector(`#line[data-kind=${kind}]`);
const seen = (words) => page.waitForFunction((w) => document.body.innerText.includes(w), words);

test("a lesson: live values, a swing, its numbers, the list, the health of the plates", async () => {
    await bay.daemon();
    await page.goto(bay.url);
    await lineIs("wait");
    await seen("No device:");
    await seen("No calibration:");
    assert.equal(await page.textContent("#trail-share"), "–", "no figure without a device");
    await bay.zero();
    const sim = bay.sim("walk_on,address,ball,stand:5");
    await lineIs("good");
    const shares = () => page.evaluate(() => ["lead", "trail"].map((f) => Number(document.getElementById(`${f}-share`).textContent)));
    await until("both feet stand", async () => (await shares()).every((v) => v > 25));
    const [leadShare, trailShare] = await shares(); // of one frame
    assert.ok(Math.abs(leadShare + trailShare - 100) <= 1, `shares make 100: ${leadShare}, ${trailShare}`);
    const kg = await number("#weight");
    assert.ok(kg > 40 && kg < 140, `weight ${kg}`);
    const before = await page.evaluate(() => document.querySelector("#traces").toDataURL());
    await wait(200);
    assert.notEqual(await page.evaluate(() => document.querySelector("#traces").toDataURL()), before, "traces move");

    await page.waitForSelector("#swing:not([hidden])"); // by itself
    const shown = Date.now();
    await seen("Peaks, in the order in which they came");
    const status = await bay.ask({ ask: "status" });
    assert.equal(status.last_swing, 1);
    assert.ok(shown * 1000 - status.last_swing_utc_us < 5e6, "within seconds of its end");
    const turn = await page.textContent("#peaks tr:has-text('turn') td >> nth=0");
    const stored = one(bay.path("underfoot.db"), "SELECT printf('%.0f N m', turn_peak_nm) FROM swing_metric");
    assert.equal(turn, stored, "the page shows what is stored");
    assert.match(await page.textContent("#scrub-text"), /at impact/);
    assert.equal(await page.locator("#missing").innerText() !== "", true);

    await page.locator("#scrub").focus();
    const share = await page.textContent("#now-trail");
    for (let i = 0; i < 30; i++) await page.keyboard.press("ArrowLeft");
    assert.match(await page.textContent("#scrub-text"), /ms before impact/);
    assert.notEqual(await page.textContent("#now-trail"), share, "the feet go with the time");
    await page.click("#peaks tr:has-text('turn') button");
    assert.match(await page.textContent("#scrub-text"), /before impact/);
    await page.click("summary");
    await seen("greatest share under the trail foot");

    await page.click("nav >> text=All swings");
    await page.click("#swings tbody tr >> nth=0 >> button");
    await page.waitForSelector("#swing:not([hidden])");
    await page.click("nav >> text=Plates");
    await seen("received, ");
    await page.click("#hand >> text=left-handed");
    await until("the daemon knows the hand", async () => (await bay.ask({ ask: "status" })).hand === "left");
    await page.click("nav >> text=Standing");
    const boxes = await Promise.all(["lead", "trail"].map((f) => page.locator(`.share[data-foot=${f}]`).boundingBox()));
    assert.ok(boxes[0].x > boxes[1].x, "the lead foot of a left-handed golfer lies right");
    await sim.ended;
    await bay.stopDaemon();
    assert.deepEqual(wrong.filter((w) => !/ERR_CONNECTION_REFUSED|WebSocket connection/.test(w)), []);
});

test("unplugged: seen within a second, no old figure stays", async () => {
    await bay.daemon();
    await page.goto(bay.url);
    await bay.zero();
    bay.sim("walk_on,stand:60");
    await until("somebody stands", async () => (await page.textContent("#trail-share")) !== "–");
    await bay.unplug();
    const begun = Date.now();
    await page.waitForFunction(() => document.querySelector("#line").dataset.kind !== "good" &&
        document.querySelector("#trail-share").textContent === "–" && document.querySelector("#notes .bad"));
    assert.ok(Date.now() - begun < 1000, `${Date.now() - begun} ms`);
    bay.sim("stand:30");
    await lineIs("good");
    assert.deepEqual(wrong, []);
});

test("reconnects by itself after the daemon has started anew", async () => {
    await bay.daemon();
    await page.goto(bay.url);
    await bay.zero();
    bay.sim("walk_on,stand:60");
    await until("somebody stands", async () => (await page.textContent("#trail-share")) !== "–");
    await bay.stopDaemon();
    await lineIs("gone");
    await seen("The daemon does not answer");
    await bay.daemon();
    await lineIs("good");
    await until("values again", async () => (await page.textContent("#weight")) !== "–");
    // what Chromium itself says about a refused connection is not the page's
    assert.deepEqual(wrong.filter((w) => !/ERR_CONNECTION_REFUSED/.test(w)), []);
});

test("everything by keyboard", async () => {
    await bay.daemon();
    await page.goto(bay.url);
    await lineIs("wait");
    for (const [key, view] of [["2", "swing"], ["3", "list"], ["4", "plates"], ["1", "standing"]]) {
        await page.keyboard.press(key);
        await page.waitForSelector(`#${view}:not([hidden])`);
    }
    const reach = async (selector) => {
        for (let i = 0; i < 40; i++) {
            if (await page.evaluate((s) => document.activeElement?.matches(s), selector)) return;
            await page.keyboard.press("Tab");
        }
        assert.fail(`Tab does not reach ${selector}`);
    };
    await reach("#band-from");
    await page.keyboard.press("Control+a");
    await page.keyboard.type("40");
    await reach("#band-to");
    await page.keyboard.press("Control+a");
    await page.keyboard.type("60");
    assert.equal(await page.locator("#standing").isVisible(), true, "digits in a field change no view");
    await reach("#tone");
    await page.keyboard.press("Space");
    assert.equal(await page.isChecked("#tone"), true);
    await page.reload();
    assert.equal(await page.inputValue("#band-from"), "40", "the band is remembered");
    await page.keyboard.press("4");
    await reach("#tare");
    await page.keyboard.press("Enter");
    await seen("the next still stretch becomes the zero");
    await reach("#hand input");
    await page.keyboard.press("ArrowDown");
    await until("the hand", async () => (await bay.ask({ ask: "status" })).hand === "left");
    assert.deepEqual(wrong, []);
});

test("markup is shown, not executed; a link that may only look", async () => {
    const evil = `<img src=x onerror=alert(1)>`;
    let dialogs = 0;
    page.on("dialog", (d) => {
        dialogs++;
        d.dismiss();
    });
    await bay.daemon("page.listen=0.0.0.0", `link.device=/tmp/${evil}`);
    await page.goto(bay.url);
    await lineIs("gone");
    const token = readFileSync(bay.path("page-read.token"), "utf8").trim();
    await page.goto("about:blank");
    await page.goto(`${bay.url}#token=${token}`);
    await lineIs("wait");
    await seen(evil);
    assert.equal(await page.locator("img").count(), 0);
    assert.equal(dialogs, 0);
    assert.equal(page.url(), bay.url, "the token is taken out of sight");
    await page.keyboard.press("4");
    assert.equal(await page.isDisabled("#tare"), true, "may only look");
    assert.deepEqual(wrong, []);
});

test("one plate under both feet: totals, and no share", async () => {
    const cells = [[-250, -150], [250, -150], [-250, 150], [250, 150]].map(([x, y], i) => `[cell single ${i + 1}]
at_mm = ${x}, ${y}
channels = x:${3 * i} y:${3 * i + 1} z:${3 * i + 2}
n_per_count = x:0.0005 y:0.0005 z:0.001
`);
    appendFileSync(bay.path("underfoot.conf"), `[plate single]
centre_mm = 0, 0
size_mm = 600, 400
surface_mm = 40
${cells.join("")}`);
    await bay.daemon();
    await page.goto(bay.url);
    await bay.zero("--config", bay.path("underfoot.conf"));
    bay.sim("walk_on,stand:30", "--config", bay.path("underfoot.conf"));
    await seen("One plate under both feet");
    await until("the total", async () => (await number("#weight")) > 40);
    assert.equal(await page.textContent("#trail-share"), "–");
    assert.deepEqual(wrong, []);
});
