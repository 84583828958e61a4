// SPDX-License-Identifier: MIT
// The report of a lesson, made from simulated recordings and printed by a real browser: at most two
// pages of A4, nothing loaded, nothing outside of its picture, typed text as text.
// node --test tests/browser/report.test.js, with the build folder in UNDERFOOT_BUILD.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { test } from "node:test";
import { pathToFileURL } from "node:url";
import { aBayForEach, bay, build, page, wrong } from "./harness.js";


aBayForEach();

const program = (name, ...args) =>
    execFileSync(`${build}/${name}`, ["--config", bay.path("underfoot.conf"), ...args], { encoding: "utf8", stdio: ["ignore", "pipe", "pipe"] });
const underfoot = (...args) => program("src/cli/underfoot", ...args);

/** The database of a lesson that is over, as fast as the daemon reads its recording. */
async function lesson(acts, hand = "right") {
    const recording = bay.path("lesson.ufr");
    program("src/sim/program/underfoot-sim", "--rate", "250", "--hand", hand, "--lesson", acts, "--out", recording);
    await bay.calibrate();
    const child = bay.start("daemon/underfootd", ["--config", bay.path("underfoot.conf"), ...[
        "page.serve=off", "link.type=replay", "link.pace=fast", `link.device=${recording}`, `golfer.handedness=${hand}`,
    ].flatMap((s) => ["--set", s])], "daemon");
    assert.equal(await child.ended, 0, child.output);
    return JSON.parse(underfoot("swings", "--last", "0", "--json")).length;
}

/** Opens and prints it: the text, and what was requested. */
async function print(...args) {
    const file = bay.path("report.html"), asked = [];
    underfoot("report", "--force", "--out", file, ...args);
    page.on("request", (request) => asked.push(request.url()));
    await page.goto(pathToFileURL(file).href);
    const pdf = (await page.pdf({ preferCSSPageSize: true })).toString("latin1");
    const sheets = pdf.match(/\/Type \/Page\b/g).length;
    assert.ok(sheets >= 1 && sheets <= 2, `${sheets} pages`);
    assert.match(pdf, /\/MediaBox \[0 0 59[45]\.?\d* 84[12]/, "A4");
    assert.deepEqual(asked, [pathToFileURL(file).href], "one request, for the file itself");
    assert.equal(await page.evaluate(() => document.querySelectorAll("script, link, img, iframe").length), 0);
    const outside = await page.evaluate(() => [...document.querySelectorAll("svg text")].filter((t) => {
        const b = t.getBoundingClientRect(), s = t.closest("svg").getBoundingClientRect();
        return b.left < s.left - 1 || b.right > s.right + 1 || b.top < s.top - 1 || b.bottom > s.bottom + 1;
    }).map((t) => t.textContent));
    assert.deepEqual(outside, [], "words outside of their picture");
    const wide = await page.evaluate(() => [...document.body.querySelectorAll("*")].filter((e) =>
        !e.closest("svg") && e.getBoundingClientRect().right > document.body.getBoundingClientRect().right + 1).map((e) => e.outerHTML.slice(0, 80)));
    assert.deepEqual(wide, [], "wider than the paper");
    assert.deepEqual(wrong.filter((w) => w !== `foreign request: ${pathToFileURL(file).href}`), []);
    return page.textContent("body");
}

test("a lesson with baseline and retest", async () => {
    assert.equal(await lesson("demo"), 7);
    underfoot("player", "add", "Kim", "--hand", "right", "--foot-mm", "268", "--cautions", "left knee, 2019");
    underfoot("session", "edit", "1", "--player", "Kim", "--fault", "weight too late", "--focus", "trail_share_top_pct");
    for (const kind of ["baseline", "drill", "retest"]) underfoot("block", "add", "1", kind, "--club", "7 iron");
    underfoot("swing", "label", "1", "1", "2", "3");
    underfoot("swing", "label", "3", "5", "6", "7");
    const text = await print();
    for (const words of ["Nobody was measured", "left knee, 2019", "weight too late", "Before and after", "sensed in 6 of 6 swings"])
        assert.ok(text.includes(words), words);
    assert.equal(await page.evaluate(() => document.querySelectorAll("svg").length), 4, "strip, feet, feet, curves");
});

test("left-handed, twelve swings, and as much text as fits into the database", async () => {
    const name = `<xmp onload="x()">'&amp; ${"Ærø ".repeat(26)}`.trim(), note = "wide <b>words</b> & more; ".repeat(76);
    const swings = await lesson(`empty:5,walk_on,stand:1,${"address,ball,".repeat(12)}step_off,empty:1`, "left");
    assert.ok(swings >= 12, `${swings} swings`);
    underfoot("player", "add", name, "--hand", "left", "--cautions", note);
    underfoot("session", "edit", "1", "--player", name, "--note", note, "--fault", "x".repeat(199), "--focus", "cop_line_at_lead_arm_level_deg");
    for (let i = 0; i < 14; i++) underfoot("block", "add", "1", name, "--club", name, "--note", note);
    underfoot("swing", "label", "1", "1", "2", "3", "4", "5");
    underfoot("swing", "label", "14", "6", "7", "8", "9", "10");
    const text = await print();
    assert.ok(text.includes(note.trim()), "cautions are whole");
    assert.ok((await page.textContent("h1")).startsWith(name.slice(0, 40)));
    assert.equal(await page.evaluate(() => document.querySelectorAll("xmp, dd b").length), 0);
});

test("one swing without a strike, and nobody was named", async () => {
    assert.equal(await lesson("empty:5,walk_on,stand:1,address,no_ball,stand:1,step_off,empty:1"), 1);
    const text = await print("--focus", "turn_peak_to_impact_ms");
    for (const words of ["nobody was named", "Not measured", "estimated from the forces, not measured", "the one swing"])
        assert.ok(text.includes(words), words);
});
