// SPDX-License-Identifier: MIT
// Whose lesson it is and which block is open: a bar that is always there, and the view in which the
// teacher begins, starts, stops and ends. What is asked for names what this screen showed, so that
// the daemon can refuse what another browser has overtaken.
import { cell, element, replace, row } from "./swing.js";

const $ = (id) => document.getElementById(id);
const MINE = ["begin", "end", "block", "block-end"];
const KINDS = ["baseline", "drill", "retest"];

export class LessonView {
    /** ask(question); go(view) */
    constructor(ask, go) {
        this.ask = ask;
        this.go = go;
        this.lesson = null;
        this.known = ""; // of what the list on the screen is
        this.mayWrite = false;
        this.touched = false; // the kind was chosen by hand
        $("lesson-open-view").addEventListener("click", () => go("lesson"));
        for (const id of ["bar-stop", "block-stop"]) $(id).addEventListener("click", () => this.send({ ask: "block-end" }));
        $("lesson-end").addEventListener("click", () => this.send({ ask: "end" }));
        this.form("choose-form", () => this.choose());
        this.form("new-form", () => this.add());
        this.form("block-form", () => this.start());
        $("block-kinds").addEventListener("change", () => (this.touched = true));
        $("block-other").addEventListener("input", () => {
            this.kind("other");
            this.touched = true;
        });
        document.addEventListener("keydown", (event) => {
            if (event.key !== "l" || event.ctrlKey || event.altKey || event.metaKey) return;
            if (event.target.matches("input:not([type=radio], [type=checkbox], [type=range]), textarea, select")) return;
            event.preventDefault();
            go("lesson");
        });
    }

    form(id, submit) {
        $(id).addEventListener("submit", (event) => {
            event.preventDefault();
            submit();
        });
    }

    send(question) {
        const block = this.lesson && this.lesson.block;
        this.say("");
        this.ask({ ...question, seen_session: this.lesson ? this.lesson.session : null, seen_block: block ? block.id : null });
    }

    choose() {
        const id = Number($("choose-player").value);
        if (id) this.send({ ask: "begin", player: id });
        else this.say("Choose a player from the list, or add a new one below.", true);
    }

    add() {
        const hand = document.querySelector("input[name=new-hand]:checked"), foot = $("new-foot").value.trim();
        if (!hand) return this.say("Say whether the player is right-handed or left-handed: the lead foot follows from it.", true);
        this.send({ ask: "begin", new: { name: $("new-name").value, hand: hand.value, foot_length_mm: foot === "" ? null : Number(foot), cautions: $("new-cautions").value } });
    }

    start() {
        const kind = document.querySelector("input[name=kind]:checked").value, ball = document.querySelector("input[name=ball]:checked").value;
        this.send({
            ask: "block", kind: kind === "other" ? $("block-other").value : kind, ball: ball === "" ? null : ball === "yes",
            club: $("block-club").value, note: $("block-note").value,
        });
    }

    kind(word) {
        document.querySelector(`input[name=kind][value=${word}]`).checked = true;
    }

    say(words, bad = false) {
        $("lesson-told").textContent = words;
        $("lesson-told").className = bad ? "bad" : "";
    }

    /* ---- what the daemon says ---- */

    hello(mayWrite) {
        this.mayWrite = mayWrite;
        this.known = "";
        for (const input of document.querySelectorAll("#lesson button, #lesson input, #lesson select, #lesson textarea, #bar-stop")) input.disabled = !mayWrite;
        if (!mayWrite) this.say("This link may look, but not change anything.");
    }

