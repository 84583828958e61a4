// SPDX-License-Identifier: MIT
// For the browser tests: the real daemon, simulated plates on a pty, Debian's Chromium. Everything
// that is started is ended, and nothing outside this machine can be reached unnoticed.
import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { existsSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { createConnection } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { after, afterEach, before, beforeEach } from "node:test";
import { chromium } from "playwright-core";
import { run } from "./sqlite.js";

export const wait = (ms) => new Promise((done) => setTimeout(done, ms));

export async function until(what, condition, ms = 20000) {
    const end = Date.now() + ms;
    for (;;) {
        const value = await condition();
        if (value) return value;
        if (Date.now() > end) throw new Error(`not within ${ms} ms: ${what}`);
        await wait(20);
    }
}

/** A folder with a daemon and a simulator in it. */
export class Bay {
    constructor(build) {
        this.build = build;
        this.folder = mkdtempSync(join(tmpdir(), "underfoot_browser_"));
        this.children = [];
        writeFileSync(this.path("underfoot.conf"), `[daemon]
database = ${this.path("underfoot.db")}
control = ${this.path("control")}
[link]
type = raw
device = ${this.path("board")}
`);
    }

    path(name) {
        return join(this.folder, name);
    }

    start(program, args, log) {
        const child = spawn(join(this.build, program), args, { stdio: ["ignore", "pipe", "pipe"] });
        child.output = "";
        for (const stream of [child.stdout, child.stderr]) stream.on("data", (text) => (child.output += text));
        child.ended = new Promise((done) => child.on("exit", (code) => {
            child.over = true;
            done(code);
        }));
        child.what = log;
        this.children.push(child);
        return child;
    }

    async daemon(...settings) {
        const set = [`page.port=${this.port || 0}`, ...settings].flatMap((s) => ["--set", s]);
        this.process = this.start("daemon/underfootd", ["--config", this.path("underfoot.conf"), ...set], "daemon");
        this.port = (await until("the daemon answers", async () => {
            if (this.process.over) throw new Error(`the daemon ended:\n${this.process.output}`);
            return existsSync(this.path("control")) && (await this.ask({ ask: "status" }).catch(() => null));
        })).page_port;
        this.url = `http://127.0.0.1:${this.port}/`;
    }

    /** On the control socket. */
    ask(question) {
        return new Promise((done, failed) => {
            const socket = createConnection(this.path("control"));
            let text = "";
            socket.on("error", failed);
            socket.on("data", (more) => {
                text += more;
                if (!text.endsWith("\n")) return;
                socket.destroy();
                done(JSON.parse(text));
            });
            socket.write(JSON.stringify(question) + "\n");
        });
    }

    async stopDaemon() {
        this.process.kill("SIGTERM");
        const code = await this.process.ended;
        if (code !== 0 || /did not end cleanly/.test(this.process.output))
            throw new Error(`the daemon ended with ${code}:\n${this.process.output}`);
    }

    /** The lesson's words, as underfoot-sim takes them. At 250 Hz, so that a pty holds half a second of it. */
    sim(lesson, ...args) {
        this.board = this.start("src/sim/program/underfoot-sim", ["--rate", "250", "--lesson", lesson, "--pty", this.path("board"), ...args], "sim");
        return this.board;
    }

    /** Empty plates until there is a zero, however busy the machine is. */
    async zero(...args) {
        this.sim("empty:60", ...args);
        await until("a zero", async () => (await this.ask({ ask: "status" })).tared, 40000);
        await this.unplug();
    }

    async calibrate() {
        const file = this.path("calibration.json"), conf = ["--config", this.path("underfoot.conf")];
        for (const [program, args] of [
            ["src/sim/program/underfoot-sim", ["--lesson", "short", "--calibration", file, "--out", "/dev/null"]],
            ["calib/underfoot-calib", [...conf, "add", file, "--activate"]]]) {
            const child = this.start(program, args, program);
            if ((await child.ended) !== 0) throw new Error(`${program}: ${child.output}`);
        }
    }

    /** `underfoot WORDS`; what it printed. */
    async cli(...words) {
        const child = this.start("src/cli/underfoot", ["--config", this.path("underfoot.conf"), ...words], "underfoot");
        if ((await child.ended) !== 0) throw new Error(`underfoot ${words.join(" ")}: ${child.output}`);
        return child.output;
    }

    /** What of a lesson ends, and ends well. */
    async done(program, ...args) {
        const child = this.start(program, args, program);
        if ((await child.ended) !== 0) throw new Error(`${program}: ${child.output}`);
    }

    /** The swings of a recorded lesson into the database, by a daemon of its own: the same however busy the machine is. */
    async record(lesson, ...args) {
        const file = this.path("lesson.ufr");
        await this.done("src/sim/program/underfoot-sim", "--rate", "250", "--lesson", `empty:8,walk_on,${lesson}`, "--out", file, ...args);
        await this.done("daemon/underfootd", "--config", this.path("underfoot.conf"), ...["page.port=0", "link.type=replay", "link.pace=fast", `link.device=${file}`].flatMap((s) => ["--set", s]));
        rmSync(file);
    }

    /**
     * Before the daemon: two sessions of one player and one of another, with the given markup in every text; 4 blocks,
     * 15 swings.
     */
    async lessons(evil = "") {
        const same = ["--seed", "5", "--skill", "0.9"], after = [...same, "--style", "slider"];
        await this.record("ball*5", ...same);
        await this.cli("player", "add", `Kim${evil}`, "--hand", "right", "--foot-mm", "264", "--stature-mm", "1780", "--cautions", `lower back, 2021: no full turns on cold days${evil}`, "--note", `plays twice a week${evil}`);
        await this.cli("player", "add", "Player 7", "--hand", "left");
        await this.cli("session", "start", `Kim${evil}`, "--note", `rain${evil}`);
        await this.cli("block", "start", "baseline", "--ball", "--club", `7 iron${evil}`);
        await this.cli("block", "start", `retest${evil}`, "--ball", "--club", `7 iron${evil}`, "--note", `weight later${evil}`);
        await this.record("ball*4", ...after);
        await this.cli("session", "end");
        await this.cli("session", "start", "Player 7");
        await this.cli("block", "start", "baseline", "--no-ball");
        await this.record("no_ball*2", "--hand", "left", "--seed", "9");
        await this.cli("session", "start", `Kim${evil}`);
        await this.cli("block", "start", "baseline", "--ball", "--club", `7 iron${evil}`);
        await this.record("ball*4", ...after);
        await this.cli("block", "end");
        run(this.path("underfoot.db"), [[1, 5, 1], [6, 9, 2], [10, 11, 3], [12, 15, 4]].map(([from, to, block]) =>
            `UPDATE swing SET block_id = ${block}, session_id = (SELECT session_id FROM block WHERE id = ${block}) WHERE id BETWEEN ${from} AND ${to};`).join("\n"));
        await this.cli("swing", "star", "3", "8");
        await this.cli("swing", "exclude", "9", "--reason", `stopped half way${evil}`);
        await this.cli("swing", "comment", "3", `felt easy${evil}`);
    }

    async unplug() {
        this.board.kill("SIGKILL");
        await this.board.ended;
    }

    async end() {
        for (const child of this.children) if (!child.over) child.kill("SIGKILL");
        await Promise.all(this.children.map((child) => child.ended));
        rmSync(this.folder, { recursive: true, force: true });
    }
}

/** One browser with a new, empty profile. */
export async function browser(options = {}) {
    const profile = mkdtempSync(join(tmpdir(), "underfoot_chromium_"));
    const context = await chromium.launchPersistentContext(profile, {
        executablePath: "/usr/bin/chromium",
        headless: true,
        viewport: { width: 1280, height: 800 },
        colorScheme: "dark",
        args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
            "--disable-component-update", "--disable-sync"],
        ...options,
    });
    return {
        context,
        async end() {
            await context.close();
            rmSync(profile, { recursive: true, force: true });
        },
    };
}

