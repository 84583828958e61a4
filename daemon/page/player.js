// SPDX-License-Identifier: MIT
// The players, and one of them: what to look out for, and a number over the months. Each point is a
// session with one club: numbers of different clubs are not compared.
import { begin, colour, niceStep, text } from "./draw.js";
import { ballWords, day, dayWords, hour, options, swings } from "./compare.js";
import { cell, element, number, replace, row } from "./swing.js";
import { item, link } from "./session.js";

const LEFT = 64, RIGHT = 14, TOP = 16, BOTTOM = 46;
const FEW = 3; // with fewer swings a session has no spread to speak of

const $ = (id) => document.getElementById(id);

export class PlayerView {
    /** ask(question); open: session(id). */
    constructor(ask, open) {
        this.ask = ask;
        this.open = open;
        this.list = null;
        this.player = null;
        this.want = 0;
        this.metric = localStorage.getItem("trend") || "";
        this.club = 0;
        $("player-filter").addEventListener("input", () => this.fillList());
        $("player-metric").addEventListener("change", () => {
            this.metric = $("player-metric").value;
            localStorage.setItem("trend", this.metric);
            this.fillTrend();
        });
        $("player-club").addEventListener("change", () => {
            this.club = Number($("player-club").value);
            this.fillTrend();
        });
    }

    enter() {
        this.ask({ ask: "players" });
        if (this.want) this.ask({ ask: "player", id: this.want });
    }

    choose(id) {
        if (id !== this.want) this.club = 0;
        this.want = id;
        this.ask({ ask: "player", id });
        this.fillList();
    }

    takePlayers(message) {
        this.list = message.rows;
        if (!this.want && this.list.length) this.choose(this.list[0].id);
        this.fillList();
    }

    takePlayer(message) {
        if (message.id !== this.want) return;
        this.player = message;
        this.fill();
    }

    fillList() {
        if (!this.list) return;
        const wanted = $("player-filter").value.trim().toLocaleLowerCase(), focused = document.activeElement?.dataset?.player;
        const shown = this.list.filter((p) => p.name.toLocaleLowerCase().includes(wanted));
        replace($("player-list"), shown.map((p) => item("player", p.id, p.id === this.want, [p.name,
            `${p.hand}-handed`, p.sessions ? `${p.sessions === 1 ? "1 session" : `${p.sessions} sessions`}, ${swings(p.swings)}` : "no session yet"], () => this.choose(p.id))));
        if (!shown.length) replace($("player-list"), [element("li", { textContent: this.list.length ? "No name has that in it." : "No player is stored yet." })]);
        if (focused) $("player-list").querySelector(`[data-player="${focused}"]`)?.focus();
    }

    fill() {
        const p = this.player, a = p.about;
        $("player-name").textContent = a.name;
        $("player-cautions").hidden = !a.cautions;
        $("player-cautions").textContent = a.cautions ? `Caution: ${a.cautions}` : "";
        const facts = [["Swings", `${a.hand}-handed`], ["Foot length", a.foot_length_mm === null ? "not known" : `${a.foot_length_mm.toFixed(0)} mm`],
            ["Stature", a.stature_mm === null ? "not known" : `${(a.stature_mm / 1000).toFixed(2)} m`], ["Here since", day(a.utc_us)]];
        if (a.note) facts.push(["Note", a.note]);
        replace($("player-facts"), facts.flatMap(([name, words]) => [element("dt", { textContent: name }), element("dd", { textContent: words })]));
        this.fillTrend();
    }

    /** Clubs, with or without a ball, by how many swings there are. */
    clubs() {
        const by = new Map();
        for (const m of this.player.months) {
            const key = JSON.stringify([m.club, m.ball]), is = by.get(key) || { key, n: 0, words: [m.club || "club not said", ballWords(m.ball) || "ball not said"].join(", ") };
            is.n += m.swings;
            by.set(key, is);
        }
        return [...by.values()].sort((x, y) => y.n - x.n).map((c, i) => ({ ...c, id: i + 1, words: `${c.words} (${swings(c.n)})` }));
    }

