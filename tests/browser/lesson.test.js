// SPDX-License-Identifier: MIT
// A whole lesson led from the page, by clicks and by keyboard, in one browser and in two at once;
// where its swings go; and the health of the plates. As page.test.js. With UNDERFOOT_SHOTS=FOLDER
// it leaves a picture of each state there.
import assert from "node:assert/strict";
import { mkdirSync } from "node:fs";
import { test } from "node:test";
import { one } from "./sqlite.js";
import { aBayForEach, bay, chrome, page, until, wait, watched, wrong } from "./harness.js";

const shots = process.env.UNDERFOOT_SHOTS;
if (shots) mkdirSync(shots, { recursive: true });

aBayForEach();

async function shoot(name) {
    if (!shots) return;
    for (const [size, viewport] of [["tall", { width: 800, height: 1280 }], ["wide", { width: 1280, height: 800 }]]) {
        await page.setViewportSize(viewport);
        await wait(250);
        await page.screenshot({ path: `${shots}/${name}-${size}.png` });
    }
}

const status = () => bay.ask({ ask: "status" });
const db = (sql) => one(bay.path("underfoot.db"), sql);
const seen = (words, on = page) => on.waitForFunction((w) => document.body.innerText.includes(w), words);
const bar = (words, on = page) => on.waitForFunction((w) => document.querySelector("#open-lesson").innerText.includes(w), words);
const told = (words, on = page) => on.waitForFunction((w) => document.querySelector("#lesson-told").textContent.includes(w), words);

async function newPlayer(name, hand, on = page) {
    await on.click("#lesson-open-view");
    await on.fill("#new-name", name);
    await on.check(`input[name=new-hand][value=${hand}]`);
    await on.click("text=Add and begin the lesson");
}

async function startBlock(kind, ball, club, on = page) {
    await on.click("nav >> text=Lesson");
    if (["baseline", "drill", "retest"].includes(kind)) await on.check(`input[name=kind][value=${kind}]`);
    else await on.fill("#block-other", kind);
    await on.check(`input[name=ball][value=${ball}]`);
    await on.fill("#block-club", club);
    await on.click("#block-start");
    await bar(kind, on);
}