/** A page that writes down what it must not do. */
export async function watched(context) {
    const page = await context.newPage(), wrong = [];
    page.setDefaultTimeout(20000);
    page.on("console", (message) => {
        if (message.type() === "error" || message.type() === "warning") wrong.push(message.text());
    });
    page.on("pageerror", (error) => wrong.push(String(error)));
    page.on("request", (request) => {
        if (!/^(http|ws):\/\/127\.0\.0\.1:/.test(request.url())) wrong.push(`foreign request: ${request.url()}`);
    });
    page.on("websocket", (socket) => {
        if (!/^ws:\/\/127\.0\.0\.1:/.test(socket.url())) wrong.push(`foreign socket: ${socket.url()}`);
    });
    return { page, wrong };
}

export const build = process.env.UNDERFOOT_BUILD;
export let bay, chrome, page, wrong;

/** For the tests of a file: one browser, and to each test a bay of its own and a page that is watched. */
export function aBayForEach() {
    assert.ok(build, "set UNDERFOOT_BUILD to the build folder");
    before(async () => (chrome = await browser()));
    after(async () => chrome.end());
    beforeEach(async () => {
        bay = new Bay(build);
        ({ page, wrong } = await watched(chrome.context));
    });
    afterEach(async () => {
        await page.close();
        await bay.end();
    });
}
