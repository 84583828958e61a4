// SPDX-License-Identifier: MIT
// The sessions by date, and one of them: its blocks, and the swings of each with what was said.
import { ballWords, dayWords, hour, swings } from "./compare.js";
import { cell, element, number, replace, row } from "./swing.js";
import { SHORT } from "./lists.js";

const $ = (id) => document.getElementById(id);

export class SessionView {
    /** ask(question); open: swing(id), player(id), compare(what, a, b). */
    constructor(ask, open) {
        this.ask = ask;
        this.open = open;
        this.list = null;
        this.session = null;
        this.want = 0;
        $("session-stars").addEventListener("change", () => this.fill());
        $("session-compare").addEventListener("click", () => {
            const blocks = this.counting(), side = (b) => ({ session: this.session.id, id: b.id });
            if (blocks.length > 1) this.open.compare("blocks", side(blocks[0]), side(blocks[blocks.length - 1]));
        });
    }

    enter() {
        this.ask({ ask: "sessions" });
        if (this.want) this.ask({ ask: "session", id: this.want });
    }

    /** From elsewhere: this one. */
    choose(id) {
        this.want = id;
        this.ask({ ask: "session", id });
        this.fillList();
    }

    takeSessions(message) {
        this.list = message.rows;
        if (!this.want && this.list.length) this.choose(this.list[0].id);
        this.fillList();
    }

    takeSession(message) {
        if (message.id !== this.want) return;
        this.session = message;
        this.fill();
    }

    fillList() {
        if (!this.list) return;
        const focused = document.activeElement?.dataset?.session;
        replace($("session-list"), this.list.map((s) => item("session", s.id, s.id === this.want, [dayWords(s.utc_us), s.player || "nobody named",
            `${swings(s.swings)}${s.starred ? `, ${s.starred} ★` : ""}`], () => this.choose(s.id))));
        if (!this.list.length) replace($("session-list"), [element("li", { textContent: "No session is stored yet." })]);
        if (focused) $("session-list").querySelector(`[data-session="${focused}"]`)?.focus();
    }

    counting() {
        return this.session.blocks.filter((b) => this.session.rows.some((r) => r.block === b.id && r.excluded === null));
    }

    fill() {
        const s = this.session;
        if (!s) return;
        const a = s.about;
        $("session-title").textContent = dayWords(a.utc_us);
        replace($("session-about"), [
            a.player_id === null ? element("span", { textContent: "Nobody was named." }) : link(a.player, () => this.open.player(a.player_id)),
            element("span", { textContent: [swings(a.swings), a.excluded ? `${a.excluded} of them excluded` : "", a.ended_utc_us === null ? "still open" : `ended ${hour(a.ended_utc_us)}`, a.note || ""].filter(Boolean).join(" · ") })]);
        $("session-compare").hidden = this.counting().length < 2;
        $("session-more").textContent = s.rows.length < a.swings ? `Of ${a.swings} swings these are the newest ${s.rows.length}.` : "";
        const groups = [...s.blocks.map((b) => [b, s.rows.filter((r) => r.block === b.id)]), [null, s.rows.filter((r) => r.block === null)]];
        const only = $("session-stars").checked;
        replace($("session-swings").tHead, [row(...["swing", "time", ...s.columns.map((c) => SHORT[c.name] || c.meaning)].map((words) => element("th", { scope: "col", textContent: words })))]);
        replace($("session-swings").tBodies[0], groups.flatMap(([block, rows]) => {
            const shown = rows.filter((r) => !only || r.starred).sort((p, q) => p.id - q.id);
            if (!block && !shown.length) return [];
            return [this.heading(block, rows), ...shown.flatMap((r) => this.lines(r))];
        }));
        if (!s.rows.length && !s.blocks.length) replace($("session-swings").tBodies[0], [row(cell("No swing came in this session."))]);
    }

    heading(block, rows) {
        const counted = rows.filter((r) => r.excluded === null).length;
        const head = element("th", { scope: "rowgroup", colSpan: 2 + this.session.columns.length, className: "block" });
        head.append(element("b", { textContent: block ? block.kind : "In no block" }),
            ` ${[block?.club, block ? ballWords(block.ball) : "", swings(rows.length), counted < rows.length ? `${counted} count` : "", block && block.ended_utc_us === null ? "open: new swings come here" : ""].filter(Boolean).join(" · ")}`);
        if (block && block.note) head.append(element("span", { className: "said", textContent: block.note }));
        return row(head);
    }

    lines(r) {
        const open = link(`${r.id}${r.flags ? " !" : ""}${r.starred ? " ★" : ""}`, () => this.open.swing(r.id));
        open.ariaLabel = `swing ${r.id}${r.flags ? ", something is wrong with it" : ""}${r.starred ? ", starred" : ""}`;
        const head = element("th", { scope: "row" });
        head.append(open);
        const tr = row(head, cell(hour(r.utc_us, true)), ...r.values.map((v, i) => cell(number({ ...this.session.columns[i], value: v }), "number")));
        tr.dataset.counts = String(r.excluded === null);
        const said = [r.excluded === null ? "" : `Does not count: ${r.excluded}`, r.comment || ""].filter(Boolean);
        return said.length ? [tr, row(element("td"), element("td", { colSpan: 1 + this.session.columns.length, className: "said", textContent: said.join(" · ") }))] : [tr];
    }
}

/** One entry of a list to choose from. */
export function item(name, id, chosen, words, choose) {
    const button = element("button", { type: "button" });
    button.append(...words.map((w, i) => element(i ? "span" : "b", { textContent: w })));
    button.dataset[name] = id;
    button.setAttribute("aria-current", String(chosen));
    button.addEventListener("click", choose);
    const li = element("li");
    li.append(button);
    return li;
}

export function link(words, follow) {
    const button = element("button", { type: "button", className: "link", textContent: words });
    button.addEventListener("click", follow);
    return button;
}
