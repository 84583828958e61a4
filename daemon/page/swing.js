// SPDX-License-Identifier: MIT
// The view of one swing: its curves, a time that moves on curves and feet together, its peaks in
// the order in which they came, and what could not be measured.
import { FEET, begin, chart, colour, feet, marker, text } from "./draw.js";

const CHARTS = [
    { title: "Vertical", unit: "N", peak: "total_vertical_peak_s", curves: { lead: "lead_vertical_n", trail: "trail_vertical_n", total: "total_vertical_n" } },
    { title: "Target-ward", unit: "N", peak: "target_peak_s", curves: { lead: "lead_target_n", trail: "trail_target_n", total: "total_target_n" }, high: "to the target", low: "away" },
    { title: "Toe-heel", unit: "N", curves: { lead: "lead_toe_n", trail: "trail_toe_n", total: "total_toe_n" }, high: "toe-ward", low: "heel-ward" },
    { title: "Turn", unit: "N m", peak: "turn_peak_s", curves: { total: "turn_nm" }, high: "to the target", low: "away" },
];
/** Peaks of the table: stem of the metrics, words. */
const PEAKS = [
    ["away_peak", "away"],
    ["target_peak", "target-ward"],
    ["turn_peak", "turn"],
    ["trail_vertical_peak", "trail down"],
    ["lead_vertical_peak", "lead down"],
    ["total_vertical_peak", "both down"],
    ["lead_heel_peak", "lead heel-ward"],
    ["trail_toe_peak", "trail toe-ward"],
];
const MOMENTS = { first_movement: "start", lead_arm_level: "arm level", shaft_level: "shaft level", still_again: "still" };
const LEFT = 58, RIGHT = 8, TOP = 40, GAP = 8, BOTTOM = 24;

const $ = (id) => document.getElementById(id);

export class SwingView {
    constructor() {
        this.swing = null;
        this.at = 0;
        $("scrub").addEventListener("input", () => this.move($("scrub").valueAsNumber));
        const canvas = $("curves");
        const drag = (event) => {
            if (!this.swing || (event.type === "pointermove" && !event.buttons)) return;
            const box = canvas.getBoundingClientRect(), n = this.count();
            const share = (event.clientX - box.left - LEFT) / (box.width - LEFT - RIGHT);
            this.move(Math.round(Math.min(1, Math.max(0, share)) * (n - 1)));
        };
        canvas.addEventListener("pointerdown", (event) => {
            canvas.setPointerCapture(event.pointerId);
            drag(event);
        });
        canvas.addEventListener("pointermove", drag);
    }

    count() {
        return this.swing.curves.total_vertical_n.length;
    }

    impact() {
        const e = this.swing.events.find((event) => event.name === "impact");
        return e ? e.t_s : null;
    }

    metric(name) {
        return this.swing.metrics.find((m) => m.name === name) || null;
    }

    show(swing) {
        this.swing = swing;
        const t = new Date(swing.utc_us / 1000), impact = this.impact();
        $("swing").dataset.hand = swing.hand;
        $("swing-title").textContent = `Swing ${swing.id}`;
        $("swing-about").textContent = [t.toLocaleTimeString(), `${swing.hand}-handed`,
            swing.nominal ? "no calibration: data-sheet scales" : `calibration ${swing.calibration}`,
            ...swing.flags.filter((flag) => !swing.nominal || flag !== "data-sheet calibration").map((flag) => `! ${flag}`)].join("  ·  ");
        $("scrub").max = this.count() - 1;
        this.move(Math.round((impact ?? swing.trigger_s) / swing.curves.step_s));
        this.fillPeaks();
        this.fillShares();
        this.fillMissing();
        this.fillNumbers();
    }

    move(i) {
        this.at = Math.min(this.count() - 1, Math.max(0, i));
        $("scrub").value = this.at;
        const t = this.at * this.swing.curves.step_s, impact = this.impact();
        const words = impact === null ? `${t.toFixed(2)} s from the start, no impact was sensed` : Math.abs(t - impact) <= 0.51 * this.swing.curves.step_s ? "at impact" : `${toImpact(1000 * (t - impact))} impact`;
        $("scrub-text").textContent = words;
        $("regions").textContent = this.regions();
        $("scrub").setAttribute("aria-valuetext", words);
        const share = this.swing.curves.trail_share_pct[this.at];
        $("now-trail").textContent = share === null ? "–" : Math.round(share);
        $("now-lead").textContent = share === null ? "–" : Math.round(100 - share);
        this.draw();
    }

