// SPDX-License-Identifier: MIT
// The list of swings, and the health of plates and line.
import { cell, element, number, replace, row } from "./swing.js";

const $ = (id) => document.getElementById(id);
export const SHORT = {
    trail_share_max_pct: "trail, most",
    total_vertical_peak_bw: "both down",
    lead_vertical_peak_bw: "lead down",
    lead_vertical_peak_to_impact_ms: "lead to impact",
    target_peak_bw: "target-ward",
    turn_peak_nm: "turn",
};

export function fillList(message, open, current) {
    const heads = ["swing", "time", "hand", ...message.columns.map((c) => SHORT[c.name] || c.meaning)];
    replace($("swings").tHead, [row(...heads.map((words) => element("th", { scope: "col", textContent: words })))]);
    replace($("swings").tBodies[0], message.rows.map((r) => {
        const button = element("button", { type: "button", className: "link", textContent: `${r.id}${r.flagged ? " !" : ""}` });
        button.addEventListener("click", () => open(r.id));
        const head = element("th", { scope: "row" });
        head.append(button);
        const t = new Date(r.utc_us / 1000);
        const tr = row(head, cell(`${t.toLocaleDateString()} ${t.toLocaleTimeString()}`), cell(r.hand),
            ...r.values.map((v, i) => cell(number({ ...message.columns[i], value: v }), "number")));
        tr.setAttribute("aria-current", String(r.id === current));
        return tr;
    }));
    if (!message.rows.length) replace($("swings").tBodies[0], [row(cell("No swing is stored yet."))]);
}

export function fillHealth(s) {
    const rows = [
        ["Line", `${s.state}: ${s.state_text}`],
        ["Rate", s.measured_rate_hz === null ? "not known" : `${s.measured_rate_hz.toFixed(0)} a second, the board says ${s.rate_hz}`],
        ["Samples", `${s.samples.toLocaleString()} received, ${s.lost} lost, ${s.bad} damaged packets`],
        ["Line broken", s.counters.link_losses === 0 ? "not since the start" : s.counters.link_losses === 1 ? "once" : `${s.counters.link_losses} times`],
        ["Board's clock", s.drift_ppm === null ? "not known yet" : `${s.drift_ppm.toFixed(0)} ppm off the computer's`],
        ...s.plates.map((p) => [`${capital(p.plate)} plate`, plateWords(p)]),
        ["Zero", s.tared ? `taken ${age(s.tare_age_s)} ago` : "none yet: keep the plates empty and still"],
        ["Calibration", s.calibration.nominal ? "none: the cells' data sheets" : `${s.calibration.name}, ${s.calibration.made_utc_us === null ? "age not known" : `made ${day(s.calibration.made_utc_us)}`}`],
        ["Weight", s.weight_n === null ? "nobody stands still" : `${(s.weight_n / 9.80665).toFixed(1)} kg`],
        ["Store", s.store_problem ? `${s.store_state}: ${s.store_problem}` : `${s.store_state}, ${s.swings_stored} swings since the start, ${s.queue} waiting`],
        ["Database", s.database],
        ["Spool", !s.spool ? "off: a crash would lose what is not stored yet" : s.spool.failing ? `FAILING: ${s.spool.problem}` : `ok, ${(s.spool.bytes / 1e6).toFixed(1)} MB written, ${s.spool.lost_bytes} bytes lost`],
        ["Not swings", Object.entries(s.counters.not_swings).filter(([, n]) => n > 0).map(([k, n]) => `${k.replaceAll("_", " ")} ${n}`).join(", ") || "none"],
        ["Underfoot", `${s.version}, up ${age(s.uptime_s)}`],
    ];
    replace($("health"), rows.flatMap(([name, words]) => [element("dt", { textContent: name }), element("dd", { textContent: words })]));
}

function age(seconds) {
    if (seconds === null) return "an unknown time";
    if (seconds < 90) return `${Math.round(seconds)} s`;
    return seconds < 5400 ? `${Math.round(seconds / 60)} min` : `${(seconds / 3600).toFixed(1)} h`;
}

const capital = (word) => word[0].toUpperCase() + word.slice(1);
const signed = (v) => (Math.abs(v) < 0.05 ? "0.0 N" : `${v < 0 ? "−" : "+"}${Math.abs(v).toFixed(1)} N`);

/** A date, and how long ago that is. */
function day(utc_us) {
    const days = (Date.now() - utc_us / 1000) / 86400000;
    return `${new Date(utc_us / 1000).toLocaleDateString()}, ${days < 1 ? "within a day" : `${Math.floor(days)} ${days < 2 ? "day" : "days"} ago`}`;
}

function plateWords(p) {
    const words = [];
    if (p.empty_n !== null) words.push(`${signed(p.empty_n)} off its zero now, empty`);
    words.push(p.drift_n === null ? "its zero has not moved since the start" : `the last zero moved by ${signed(p.drift_n)}, since the start by ${signed(p.total_drift_n)}`);
    if (p.state === "suspect") words.push(`SUSPECT, most at cell ${p.cell}: ${p.left_n.toFixed(1)} N that no load can make`);
    else if (p.state === "ok") words.push("its cells share the load as they should");
    else words.push("its cells are not watched");
    words.push(p.check === null ? "never checked with a known weight" : checkWords(p.check));
    return words.join("; ");
}

function checkWords(check) {
    const error = check.vertical_error_pct === null ? "" : `, off by ${check.vertical_error_pct.toFixed(2)} % at most`;
    return `last check ${check.passed ? "passed" : "NOT PASSED"}: ${day(check.utc_us)}${error}`;
}

/** What of the plates' health somebody should see whatever view is open. */
export function healthNotes(s) {
    const notes = [];
    for (const p of s.plates) {
        if (p.state === "suspect") notes.push(["bad", `${capital(p.plate)} plate: its cells share the load as no load can make them, most at cell ${p.cell}. Look for a loose foot or cable.`]);
        if (p.check && !p.check.passed) notes.push(["look", `${capital(p.plate)} plate: its last check with a known weight was not passed.`]);
    }
    if (s.spool && s.spool.failing) notes.push(["bad", `Spool: ${s.spool.problem}`]);
    return notes;
}
