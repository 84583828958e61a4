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
        ["Line broken", s.counters.link_losses === 1 ? "once" : `${s.counters.link_losses} times`],
        ["Board's clock", s.drift_ppm === null ? "not known yet" : `${s.drift_ppm.toFixed(0)} ppm off the computer's`],
        ["Zero", s.tared ? `taken ${age(s.tare_age_s)} ago` : "none yet: keep the plates empty and still"],
        ["Calibration", s.calibration.nominal ? "none: the cells' data sheets" : s.calibration.name],
        ["Weight", s.weight_n === null ? "nobody stands still" : `${(s.weight_n / 9.80665).toFixed(1)} kg`],
        ["Store", s.store_problem ? `${s.store_state}: ${s.store_problem}` : `${s.store_state}, ${s.swings_stored} swings since the start, ${s.queue} waiting`],
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