    state(message) {
        const lesson = message.lesson, named = lesson && lesson.player !== null ? lesson : null, block = lesson && lesson.block;
        const other = (this.lesson ? this.lesson.session : 0) !== (lesson ? lesson.session : 0);
        this.lesson = lesson;
        $("now-player").textContent = named ? `${named.player}, ${named.hand}-handed` : "no lesson: swings are kept without a player";
        $("now-block").textContent = block ? blockWords(block) : named ? `no block is open, ${count(named.swings)} in all` : "";
        $("open-lesson").dataset.kind = block ? "block" : named ? "lesson" : "none";
        $("bar-stop").hidden = !block;
        $("lesson-open-view").textContent = named ? "Start a block" : "Begin a lesson";
        $("lesson-open-view").hidden = Boolean(named && block);
        $("lesson-open").hidden = !named;
        if (named) {
            $("lesson-player").textContent = named.player;
            const since = new Date(named.started_utc_us / 1000);
            $("lesson-about").textContent = `${named.hand}-handed; since ${since.toLocaleTimeString()}; ${count(named.swings)}`;
            $("lesson-cautions").textContent = named.cautions || "";
            $("lesson-cautions").hidden = !named.cautions;
        }
        $("lesson-begin").querySelector("summary").textContent = named ? "With another player" : "Begin a lesson";
        if (other || this.known === "") $("lesson-begin").open = !named;
        $("block-now").textContent = block ? blockWords(block) : named ? "No block is open: swings belong to the lesson alone." : "A block is a part of a lesson: begin one first.";
        $("block-stop").hidden = !block;
        $("block-start").textContent = block ? "Stop it and start this one" : "Start the block";
        $("lesson-what").dataset.open = String(Boolean(named));
        $("block-start").disabled = !named || !this.mayWrite;
        if (other) this.touched = false;
        this.look();
    }

    /** Asks for the list where what it shows has changed. */
    look() {
        const l = this.lesson, now = l ? `${l.session} ${l.player_id} ${l.block ? l.block.id : 0} ${l.swings}` : "none";
        if (!this.mayWrite || now === this.known || document.body.dataset.view !== "lesson") return;
        this.known = now;
        this.ask({ ask: "lesson" });
    }

    list(message) {
        const chosen = $("choose-player").value;
        replace($("choose-player"), [
            element("option", { value: "", textContent: message.players.length ? "choose a player" : "nobody yet: add a new player" }),
            ...message.players.map((p) => element("option", { value: String(p.id), textContent: `${p.name}, ${p.hand}-handed` }))]);
        $("choose-player").value = message.players.some((p) => String(p.id) === chosen) ? chosen : "";
        replace($("clubs"), message.clubs.map((c) => element("option", { value: c.club })));
        const last = message.blocks[message.blocks.length - 1];
        if (!this.touched) this.kind(KINDS[Math.min(last ? KINDS.indexOf(last.kind) + 1 : 0, KINDS.length - 1)]);
        replace($("lesson-blocks").tBodies[0], message.blocks.map((b) => row(
            element("th", { scope: "row", textContent: String(b.id) }), cell(b.kind),
            cell(b.ball === null ? "" : b.ball ? "ball" : "no ball"), cell(b.club || ""),
            cell(`${b.swings}${b.excluded ? ` (${b.excluded} excluded)` : ""}`, "number"),
            cell(`${clock(b.started_utc_us)} – ${b.ended_utc_us === null ? "open" : clock(b.ended_utc_us)}`))));
        $("lesson-blocks").hidden = !message.blocks.length;
    }

    answer(message) {
        if (!MINE.includes(message.ask)) return;
        this.say(message.text);
        if (message.ask === "begin") {
            $("new-form").reset();
            $("choose-player").value = "";
        }
        if (message.ask === "block") {
            $("block-note").value = "";
            this.touched = false;
        }
    }

    problem(message) {
        if (MINE.includes(message.ask)) this.say(message.text, true);
    }
}

function blockWords(b) {
    return [b.kind, b.ball === null ? "" : b.ball ? "ball" : "no ball", b.club || "", count(b.swings)].filter((w) => w).join(", ");
}
const count = (n) => (n === 1 ? "1 swing" : `${n} swings`);
const clock = (utc_us) => new Date(utc_us / 1000).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
