// SPDX-License-Identifier: MIT
// Comparing, sessions, players, and what is said of a swing, in a real browser against the real
// daemon. One bay with three lessons, made once; every text in it has markup.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { after, before, test } from "node:test";
import { one } from "./sqlite.js";
import { Bay, browser, build, until, watched } from "./harness.js";

const EVIL = ` <img src=x onerror="alert(1)"> & 'é'`;

let chrome, bay;
before(async () => {
    chrome = await browser();
    bay = new Bay(build);
    await bay.lessons(EVIL);
    await bay.daemon();
});
after(async () => {
    await chrome.end();
    await bay.end();
});

/** A page, and what it did wrong is nothing at the end. */
function look(name, work) {
    test(name, async () => {
        const { page, wrong } = await watched(chrome.context);
        let dialogs = 0;
        page.on("dialog", (d) => {
            dialogs++;
            d.dismiss();
        });
        try {
            await page.goto(bay.url);
            await page.waitForSelector("#line[data-kind=wait], #line[data-kind=stale]");
            await work(page);
            assert.deepEqual(wrong, []);
            assert.equal(dialogs, 0);
            assert.equal(await page.locator("img, script:not([src])").count(), 0, "markup became elements");
        } finally {
            await page.close();
        }
    });
}

const db = (sql) => one(bay.path("underfoot.db"), sql);
const reach = async (page, selector, key = "Tab") => {
    for (let i = 0; i < 80; i++) {
        if (await page.evaluate((s) => document.activeElement?.matches(s), selector)) return;
        await page.keyboard.press(key);
    }
    assert.fail(`Tab does not reach ${selector}`);
};
const settled = (page) => page.waitForSelector("#compare[data-waits=false] #compare-table tbody tr");
/** The first lesson of the player with two. */
async function firstSession(page) {
    await page.keyboard.press("6");
    await page.locator("#session-list button").last().click();
    await page.waitForSelector("#session-swings tr[data-counts=false]");
}

/** The table as text, name to cells. */
const table = (page) => page.evaluate(() => Object.fromEntries([...document.querySelectorAll("#compare tbody tr")].map((tr) => [tr.dataset.name, {
    cells: [...tr.cells].slice(1, 5).map((td) => td.firstChild.textContent), small: [...tr.querySelectorAll("td small")].map((s) => s.textContent), verdict: tr.dataset.verdict }])));

look("two blocks: the numbers of `underfoot compare`, to the digit", async (page) => {
    await firstSession(page);
    await page.click("#session-compare");
    await settled(page);
    const printed = (await bay.cli("compare", "blocks", "1", "2", "--all")).split("\n");
    const shown = await table(page);
    let compared = 0;
    for (const line of printed) {
        const [name, a, b, difference, needed, spreadA, spreadB] = line.trim().split(/\s+/);
        if (!Object.hasOwn(shown, name)) continue;
        const dash = (words) => (words === "-" ? "–" : words);
        assert.deepEqual(shown[name].cells, [a, b, difference, needed].map(dash), name);
        if (a !== "-") assert.match(shown[name].small[0], new RegExp(`^± ${spreadA.replace(".", "\\.")} of \\d+$`), name);
        if (b !== "-") assert.ok(shown[name].small.some((s) => s.startsWith(`± ${spreadB} of `)), name);
        assert.ok(line.includes(shown[name].verdict), `${name}: ${shown[name].verdict}`);
        compared++;
    }
    assert.equal(compared, Object.keys(shown).length, "every row of the page is a line of the command");
    assert.ok(compared > 60, `${compared} numbers`);
    assert.match(await page.textContent("#compare-head"), /^Changed: \d+ of 1[0-4] numbers/);
    const said = await page.textContent("#compare .left");
    for (const sentence of (await bay.cli("compare", "blocks", "1", "2")).split("\n").filter((s) => /swings are|pass by chance/.test(s))) assert.ok(said.includes(sentence), sentence);
    assert.ok(said.includes("Three swings are three swings"), "one of four is excluded");
    assert.match(await page.textContent("#compare-about"), /laid over each other at impact.*B: 1 swing excluded/s);
});