    draw() {
        if (!this.swing) return;
        this.drawCurves();
        const c = this.swing.curves, step = Math.max(1, Math.round(0.008 / c.step_s));
        const from = Math.max(0, this.at - Math.round(0.8 / c.step_s));
        const path = (foot) => {
            const out = [];
            for (let i = from; i <= this.at; i += step) out.push(point(c, foot, i));
            out.push(point(c, foot, this.at));
            return out;
        };
        const share = c.trail_share_pct[this.at];
        const net = c.net_target_mm[this.at];
        feet($("swing-feet"), {
            plates: this.swing.plates, hand: this.swing.hand, stale: false, soles: this.swing.feet,
            paths: { lead: path("lead"), trail: path("trail") },
            forces: { lead: share === null ? 0.3 : 1 - share / 100, trail: share === null ? 0.3 : share / 100 },
            net: net === null ? null : [net, c.net_toe_mm[this.at]],
        });
    }

    drawCurves() {
        const canvas = begin($("curves"));
        if (!canvas) return;
        const { g, w, h } = canvas, c = this.swing.curves, impact = this.impact();
        const zero = impact ?? 0, x = (i) => i * c.step_s - zero, last = (this.count() - 1) * c.step_s - zero;
        const each = (h - TOP - BOTTOM - GAP * (CHARTS.length - 1)) / CHARTS.length;
        const marks = this.swing.events.map((e) => ({ x: e.t_s - zero, label: `${e.source === "estimate" ? "~ " : ""}${MOMENTS[e.name] || e.name.replaceAll("_", " ")}`, soft: e.name !== "impact" }));
        CHARTS.forEach((spec, k) => {
            const lines = Object.entries(spec.curves).reverse().map(([kind, name]) => ({ kind, y: c[name], x }));
            let lo = 0, hi = 0;
            for (const line of lines) for (const v of line.y) if (v !== null) { lo = Math.min(lo, v); hi = Math.max(hi, v); }
            const room = 0.12 * (hi - lo || 1);
            chart(g, { x: LEFT, y: TOP + k * (each + GAP), w: w - LEFT - RIGHT, h: each }, {
                ...spec, lines, marks, bands: this.bands(spec.peak, zero), range: [lo - (lo < 0 ? room : 0), hi + room], x0: x(0), x1: last, cursor: x(this.at),
            });
        });
        const px = (v) => LEFT + ((v - x(0)) / (last - x(0))) * (w - LEFT - RIGHT);
        label(g, marks, px, w);
        for (let v = Math.ceil(x(0) * 2) / 2; v <= last - 0.1; v += 0.5) text(g, `${v.toFixed(1)} s`, px(v), h - 7, { size: 12, align: "center" });
        FEET.forEach((foot, i) => {
            marker(g, foot, LEFT + 100 + 84 * i, TOP + 13, 6);
            text(g, foot, LEFT + 112 + 84 * i, TOP + 18, { fill: colour(foot), bold: true });
        });
        text(g, "— both", LEFT + 268, TOP + 18, { fill: colour("total"), bold: true });
    }

    /** Where the pressure lies in each foot when both push down most, where rocking has found the feet. */
    regions() {
        const at = FEET.map((foot) => [foot, this.metric(`${foot}_cop_region_at_total_vertical_peak`)]).filter(([, m]) => m && m.words);
        return at.length ? `At the vertical peak: ${at.map(([foot, m]) => `${foot} foot on the ${m.words}`).join("; ")}` : "";
    }

    /** Wanted windows of a peak, as times. */
    bands(metric, zero) {
        return this.swing.targets.filter((t) => t.metric === metric && t.from_s !== null && t.to_s !== null)
            .map((t) => [t.from_s - zero, t.to_s - zero]);
    }

    fillPeaks() {
        const rows = PEAKS.map(([stem, words]) => {
            const when = this.metric(`${stem}_to_impact_ms`), at = this.metric(`${stem}_s`);
            const size = this.metric(`${stem}_bw`) || this.metric(`${stem}_nm`);
            const target = this.swing.targets.find((t) => t.metric === `${stem}_s`);
            return { words, size, when, at, target };
        }).filter((r) => r.size && r.size.value !== null);
        rows.sort((a, b) => (a.at?.value ?? Infinity) - (b.at?.value ?? Infinity));
        replace($("peaks").tBodies[0], rows.map((r) => {
            const jump = element("button", { type: "button", textContent: r.words, className: "link" });
            jump.addEventListener("click", () => r.at && r.at.value !== null && this.move(Math.round(r.at.value / this.swing.curves.step_s)));
            const head = element("th", { scope: "row" });
            head.append(jump);
            return row(head, cell(number(r.size), "number"), cell(r.when && r.when.value !== null ? toImpact(r.when.value) : "–", "number"), cell(r.target ? timing(r.target) : ""));
        }));
    }