test("a whole lesson by clicks: new player, baseline, drill with the live view, retest, end", async () => {
    const name = "Kim <b>'; DROP TABLE player;--</b>";
    await bay.daemon();
    await page.goto(bay.url);
    await bar("no lesson: swings are kept without a player");
    await page.click("#lesson-open-view");
    await seen("nobody yet: add a new player");
    await shoot("begin");
    await page.click("text=Begin the lesson");
    await told("Choose a player from the list");
    await page.fill("#new-name", name);
    await page.click("text=Add and begin the lesson");
    await told("right-handed or left-handed");
    await page.check("input[name=new-hand][value=right]");
    await page.fill("#new-foot", "265");
    await page.fill("#new-cautions", "left knee, 2019: no jumps <i>");
    await page.click("text=Add and begin the lesson");
    await told("has begun");
    await bar(`${name}, right-handed`);
    assert.equal(db("SELECT name || hand || foot_length_mm || cautions FROM player"), `${name}right265.0left knee, 2019: no jumps <i>`);
    await seen("left knee, 2019: no jumps <i>");
    await bay.zero();
    await startBlock("baseline", "yes", "7 iron");
    await bar("baseline, ball, 7 iron, 0 swings");
    await shoot("block");
    await page.click("nav >> text=Standing");
    let sim = bay.sim("walk_on,address,ball,address,ball,stand:2");
    await page.waitForSelector("#swing:not([hidden])");
    await bar("baseline, ball, 7 iron, 2 swings");
    await sim.ended;
    await shoot("swing");
    await page.click("#bar-stop");
    await bar("no block is open, 2 swings in all");
    await startBlock("heel <u>toe</u>", "no", "");
    await page.click("nav >> text=Standing");
    sim = bay.sim("walk_on,rock:6,rock:6,stand:2");
    await page.waitForFunction(() => /Last push: .*; last \d, mean: /.test(document.querySelector("#lag").textContent));
    await shoot("drill");
    await sim.ended;
    await startBlock("retest", "yes", "7 iron"); // ends the drill
    await seen("Blocks of this lesson");
    sim = bay.sim("walk_on,address,ball,stand:2");
    await bar("retest, ball, 7 iron, 1 swing");
    await sim.ended;
    await page.click("nav >> text=Lesson");
    await page.waitForSelector("#lesson-blocks tr:nth-child(3):has-text('retest'):has-text('open')");
    await shoot("lesson");
    await page.click("nav >> text=Sessions");
    await page.click("#session-compare");
    await page.waitForSelector("#compare-table tbody tr");
    await page.waitForFunction(() => document.querySelector("#compare-head").textContent !== "");
    await shoot("compare");
    await page.click("nav >> text=Lesson");
    await page.click("#lesson-end");
    await bar("no lesson: swings are kept without a player");
    await told("The lesson has ended");
    await seen("Begin a lesson");
    assert.equal(db("SELECT group_concat(kind || ball || coalesce(club, '-') || n, ' ') FROM (SELECT kind, ball, club, (SELECT count(*) FROM swing WHERE block_id = block.id) AS n FROM block ORDER BY id)"),
        "baseline17 iron2 heel <u>toe</u>0-0 retest17 iron1");
    assert.equal(db("SELECT count(*) FROM session WHERE player_id = 1 AND ended_utc_us IS NOT NULL AND opened_by = 'person'"), "1");
    assert.equal(db("SELECT count(*) FROM block WHERE ended_utc_us IS NULL"), "0");
    assert.equal(db("SELECT count(*) FROM swing WHERE session_id <> (SELECT id FROM session WHERE player_id = 1)"), "0");
    await page.selectOption("#choose-player", { label: `${name}, right-handed` });
    await page.click("text=Begin the lesson");
    await bar(`${name}, right-handed`);
    await bay.stopDaemon();
    assert.equal(db("SELECT count(*) FROM player"), "1");
    assert.equal(await page.locator("#lesson b b, #lesson u, #lesson i").count(), 0, "markup stays text");
    assert.deepEqual(wrong.filter((w) => !/ERR_CONNECTION_REFUSED|WebSocket connection/.test(w)), []);
});

test("by keyboard alone", async () => {
    await bay.daemon();
    await page.goto(bay.url);
    await bar("no lesson");
    const reach = async (selector) => {
        for (let i = 0; i < 60; i++) {
            if (await page.evaluate((s) => document.activeElement?.matches(s), selector)) return;
            await page.keyboard.press("Tab");
        }
        assert.fail(`Tab does not reach ${selector}`);
    };
    await page.keyboard.press("l");
    await page.waitForSelector("#lesson:not([hidden])");
    await reach("#new-name");
    await page.keyboard.type("Player 12 l"); // its digits and its l are letters of the name
    assert.equal(await page.locator("#lesson").isVisible(), true);
    await reach("#new-foot");
    await page.keyboard.type("264");
    await reach("input[name=new-hand]");
    await page.keyboard.press("Space");
    await page.keyboard.press("ArrowDown");
    await page.keyboard.press("Enter");
    await bar("Player 12 l, left-handed");
    await until("the daemon knows the hand", async () => (await status()).hand === "left");
    await reach("input[name=kind]");
    await page.keyboard.press("ArrowDown");
    await reach("#block-club");
    await page.keyboard.type("driver");
    await page.keyboard.press("Enter");
    await bar("drill, driver, 0 swings");
    await reach("#bar-stop");
    await page.keyboard.press("Enter");
    await bar("no block is open");
    await reach("#lesson-end");
    await page.keyboard.press("Enter");
    await bar("no lesson");
    assert.deepEqual(wrong, []);
});