look("a scrubber moves time on curves and feet; A and B change places", async (page) => {
    await firstSession(page);
    await page.click("#session-compare");
    await settled(page);
    assert.equal(await page.textContent("#compare-scrub-text"), "impact");
    const picture = (id) => page.evaluate((i) => document.getElementById(i).toDataURL(), id);
    const before = await Promise.all(["compare-curves", "compare-feet"].map(picture));
    const share = await page.textContent("#compare-b-trail");
    await page.locator("#compare-scrub").focus();
    for (let i = 0; i < 40; i++) await page.keyboard.press("ArrowLeft");
    assert.equal(await page.textContent("#compare-scrub-text"), "200 ms before impact");
    assert.notEqual(await page.textContent("#compare-b-trail"), share);
    for (const [i, id] of ["compare-curves", "compare-feet"].entries()) assert.notEqual(await picture(id), before[i], id);
    const row = await page.textContent("#compare-table [data-name=target_peak_bw]");
    const numbers = await page.$$eval("#compare-table [data-name=target_peak_bw] td", (tds) => tds.slice(0, 2).map((td) => td.firstChild.textContent));
    await page.click("#compare-swap");
    await page.waitForFunction((was) => document.querySelector("#compare-table [data-name=target_peak_bw]").textContent !== was, row);
    assert.deepEqual(await page.$$eval("#compare-table [data-name=target_peak_bw] td", (tds) => tds.slice(0, 2).map((td) => td.firstChild.textContent)), numbers.reverse());
});

look("any two swings, chosen by keyboard alone", async (page) => {
    await page.keyboard.press("5");
    await settled(page);
    await reach(page, "#compare-what input");
    if (await page.isChecked("#compare-what input[value=blocks]")) await page.keyboard.press("ArrowRight");
    await page.waitForFunction(() => document.querySelector("#compare-what input[value=swings]").checked);
    const choose = async (id, words) => {
        await reach(page, `#${id}`);
        await page.waitForFunction(([i, w]) => [...document.getElementById(i).options].some((o) => o.textContent.includes(w)), [id, words]);
        for (let i = 0; i < 40; i++) {
            if ((await page.evaluate((k) => document.getElementById(k).selectedOptions[0]?.textContent || "", id)).includes(words)) return;
            await page.keyboard.press(i < 20 ? "ArrowDown" : "ArrowUp");
        }
        assert.fail(`${words} cannot be chosen in ${id}`);
    };
    await choose("compare-a-session", "Player 7");
    await choose("compare-a", "swing 10 ");
    await choose("compare-b", "swing 13 ");
    await page.waitForFunction(() => document.querySelector("#compare").dataset.waits === "false" && /^Too few|^Within|^Changed/.test(document.querySelector("#compare-head").textContent) &&
        document.querySelector("#compare-said").textContent.includes("different players"));
    const printed = await bay.cli("compare", "swings", "10", "13");
    const shown = await table(page);
    for (const name of ["trail_share_max_pct", "turn_peak_nm", "target_impulse_ns"]) {
        const cells = printed.split("\n").find((line) => line.startsWith(name)).split(/\s+/);
        assert.deepEqual(shown[name].cells, cells.slice(1, 5).map((w) => w.replace(/^-$/, "–")), name);
    }
    assert.ok((await page.textContent("#compare-said")).includes("different clubs"));
});

look("the same one twice, a block without a swing: said, and nothing is shown", async (page) => {
    await page.keyboard.press("5");
    await settled(page);
    await page.check("#compare-what input[value=blocks]");
    const a = await page.inputValue("#compare-a-session"), b = page.locator("#compare-b-session");
    await b.selectOption(a);
    await page.waitForFunction(() => /only one block|choose two/.test(document.querySelector("#compare-head").textContent));
    assert.equal(await page.locator("#compare-table tbody tr").count(), 0);
});

look("a session: blocks, notes, stars, what does not count and why; all text as text", async (page) => {
    await firstSession(page);
    const words = (await page.textContent("#sessions .picked")).replace(/\s+/g, " ");
    for (const part of [`Kim${EVIL}`, `rain${EVIL}`, `retest${EVIL}`, `7 iron${EVIL}`, `weight later${EVIL}`, `Does not count: stopped half way${EVIL}`, `felt easy${EVIL}`, "9 swings · 1 of them excluded", "4 swings · 3 count"])
        assert.ok(words.includes(part.replace(/\s+/g, " ")), part);
    const swings = () => page.locator("#session-swings tr[data-counts]").count();
    assert.equal(await swings(), 9);
    await page.check("#session-stars");
    assert.equal(await swings(), 2);
    await page.uncheck("#session-stars");
    const turn = await page.textContent("#session-swings tr[data-counts] >> nth=0 >> td >> nth=-1");
    assert.equal(turn, db("SELECT printf('%.0f N m', turn_peak_nm) FROM swing_metric JOIN derivation ON id = derivation_id WHERE swing_id = 1"));
    // into a swing of it, and back
    await page.click("#session-swings button[aria-label^='swing 3']");
    await page.waitForFunction(() => document.querySelector("#swing-title").textContent === "Swing 3" && document.querySelector("#star").textContent === "★ starred");
    await page.click("#swing-belongs button >> nth=0");
    await page.waitForSelector("#sessions:not([hidden])");
    // by date, by keyboard
    await reach(page, "#session-list li:first-child button");
    await page.keyboard.press("Enter");
    await page.waitForFunction(() => document.querySelectorAll("#session-swings tr[data-counts]").length === 4);
    assert.equal(await page.evaluate(() => document.activeElement.matches("#session-list li:first-child button")), true, "the focus stays");
});