    fillShares() {
        const out = [];
        const value = (name) => this.metric(name)?.value ?? null;
        out.push(["standing before", value("trail_share_address_pct")]);
        out.push(["most", value("trail_share_max_pct")]);
        out.push(["at the top", value("trail_share_top_pct")]);
        out.push(["at impact", value("trail_share_impact_pct")]);
        const body = $("shares").tBodies[0];
        replace(body, [row(...out.map(([words]) => element("th", { scope: "col", textContent: words }))),
            row(...out.map(([, v]) => cell(v === null ? "–" : `${v.toFixed(0)} %`, "number")))]);
    }

    /** One sentence a reason, with what it took. */
    fillMissing() {
        const by = new Map();
        for (const m of this.swing.metrics) {
            if (!m.why) continue;
            const what = by.get(m.why) || [], meaning = m.meaning.replace(/^time (from impact )?of: /, "");
            if (!what.includes(meaning)) by.set(m.why, [...what, meaning]);
        }
        const items = [...by].map(([why, what]) => {
            const li = element("li");
            li.append(element("b", { textContent: why }), ` – so there is no: ${what.slice(0, 2).join("; ")}${what.length > 2 ? `; and ${what.length - 2} more` : ""}`);
            return li;
        });
        const list = element("ul");
        list.append(...items);
        replace($("missing"), items.length ? [element("h2", { textContent: "Not measured" }), list] : [element("p", { textContent: "Every number of this swing could be measured." })]);
    }

    fillNumbers() {
        replace($("numbers").tBodies[0], this.swing.metrics.map((m) =>
            row(element("th", { scope: "row", textContent: m.meaning }), cell(m.value === null ? `– ${m.why || ""}` : number(m) + (m.sd === null || m.words ? "" : ` ± ${number({ ...m, value: m.sd })}`), "number"))));
    }
}

/** Names of moments in two rows: one that has no room in either is left to its line. */
function label(g, marks, px, w) {
    const ends = [0, 0];
    for (const mark of [...marks].sort((a, b) => a.x - b.x)) {
        g.font = `700 14px ${colour("face")}`;
        const half = g.measureText(mark.label).width / 2;
        const x = Math.min(w - half - 2, Math.max(half + 2, px(mark.x)));
        const row = ends.findIndex((end) => x - half > end + 8);
        if (row < 0) continue;
        ends[row] = x + half;
        text(g, mark.label, x, row ? 15 : 33, { align: "center", fill: colour("ink"), bold: !mark.soft });
    }
}

function point(c, foot, i) {
    const x = c[`${foot}_cop_target_mm`][i];
    return x === null || x === undefined ? null : [x, c[`${foot}_cop_toe_mm`][i]];
}

/** "35 ms before impact". */
export function toImpact(ms) {
    const whole = Math.round(Math.abs(ms));
    return whole === 0 ? "at impact" : `${whole} ms ${ms < 0 ? "before" : "after"}`;
}

/** "on time", "12 ms early ?" : not sure. */
function timing(target) {
    if (!target.timing) return "not known";
    const off = Math.round(Math.abs(target.off_ms ?? 0));
    return `${off && target.timing !== "on time" ? `${off} ms ` : ""}${target.timing}${target.sure ? "" : " ?"}`;
}

/** With its unit; a mean deserves more digits than one value. */
export function number(m, more = 0) {
    if (m.value === null) return "–";
    if (m.words) return m.words;
    const digits = { BW: 2, pct: 0, ms: 0, s: 2, mm: 0, N: 0, "N m": 0, "N s": 1, "N m s": 1 }[m.unit] ?? 0;
    return `${m.value.toFixed(digits + more)} ${m.unit === "pct" ? "%" : m.unit}`.trim();
}

export function element(tag, properties = {}) {
    return Object.assign(document.createElement(tag), properties);
}
export const cell = (words, className = "") => element("td", { textContent: words, className });
export function row(...cells) {
    const tr = element("tr");
    tr.append(...cells);
    return tr;
}
export const replace = (parent, children) => parent.replaceChildren(...children);
