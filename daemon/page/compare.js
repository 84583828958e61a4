// SPDX-License-Identifier: MIT
// Two swings or two blocks: what changed in words, the numbers, and the curves on one time. A is
// drawn dashed and hollow, B solid; colours are the feet's.
import { FEET, begin, chart, colour, feet, marker, text } from "./draw.js";
import { cell, element, replace, row } from "./swing.js";

const CHARTS = [
    { title: "Lead down", unit: "N", kind: "lead", curve: "lead_vertical_n" },
    { title: "Trail down", unit: "N", kind: "trail", curve: "trail_vertical_n" },
    { title: "Lead toe-heel", unit: "N", kind: "lead", curve: "lead_toe_n", up: "toe-ward" },
    { title: "Trail toe-heel", unit: "N", kind: "trail", curve: "trail_toe_n", up: "toe-ward" },
    { title: "Target-ward, both", unit: "N", kind: "total", curve: "total_target_n", up: "to the target" },
    { title: "Turn", unit: "N m", kind: "total", curve: "turn_nm", up: "to the target" },
];
const SIDES = ["a", "b"];
const DASH = { a: [5, 4], b: [] };
const LEFT = 46, RIGHT = 6, TOP = 46, BOTTOM = 24, GAP = 10, HEAD = 20;
const ZERO = {
    impact: ["at impact", "impact"],
    top: ["at the top, as not every swing has an impact", "the top"],
    trigger: ["where each swing was noticed, as not every one has an impact or a top", "that moment"],
};
/** The numbers that come first, short enough for a table. */
const NAMES = {
    trail_share_address_pct: "trail share, standing",
    trail_share_max_pct: "trail share, most",
    lead_vertical_peak_bw: "lead down, peak",
    lead_vertical_peak_to_impact_ms: "lead down, to impact",
    trail_vertical_peak_bw: "trail down, peak",
    total_vertical_peak_bw: "both down, peak",
    target_peak_bw: "target-ward, peak",
    target_peak_to_impact_ms: "target-ward, to impact",
    lead_heel_peak_bw: "lead heel-ward, peak",
    trail_toe_peak_bw: "trail toe-ward, peak",
    turn_peak_nm: "turn, peak",
    turn_peak_to_impact_ms: "turn, to impact",
    vertical_impulse_ns: "vertical impulse",
    target_impulse_ns: "target-ward impulse",
};
const VERDICT = { changed: "◆ changed", "within noise": "≈ within noise", "too few swings": "? too few swings", "not measured": "– not measured" };

const $ = (id) => document.getElementById(id);

export function ballWords(ball) {
    return ball === null ? "" : ball ? "with ball" : "no ball";
}
export function blockWords(b) {
    return [b.kind, b.club, ballWords(b.ball)].filter(Boolean).join(", ");
}
/** "25 Nov 2026", "14:05", and both: the same wherever the page is read. */
export const day = (utc_us) => new Date(utc_us / 1000).toLocaleDateString("en-GB", { year: "numeric", month: "short", day: "numeric" });
export const hour = (utc_us, seconds) => new Date(utc_us / 1000).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit", second: seconds ? "2-digit" : undefined });
export const dayWords = (utc_us) => `${day(utc_us)}, ${hour(utc_us)}`;
export function sessionWords(s) {
    return `${dayWords(s.utc_us)} · ${s.player || "nobody named"}`;
}