look("a block that somebody opens is seen on the session's page at once", async (page) => {
    await page.keyboard.press("6");
    await page.locator("#session-list button").first().click();
    await page.waitForFunction(() => document.querySelectorAll("#session-swings .block").length === 1);
    await bay.cli("block", "start", "drill");
    await page.waitForFunction(() => document.querySelector("#session-swings").textContent.includes("open: new swings come here"));
    await bay.cli("block", "end");
    await page.waitForFunction(() => !document.querySelector("#session-swings").textContent.includes("open: new swings come here"));
});

look("a player: cautions, facts, months of one club; all text as text", async (page) => {
    await page.keyboard.press("7");
    await reach(page, "#player-filter");
    await page.keyboard.type("PLAYER");
    await page.waitForFunction(() => document.querySelectorAll("#player-list button").length === 1);
    assert.equal(await page.locator("#players").isVisible(), true, "letters in a field change no view");
    for (let i = 0; i < 6; i++) await page.keyboard.press("Backspace");
    await page.waitForFunction(() => document.querySelectorAll("#player-list button").length === 2);
    await page.click("#player-list button:has-text('Kim')");
    await page.waitForFunction(() => document.querySelector("#player-name").textContent.startsWith("Kim"));
    const words = await page.textContent("#players .picked");
    for (const part of [`Kim${EVIL}`, `Caution: lower back, 2021: no full turns on cold days${EVIL}`, `plays twice a week${EVIL}`, "264 mm", "1.78 m", "right-handed"])
        assert.ok(words.includes(part), part);
    await page.selectOption("#player-metric", "target_peak_bw");
    const [newest, oldest] = await page.$$eval("#player-sessions tbody tr", (trs) => trs.map((tr) => [...tr.cells].slice(2, 5).map((td) => td.textContent)));
    const mean = (swings) => db(`SELECT printf('%.3f BW', avg(target_peak_bw)) FROM swing_metric JOIN derivation ON id = derivation_id WHERE swing_id IN (${swings})`);
    assert.equal(oldest[0], mean("1, 2, 3, 4, 5, 6, 7, 8"));
    assert.equal(newest[0], mean("12, 13, 14, 15"));
    assert.match(oldest[1], /^± 0\.\d{3} BW$/);
    assert.deepEqual([oldest[2], newest[2]], ["8", "4"]);
    const picture = () => page.evaluate(() => document.querySelector("#player-trend").toDataURL());
    const before = await picture();
    await page.locator("#player-metric").focus();
    await page.keyboard.press("ArrowDown");
    await until("another number", async () => (await picture()) !== before);
    await page.click("#player-sessions button >> nth=0");
    await page.waitForSelector("#sessions:not([hidden])");
});

look("said of a swing: star, comment, reason, block; by keyboard, and stored", async (page) => {
    await firstSession(page);
    await page.click("#session-swings button[aria-label^='swing 2']");
    await page.waitForFunction(() => document.querySelector("#swing-title").textContent === "Swing 2" && !document.querySelector("#star").disabled);
    await page.evaluate(() => document.activeElement.blur());
    await page.keyboard.press("s");
    await page.waitForSelector("#star[aria-pressed=true]");
    await until("the star", async () => db("SELECT starred FROM swing WHERE id = 2") === "1");
    await reach(page, "#swing-comment");
    await page.keyboard.type(`4 words; sing no song${EVIL}`);
    await page.keyboard.press("Enter");
    await until("the comment", async () => db("SELECT comment FROM swing WHERE id = 2") === `4 words; sing no song${EVIL}`);
    await reach(page, "#exclude-reason");
    await page.keyboard.press("Enter");
    await page.waitForFunction(() => document.querySelector("#notes").textContent.includes("say why swing 2 does not count"));
    await page.keyboard.type(`tee broke${EVIL}`);
    await page.keyboard.press("Enter");
    await page.waitForFunction((e) => document.querySelector("#excluded").textContent === `Does not count: tee broke${e}`, EVIL);
    await reach(page, "#exclude");
    await page.keyboard.press("Enter");
    await page.waitForFunction(() => document.querySelector("#excluded").textContent === "");
    await until("it counts", async () => db("SELECT excluded_reason IS NULL FROM swing WHERE id = 2") === "1");
    await page.selectOption("#swing-block", "2");
    await until("the block", async () => db("SELECT block_id FROM swing WHERE id = 2") === "2");
    await page.selectOption("#swing-block", "1");
    await until("the block", async () => db("SELECT block_id FROM swing WHERE id = 2") === "1");
    await page.click("#swing-compare");
    await settled(page);
    assert.match(await page.evaluate(() => document.querySelector("#compare-b").selectedOptions[0].textContent), /^swing 2 /);
});

