// SPDX-License-Identifier: MIT
// What is said of the shown swing: star, comment, block, that it does not count and why. Each change
// names what was seen here, so that of two browsers the second is told, not obeyed.
import { blockWords, dayWords, options } from "./compare.js";
import { element, replace } from "./swing.js";
import { link } from "./session.js";

const $ = (id) => document.getElementById(id);

export class Remarks {
    /** ask(question); open: session(id), player(id), compare(what, a, b). */
    constructor(ask, open) {
        this.ask = ask;
        this.open = open;
        this.now = null;
        this.mayWrite = false;
        this.typed = false; // a comment that is not stored yet: it stays, whatever comes
        $("swing-comment").addEventListener("input", () => (this.typed = true));
        $("star").addEventListener("click", () => this.star());
        $("remark").addEventListener("click", () => $("swing-comment").focus());
        $("swing-block").addEventListener("change", () => this.put("block", Number($("swing-block").value)));
        $("swing-compare").addEventListener("click", () => {
            const side = { session: this.now.session, id: this.now.id };
            this.open.compare("swings", { session: side.session, id: 0 }, side);
        });
        $("remarks").addEventListener("submit", (event) => {
            event.preventDefault();
            if (document.activeElement === $("exclude-reason") || event.submitter === $("exclude")) this.exclude();
            else this.put("comment", $("swing-comment").value.trim());
        });
    }

    /** Another swing is shown. */
    show(id) {
        if (this.now && this.now.id === id) return this.ask({ ask: "remarks", id });
        this.now = null;
        this.typed = false;
        for (const field of ["swing-comment", "exclude-reason"]) $(field).value = "";
        this.fill();
        this.wanted = id;
        this.ask({ ask: "remarks", id });
    }

    take(message) {
        if (message.id !== this.wanted) return;
        this.now = message;
        if ($("swing-comment").value.trim() === (message.comment || "")) this.typed = false;
        if (!this.typed) $("swing-comment").value = message.comment || "";
        this.fill();
    }

    may(write) {
        this.mayWrite = write;
        this.fill();
    }

    fill() {
        const now = this.now, off = !now || !this.mayWrite;
        for (const id of ["star", "swing-block", "swing-comment", "comment-save", "exclude-reason", "exclude", "remark"]) $(id).disabled = off;
        $("swing-compare").disabled = !now;
        $("star").setAttribute("aria-pressed", String(Boolean(now && now.starred)));
        $("star").textContent = now && now.starred ? "★ starred" : "☆ star";
        options($("swing-block"), [{ id: 0, words: "in no block" }, ...(now ? now.blocks : []).map((b) => ({ id: b.id, words: blockWords(b) }))], now && now.block !== null ? now.block : 0);
        const out = Boolean(now && now.excluded !== null);
        $("excluded").textContent = out ? `Does not count: ${now.excluded}` : "";
        $("exclude-reason").parentElement.hidden = out;
        $("exclude").textContent = out ? "Let it count again" : "Does not count";
        if (out) $("exclude-reason").value = "";
        replace($("swing-belongs"), now ? [link(dayWords(now.session_utc_us), () => this.open.session(now.session)),
            now.player === null ? element("span", { textContent: "nobody named" }) : link(now.player, () => this.open.player(now.player_id)),
            element("span", { textContent: [this.block(), now.comment || ""].filter(Boolean).join(" · ") }), ...(out ? [element("b", { textContent: `does not count: ${now.excluded}` })] : [])] : []);
        replace($("extras"), now && now.extras.length ? [element("p", { textContent: now.extras.map((e) => `${e.name.replaceAll("_", " ")} ${e.original} (${e.source})`).join("; ") })] : []);
    }

    /** Its block, in words. */
    block() {
        const block = this.now.blocks.find((b) => b.id === this.now.block);
        return block ? blockWords(block) : "in no block";
    }

    star() {
        if (this.now && this.mayWrite) this.put("starred", !this.now.starred);
    }

    exclude() {
        if (this.now.excluded !== null) this.put("excluded", null);
        else this.put("excluded", $("exclude-reason").value.trim());
    }

    put(what, value) {
        const seen = what === "starred" ? Boolean(this.now.starred) : what === "block" ? this.now.block || 0 : this.now[what] || "";
        this.ask({ ask: "remark", id: this.now.id, [what]: value, seen });
        if (value === "" && what === "excluded") return; // will be refused
        this.now[what] = what === "starred" ? Number(value) : value || null; // for whoever is quicker than the answer
        this.fill();
    }

    /** Refused: what is stored is shown again, but for text that was typed. */
    refused() {
        delete $("swing-block").dataset.text;
        if (this.now) this.ask({ ask: "remarks", id: this.now.id });
    }
}