export class CompareView {
    /** ask(question): to the daemon. */
    constructor(ask) {
        this.ask = ask;
        this.list = null;
        this.known = new Map(); // sessions that were asked for
        this.want = { what: null, a: { session: 0, id: 0 }, b: { session: 0, id: 0 } };
        this.shown = null;
        this.at = 0;
        for (const radio of document.querySelectorAll("#compare-what input"))
            radio.addEventListener("change", () => this.setWhat(radio.value));
        for (const side of SIDES) {
            $(`compare-${side}-session`).addEventListener("change", (event) => this.setSession(side, Number(event.target.value)));
            $(`compare-${side}`).addEventListener("change", (event) => this.setItem(side, Number(event.target.value)));
        }
        $("compare-swap").addEventListener("click", () => {
            [this.want.a, this.want.b] = [this.want.b, this.want.a];
            this.fill();
            this.compare();
        });
        $("compare-choice").addEventListener("submit", (event) => event.preventDefault());
        $("compare-scrub").addEventListener("input", () => this.move($("compare-scrub").valueAsNumber));
        const canvas = $("compare-curves");
        const drag = (event) => {
            if (!this.shown || (event.type === "pointermove" && !event.buttons)) return;
            const box = canvas.getBoundingClientRect(), half = (box.width - GAP) / 2;
            const x = (event.clientX - box.left) % (half + GAP);
            const t = this.x0 + ((x - LEFT) / (half - LEFT - RIGHT)) * (this.x1 - this.x0);
            this.move(Math.round((t - this.shown.from_s) / this.shown.step_s));
        };
        canvas.addEventListener("pointerdown", (event) => {
            canvas.setPointerCapture(event.pointerId);
            drag(event);
        });
        canvas.addEventListener("pointermove", drag);
    }

    /* ---- what is chosen ---- */

    /** The view is shown, or what it shows may have changed. */
    enter() {
        this.ask({ ask: "sessions" });
        this.compare();
    }

    takeSessions(message) {
        this.list = message.rows;
        const newest = this.list.find((s) => s.swings > 0) || this.list[0];
        for (const side of SIDES)
            if (!this.list.some((s) => s.id === this.want[side].session)) this.want[side] = { session: newest ? newest.id : 0, id: 0 };
        for (const id of new Set(SIDES.map((side) => this.want[side].session)))
            if (id) this.ask({ ask: "session", id });
        this.fill();
    }

    takeSession(message) {
        this.known.set(message.id, message);
        this.choose();
        this.fill();
    }

    /** Two things that somebody wants to see against each other, from another view. */
    open(what, a, b) {
        this.want = { what, a, b };
        this.enter();
    }

    setWhat(what) {
        this.want.what = what;
        for (const side of SIDES) this.want[side].id = 0;
        this.choose();
        this.fill();
    }

    setSession(side, id) {
        this.want[side] = { session: id, id: 0 };
        if (this.known.has(id)) this.choose();
        else this.ask({ ask: "session", id });
        this.fill();
    }

    setItem(side, id) {
        this.want[side].id = id;
        this.compare();
    }

    /** What can be chosen on a side, in the order in which it happened. */
    items(side) {
        const session = this.known.get(this.want[side].session);
        if (!session) return [];
        const counts = (block) => session.rows.filter((r) => r.block === block && r.excluded === null).length;
        if (this.want.what === "blocks")
            return session.blocks.map((b) => ({ id: b.id, n: counts(b.id), words: `${blockWords(b)} · ${swings(counts(b.id))}` })).filter((b) => b.n > 0);
        return [...session.rows].reverse().map((r) => {
            const block = session.blocks.find((b) => b.id === r.block);
            return { id: r.id, words: `swing ${r.id} · ${hour(r.utc_us, true)}${block ? ` · ${block.kind}` : ""}${r.starred ? " ★" : ""}${r.excluded === null ? "" : " (does not count)"}` };
        });
    }

    /** Where nothing is chosen: the first against the last. */
    choose() {
        const session = this.known.get(this.want.a.session);
        if (!this.want.what && session) {
            this.want.what = "blocks";
            if (this.items("a").length < 2) this.want.what = "swings";
        }
        const before = JSON.stringify(this.want);
        for (const side of SIDES) {
            const items = this.items(side), other = side === "a" ? this.want.b.id : this.want.a.id;
            if (!items.length || items.some((i) => i.id === this.want[side].id)) continue;
            const free = items.filter((i) => i.id !== other);
            const pick = side === "a" ? free[0] : free[free.length - 1];
            this.want[side].id = pick ? pick.id : 0;
        }
        if (JSON.stringify(this.want) !== before) this.compare();
    }