look("two browsers at once: the second is told, what it typed stays, nothing is overwritten", async (page) => {
    const { page: other, wrong } = await watched(chrome.context);
    let held = null; // news that are still on their way to the second one
    await other.routeWebSocket(/\/live$/, (browserSide) => {
        const daemon = browserSide.connectToServer();
        daemon.onMessage((text) => {
            if (held && /"type": ?"(remarks|swings)"/.test(text)) held.push(() => browserSide.send(text));
            else browserSide.send(text);
        });
    });
    await other.goto(bay.url);
    for (const p of [page, other]) {
        await p.waitForSelector("#line[data-kind=wait], #line[data-kind=stale]");
        await firstSession(p);
        await p.click("#session-swings button[aria-label^='swing 5']");
        await p.waitForFunction(() => document.querySelector("#swing-title").textContent === "Swing 5" && !document.querySelector("#star").disabled);
    }
    held = [];
    await page.fill("#swing-comment", "of the first");
    await page.click("#comment-save");
    await until("the first one's", async () => db("SELECT comment FROM swing WHERE id = 5") === "of the first");
    await other.fill("#swing-comment", "of the second");
    await other.click("#comment-save");
    await other.waitForFunction(() => document.querySelector("#notes").textContent.includes('swing 5 was changed meanwhile, it is now commented "of the first"'));
    assert.equal(db("SELECT comment FROM swing WHERE id = 5"), "of the first");
    const news = held;
    held = null;
    for (const tell of news) tell();
    await page.click("#star");
    await other.waitForSelector("#star[aria-pressed=true]"); // told without asking
    assert.equal(await other.inputValue("#swing-comment"), "of the second", "what somebody types stays");
    await other.click("#comment-save"); // now it is meant
    await page.waitForFunction(() => document.querySelector("#swing-comment").value === "of the second");
    assert.equal(db("SELECT comment || starred FROM swing WHERE id = 5"), "of the second1");
    await other.close();
    assert.deepEqual(wrong, []);
});

test("a link that may only look: it sees all of it, and changes nothing", async () => {
    await bay.stopDaemon();
    await bay.daemon("page.listen=0.0.0.0");
    const { page, wrong } = await watched(chrome.context);
    await page.goto(`${bay.url}#token=${readFileSync(bay.path("page-read.token"), "utf8").trim()}`);
    await firstSession(page);
    await page.click("#session-swings button[aria-label^='swing 4']");
    await page.waitForFunction(() => document.querySelector("#swing-title").textContent === "Swing 4" && document.querySelector("#swing-belongs button"));
    for (const id of ["star", "swing-block", "swing-comment", "comment-save", "exclude-reason", "exclude"]) assert.equal(await page.isDisabled(`#${id}`), true, id);
    await page.keyboard.press("s");
    const answer = await page.evaluate(() => new Promise((done) => {
        const socket = new WebSocket(`ws://${location.host}/live`, "underfoot");
        socket.onopen = () => socket.send(JSON.stringify({ ask: "enter", token: sessionStorage.getItem("token") }));
        socket.onmessage = (event) => {
            const message = JSON.parse(event.data);
            if (message.type === "hello") socket.send(JSON.stringify({ ask: "remark", id: 4, starred: true, seen: false }));
            if (message.type === "problem" && /may look/.test(message.text)) done(message.text);
        };
    }));
    assert.equal(answer, "this link may look, but not change anything");
    assert.equal(db("SELECT starred FROM swing WHERE id = 4"), "0");
    await page.close();
    assert.deepEqual(wrong, []);
});