test("two browsers at once: all see the change, the second is told and overwrites nothing", async () => {
    await bay.daemon();
    const { page: other, wrong: otherWrong } = await watched(chrome.context);
    try {
        await page.goto(bay.url);
        await other.goto(bay.url);
        await Promise.all([bar("no lesson"), bar("no lesson", other)]);
        await newPlayer("Kim", "right");
        await bar("Kim, right-handed");
        await bar("Kim, right-handed", other);
        await startBlock("baseline", "yes", "7 iron");
        await bar("baseline, ball, 7 iron", other);
        const stop = (on) => on.evaluate(() => document.querySelector("#bar-stop").click());
        await Promise.all([stop(page), stop(other)]); // the same block
        await Promise.all([bar("no block is open"), bar("no block is open", other)]);
        assert.equal(db("SELECT count(*) FROM block"), "1");
        // both begin with another player, each from what it saw
        await other.click("nav >> text=Lesson");
        await page.click("#lesson-end");
        await Promise.all([bar("no lesson"), bar("no lesson", other)]);
        const fill = (on, name) => on.evaluate((n) => {
            document.querySelector("#new-name").value = n;
            document.querySelector("input[name=new-hand][value=left]").checked = true;
        }, name);
        await Promise.all([fill(page, "Zoe"), fill(other, "Sam")]);
        const submit = (on) => on.evaluate(() => document.querySelector("#new-form").requestSubmit());
        await Promise.all([submit(page), submit(other)]);
        const words = await Promise.all([page, other].map(async (p) => {
            await p.waitForFunction(() => document.querySelector("#lesson-told").textContent !== "");
            return p.textContent("#lesson-told");
        }));
        assert.equal(words.filter((w) => /has begun\./.test(w)).length, 1, words.join(" | "));
        assert.equal(words.filter((w) => /has begun meanwhile: look first/.test(w)).length, 1, words.join(" | "));
        assert.equal(db("SELECT count(*) FROM player"), "2", "who was told is not half stored");
        assert.equal(db("SELECT count(*) FROM session WHERE ended_utc_us IS NULL"), "1");
        assert.deepEqual([...wrong, ...otherWrong], []);
    } finally {
        await other.close();
    }
});

test("the lesson goes on when the daemon starts anew, and the command line's changes are seen", async () => {
    await bay.daemon();
    await page.goto(bay.url);
    await newPlayer("Kim", "left");
    await startBlock("drill", "no", "");
    await bay.stopDaemon();
    await page.waitForSelector("#line[data-kind=gone]");
    await bay.daemon();
    await bar("Kim, left-handed");
    await bar("drill, no ball, 0 swings");
    const underfoot = async (...words) => {
        const child = bay.start("src/cli/underfoot", ["--config", bay.path("underfoot.conf"), ...words], "underfoot");
        assert.equal(await child.ended, 0, child.output);
        return child.output;
    };
    await underfoot("block", "edit", "1", "--club", "wedge");
    await bar("drill, no ball, wedge, 0 swings");
    assert.match(await underfoot("status"), /Kim, left-handed, 0 swings[^]*1: drill, no ball, wedge, 0 swings/);
    await underfoot("block", "end");
    await bar("no block is open");
    assert.deepEqual(wrong.filter((w) => !/ERR_CONNECTION_REFUSED|WebSocket connection/.test(w)), []);
});

test("the health of the plates, with and without a device and a calibration", async () => {
    await bay.daemon();
    await page.goto(bay.url);
    await page.keyboard.press("4");
    await seen("never checked with a known weight");
    await seen("none: the cells' data sheets");
    await seen("No device:");
    await shoot("plates-no-device");
    await bay.stopDaemon();
    await bay.calibrate();
    await bay.daemon();
    bay.sim("empty:60");
    await seen("off its zero now, empty");
    await seen("made ");
    await seen("within a day");
    await seen("MB written, 0 bytes lost");
    await shoot("plates");
    await bay.unplug();
    await page.waitForSelector("#notes .bad");
    await page.waitForFunction(() => !document.body.innerText.includes("off its zero now"));
    await shoot("plates-unplugged");
    assert.deepEqual(wrong.filter((w) => !/ERR_CONNECTION_REFUSED|WebSocket connection/.test(w)), []);
});