    compare() {
        const { what, a, b } = this.want;
        if (!what || !a.id || !b.id) return;
        if (a.id === b.id) return this.none(`A and B are the same ${what === "blocks" ? "block" : "swing"}: choose two.`);
        if (!this.shown || this.shown.what !== what || this.shown.a.id !== a.id || this.shown.b.id !== b.id) $("compare").dataset.waits = "true";
        this.ask({ ask: "compare", [what]: [a.id, b.id] });
    }

    fill() {
        for (const radio of document.querySelectorAll("#compare-what input")) radio.checked = radio.value === this.want.what;
        for (const side of SIDES) {
            options($(`compare-${side}-session`), (this.list || []).map((s) => ({ id: s.id, words: sessionWords(s) })), this.want[side].session);
            options($(`compare-${side}`), this.items(side), this.want[side].id);
        }
        const few = this.list && !this.list.length ? "No session is stored yet."
            : SIDES.some((side) => this.known.has(this.want[side].session) && !this.items(side).length) ? `There is no ${this.want.what === "blocks" ? "block with a swing that counts" : "swing"} in that session.`
            : this.want.what && this.want.a.session === this.want.b.session && this.items("a").length === 1 ? `There is only one ${this.want.what === "blocks" ? "block" : "swing"} in that session: choose another session for A or B.` : "";
        if (few) this.none(few);
    }

    say(head, sentences = []) {
        const changed = sentences.filter((words) => /^Changed: /.test(words)), items = (all) => all.map((words) => element("li", { textContent: words }));
        $("compare-head").textContent = head;
        replace($("compare-said"), items(sentences.filter((words) => !changed.includes(words))));
        replace($("compare-changed"), items(changed.length ? changed : ["Nothing changed beyond the noise."]));
    }

    /** Nothing to show, and why. */
    none(why) {
        this.shown = null;
        $("compare").dataset.waits = "false";
        this.say(why);
        $("compare-about").textContent = "";
        for (const id of ["compare-table", "compare-all"]) replace($(id).tBodies[0], []);
        this.draw();
    }

    /* ---- what came of it ---- */

    show(message) {
        const { what, a, b } = this.want;
        if (message.what !== what || message.a.id !== a.id || message.b.id !== b.id) return; // of an older choice
        const first = !this.shown;
        this.shown = message;
        const n = message.a.curves.total_vertical_n ? message.a.curves.total_vertical_n.length : 0;
        const known = (i) => SIDES.some((side) => message[side].curves.total_vertical_n[i] !== null);
        let from = 0, to = n - 1;
        while (from < to && !known(from)) from++;
        while (to > from && !known(to)) to--;
        this.from = from;
        this.to = to;
        this.x0 = message.from_s + from * message.step_s;
        this.x1 = message.from_s + to * message.step_s;
        $("compare-scrub").min = from;
        $("compare-scrub").max = to;
        $("compare").dataset.hand = message.b.hand;
        $("compare").dataset.waits = "false";
        this.sayAll();
        this.fillTable();
        this.about();
        this.move(first || this.at < from || this.at > to ? Math.round(-message.from_s / message.step_s) : this.at);
    }

    about() {
        const m = this.shown;
        const drawn = SIDES.filter((side) => m[side].drawn < m[side].swings).map((side) => `of ${side.toUpperCase()} the newest ${m[side].drawn} of ${m[side].swings} swings are drawn`);
        const out = SIDES.filter((side) => m[side].not_counted > 0).map((side) => `${side.toUpperCase()}: ${swings(m[side].not_counted)} excluded`);
        $("compare-about").textContent = m.curves_problem ? `The curves cannot be drawn: ${m.curves_problem}`
            : [`Curves are laid over each other ${ZERO[m.zero][0]}${m.estimated ? " (estimated, not sensed)" : ""}.`,
               m.what === "blocks" ? "Lines are means, shades one standard deviation." : "", [...drawn, ...out].join("; ")].filter(Boolean).join(" ");
    }