    fillTrend() {
        const p = this.player;
        if (!p) return;
        if (!p.columns.some((c) => c.name === this.metric)) this.metric = p.columns[1].name;
        const clubs = this.clubs(), which = p.columns.findIndex((c) => c.name === this.metric);
        if (!clubs.some((c) => c.id === this.club)) this.club = clubs.length ? 1 : 0;
        replace($("player-metric"), p.columns.map((c) => element("option", { value: c.name, textContent: c.meaning, selected: c.name === this.metric })));
        options($("player-club"), clubs, this.club);
        const key = this.club ? clubs[this.club - 1].key : "";
        this.column = p.columns[which];
        this.points = p.months.filter((m) => JSON.stringify([m.club, m.ball]) === key).map((m) => ({ session: m.session, utc_us: m.utc_us, ...m.numbers[which] }));
        replace($("player-sessions").tBodies[0], p.sessions.map((s) => {
            const point = this.points.find((q) => q.session === s.id), value = (v) => number({ ...this.column, value: v }, 1);
            const head = element("th", { scope: "row" });
            head.append(link(dayWords(s.utc_us), () => this.open.session(s.id)));
            return row(head, cell(`${swings(s.swings)}${s.excluded ? `, ${s.excluded} excluded` : ""}`),
                cell(point && point.mean !== null ? value(point.mean) : "–", "number"), cell(point && point.sd !== null ? `± ${value(point.sd)}` : "–", "number"), cell(point ? `${point.n}${point.n && point.n < FEW ? ": too few" : ""}` : "–", "number"), cell(s.note || ""));
        }));
        if (!p.sessions.length) replace($("player-sessions").tBodies[0], [row(cell("No session yet."))]);
        this.draw();
    }

    draw() {
        if (!this.player) return;
        const c = begin($("player-trend"));
        if (!c) return;
        const { g, w, h } = c, points = this.points.filter((p) => p.mean !== null);
        const box = { x: LEFT, y: TOP, w: w - LEFT - RIGHT, h: h - TOP - BOTTOM };
        g.fillStyle = colour("plate");
        g.fillRect(box.x, box.y, box.w, box.h);
        if (!points.length) return text(g, "This number was measured in none of the sessions.", w / 2, h / 2, { align: "center", size: 18 });
        const half = (p) => (p.n >= FEW && p.sd !== null ? p.sd : 0);
        let lo = Math.min(...points.map((p) => p.mean - half(p))), hi = Math.max(...points.map((p) => p.mean + half(p)));
        const room = 0.15 * (hi - lo || Math.abs(hi) || 1);
        lo -= room;
        hi += room;
        let t0 = points[0].utc_us, t1 = points[points.length - 1].utc_us;
        const margin = 0.06 * (t1 - t0 || 1);
        t0 -= margin;
        t1 += margin;
        const px = (t) => box.x + ((t - t0) / (t1 - t0)) * box.w, py = (v) => box.y + box.h - ((v - lo) / (hi - lo)) * box.h;
        const step = niceStep(hi - lo, Math.max(2, Math.floor(box.h / 40)));
        for (let v = Math.ceil(lo / step) * step; v <= hi + 1e-9; v += step) {
            g.fillStyle = colour("rule");
            g.fillRect(box.x, py(v), box.w, 1);
            text(g, String(Number(v.toFixed(6))), box.x - 8, py(v), { size: 14, align: "right", base: "middle" });
        }
        text(g, this.column.unit === "pct" ? "%" : this.column.unit, 4, box.y + 14, { size: 14, bold: true, fill: colour("ink") });
        g.strokeStyle = g.fillStyle = colour("ink");
        g.lineWidth = 2;
        g.globalAlpha = 0.6;
        g.beginPath();
        for (const p of points) g.lineTo(px(p.utc_us), py(p.mean));
        g.stroke();
        g.globalAlpha = 1;
        let end = -Infinity;
        for (const p of points) {
            const x = px(p.utc_us), y = py(p.mean), few = p.n < FEW;
            g.lineWidth = 3;
            g.beginPath();
            g.moveTo(x, py(p.mean - half(p)));
            g.lineTo(x, py(p.mean + half(p)));
            g.stroke();
            g.beginPath();
            g.arc(x, y, 8, 0, 2 * Math.PI);
            g.fillStyle = colour(few ? "plate" : "ink");
            g.fill();
            g.stroke();
            const when = t1 - t0 > 864e8 ? day(p.utc_us) : hour(p.utc_us);
            g.font = `14px ${colour("face")}`;
            const width = g.measureText(when).width;
            if (x - width / 2 < end + 10) continue;
            end = x + width / 2;
            text(g, when, x, h - 26, { align: "center", fill: colour("ink") });
            text(g, `n ${p.n}${few ? " ?" : ""}`, x, h - 8, { align: "center" });
        }
    }
}