    fillTable() {
        const m = this.shown, blocks = m.what === "blocks";
        const heads = ["", "A", "B", "difference", "needed", ""];
        const value = (words, below) => {
            const td = cell(words === "-" ? "–" : words, "number");
            if (below) td.append(element("small", { textContent: below }));
            return td;
        };
        const spread = (side) => (side.n === 0 ? "not measured" : blocks ? `± ${side.sd} of ${side.n}` : "");
        const line = (r) => {
            const head = element("th", { scope: "row", textContent: NAMES[r.name] || r.meaning, title: r.meaning });
            head.append(element("small", { textContent: r.unit }));
            const tr = row(head, value(r.a.mean, spread(r.a)), value(r.b.mean, spread(r.b)), value(r.difference), value(r.needed, blocks || r.noise === "-" ? "" : `noise ${r.noise}`), cell(VERDICT[r.verdict], "verdict"));
            tr.dataset.verdict = r.verdict;
            tr.dataset.name = r.name;
            return tr;
        };
        for (const [id, rows] of [["compare-table", m.rows.filter((r) => r.first)], ["compare-all", m.rows.filter((r) => !r.first)]]) {
            replace($(id).tHead, [row(...heads.map((words) => element("th", { scope: "col", textContent: words })))]);
            replace($(id).tBodies[0], rows.map(line));
        }
    }

    /** The verdict in one line, then the sentences. */
    sayAll() {
        const m = this.shown, count = (verdict) => m.rows.filter((r) => r.first && r.verdict === verdict).length;
        const changed = count("changed"), within = count("within noise"), few = count("too few swings");
        const all = changed + within + few, what = m.what === "blocks" ? "blocks" : "swings";
        const head = !all ? `No number was measured in both ${what}.`
            : !changed && !within ? "Too few swings to say whether anything changed."
            : !changed ? `Within noise: nothing of ${all} numbers changed beyond the player's own swing-to-swing noise.`
            : `Changed: ${changed} of ${all} numbers. ${within} within noise.`;
        this.say(head, m.sentences.filter((s) => !/^\d+ of \d+ numbers stay/.test(s)));
    }

    move(i) {
        const m = this.shown;
        if (!m || m.curves_problem) return this.draw();
        this.at = Math.min(this.to, Math.max(this.from, i));
        $("compare-scrub").value = this.at;
        const ms = Math.round(1000 * (m.from_s + this.at * m.step_s)), words = ms === 0 ? ZERO[m.zero][1] : `${Math.abs(ms)} ms ${ms < 0 ? "before" : "after"} ${ZERO[m.zero][1]}`;
        $("compare-scrub-text").textContent = words;
        $("compare-scrub").setAttribute("aria-valuetext", words);
        for (const side of SIDES) {
            const share = m[side].curves.trail_share_pct[this.at];
            $(`compare-${side}-lead`).textContent = share === null ? "–" : Math.round(100 - share);
            $(`compare-${side}-trail`).textContent = share === null ? "–" : Math.round(share);
        }
        this.draw();
    }

    draw() {
        const m = this.shown;
        if (!m || m.curves_problem) {
            begin($("compare-curves"));
            begin($("compare-feet"));
            return;
        }
        this.drawCurves();
        const paths = (side) => Object.fromEntries(FEET.map((foot) => {
            const c = m[side].curves, out = [];
            for (let i = Math.max(this.from, this.at - Math.round(0.8 / m.step_s)); i <= this.at; i++) {
                const x = c[`${foot}_cop_target_mm`][i], y = c[`${foot}_cop_toe_mm`][i];
                out.push(x === null || y === null ? null : [x, y]);
            }
            return [foot, out];
        }));
        const share = m.b.curves.trail_share_pct[this.at];
        feet($("compare-feet"), {
            plates: m.b.plates || m.a.plates, hand: m.b.hand, stale: false, soles: m.b.feet, paths: paths("b"), before: paths("a"),
            forces: { lead: share === null ? 0.3 : 1 - share / 100, trail: share === null ? 0.3 : share / 100 }, net: null,
        });
    }

    drawCurves() {
        const canvas = begin($("compare-curves"));
        if (!canvas) return;
        const { g, w, h } = canvas, m = this.shown, x = (i) => m.from_s + i * m.step_s;
        const each = { w: (w - GAP) / 2 - LEFT - RIGHT, h: (h - TOP - BOTTOM - 3 * HEAD) / 3 };
        const tops = m.zero === "top" ? [] : SIDES.filter((side) => m[side].top_s !== null).map((side) => ({ x: m[side].top_s, soft: true, label: side }));
        CHARTS.forEach((spec, k) => {
            const lines = SIDES.map((side) => ({ kind: spec.kind, y: m[side].curves[spec.curve], x, dash: DASH[side], width: side === "a" ? 2 : 3 }));
            const areas = SIDES.filter((side) => m[side].spread[spec.curve]).map((side) => ({ kind: spec.kind, x, y: m[side].curves[spec.curve], half: m[side].spread[spec.curve] }));
            let lo = 0, hi = 0;
            for (const line of lines) for (const v of line.y) if (v !== null) { lo = Math.min(lo, v); hi = Math.max(hi, v); }
            const room = 0.14 * (hi - lo || 1);
            const box = { x: LEFT + (k % 2) * ((w + GAP) / 2), y: TOP + HEAD + Math.floor(k / 2) * (each.h + HEAD), ...each };
            chart(g, box, { lines, areas, marks: [{ x: 0 }, ...tops], range: [lo - (lo < 0 ? room : 0), hi + room], x0: this.x0, x1: this.x1, cursor: x(this.at) });
            if (spec.kind !== "total") marker(g, spec.kind, box.x + 6, box.y - 9, 6);
            const left = box.x + (spec.kind === "total" ? 0 : 18);
            text(g, spec.title, left, box.y - 5, { size: 14, bold: true, fill: colour(spec.kind) });
            const after = left + g.measureText(spec.title).width + 8;
            text(g, spec.up ? `${spec.unit}, ↑ ${spec.up}` : spec.unit, after, box.y - 5, { size: 12 });
        });
        for (const left of [LEFT, LEFT + (w + GAP) / 2]) {
            const px = (t) => left + ((t - this.x0) / (this.x1 - this.x0)) * each.w;
            for (let t = Math.ceil(this.x0 * 2) / 2; t <= this.x1 - 0.05; t += 0.5) text(g, Math.abs(t) < 1e-9 ? (m.zero === "trigger" ? "0" : m.zero) : `${t.toFixed(1)} s`, px(t), h - 7, { size: 12, align: "center", fill: colour(Math.abs(t) < 1e-9 ? "ink" : "soft") });
            if (tops.length === 2 && Math.abs(px(tops[0].x) - px(tops[1].x)) < 44) text(g, "top A, B", (px(tops[0].x) + px(tops[1].x)) / 2, TOP - 5, { size: 13, align: "center", fill: colour("ink") });
            else for (const top of tops) text(g, `top ${top.label.toUpperCase()}`, px(top.x), TOP - 5, { size: 13, align: "center", fill: colour("ink") });
        }
        let at = LEFT;
        for (const side of SIDES) {
            g.strokeStyle = colour("ink");
            g.lineWidth = side === "a" ? 2 : 3;
            g.setLineDash(DASH[side]);
            g.beginPath();
            g.moveTo(at, 14);
            g.lineTo(at + 40, 14);
            g.stroke();
            g.setLineDash([]);
            const words = `${side.toUpperCase()}: ${this.name(m[side])}`;
            text(g, words, at + 48, 19, { size: 15, bold: true, fill: colour("ink") });
            at += 48 + g.measureText(words).width + 24;
        }
    }

    name(side) {
        return this.shown.what === "swings" ? `swing ${side.id}` : `${side.kind}, ${swings(side.swings)}`;
    }
}

export const swings = (n) => (n === 1 ? "1 swing" : `${n} swings`);

export function options(select, items, chosen) {
    const text = JSON.stringify([items, chosen]);
    if (select.dataset.text === text) return; // somebody may have it open
    select.dataset.text = text;
    replace(select, [...(items.some((i) => i.id === chosen) ? [] : [element("option", { value: "0", textContent: "choose" })]),
        ...items.map((i) => element("option", { value: String(i.id), textContent: i.words, selected: i.id === chosen }))]);
    select.value = String(items.some((i) => i.id === chosen) ? chosen : 0);
}
