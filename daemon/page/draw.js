// SPDX-License-Identifier: MIT
// Drawing on canvases: sizes, colours, feet from above, lines over time. The lead foot is an orange
// circle with a solid line, the trail foot a violet square with a dashed line: shape says it, too.
export const FEET = ["lead", "trail"];
const DASH = { lead: [], trail: [7, 5], total: [] };

export function colour(name) {
    return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}

/** Fits the canvas to its box, in CSS pixels; null while it is hidden. */
export function begin(canvas) {
    const w = canvas.clientWidth, h = canvas.clientHeight, scale = window.devicePixelRatio || 1;
    if (!w || !h) return null;
    if (canvas.width !== Math.round(w * scale) || canvas.height !== Math.round(h * scale)) {
        canvas.width = Math.round(w * scale);
        canvas.height = Math.round(h * scale);
    }
    const g = canvas.getContext("2d");
    g.setTransform(scale, 0, 0, scale, 0, 0);
    g.clearRect(0, 0, w, h);
    g.lineJoin = "round";
    return { g, w, h };
}

export function text(g, words, x, y, { size = 14, fill = colour("soft"), align = "left", base = "alphabetic", bold = false } = {}) {
    g.font = `${bold ? "700 " : ""}${size}px ${colour("face")}`;
    g.fillStyle = fill;
    g.textAlign = align;
    g.textBaseline = base;
    g.fillText(words, x, y);
}

export function marker(g, foot, x, y, size) {
    g.fillStyle = colour(foot);
    g.strokeStyle = colour("paper");
    g.lineWidth = 2;
    g.beginPath();
    if (foot === "lead") g.arc(x, y, size, 0, 2 * Math.PI);
    else g.rect(x - 0.9 * size, y - 0.9 * size, 1.8 * size, 1.8 * size);
    g.fill();
    g.stroke();
}

/** Golfer-frame mm to pixels. s: -1 for a right-handed golfer, whose target lies to the left. */
function frameOf(plates, w, h, margin) {
    let x0 = Infinity, x1 = -Infinity, y0 = Infinity, y1 = -Infinity;
    for (const p of plates) {
        x0 = Math.min(x0, p.x_mm - p.size_x_mm / 2);
        x1 = Math.max(x1, p.x_mm + p.size_x_mm / 2);
        y0 = Math.min(y0, p.y_mm - p.size_y_mm / 2);
        y1 = Math.max(y1, p.y_mm + p.size_y_mm / 2);
    }
    const scale = Math.min((w - 2 * margin) / (x1 - x0), (h - 2 * margin) / (y1 - y0));
    return {
        scale,
        x: (mm) => w / 2 + scale * (mm - (x0 + x1) / 2),
        y: (mm) => h / 2 - scale * (mm - (y0 + y1) / 2),
    };
}

/**
 * The plates from above, toes up.
 * paths: {lead: [[target, toe], ...], trail: ...}, oldest first, null where there is none;
 * forces: {lead: share 0..1, trail} for the size of the markers; net: [target, toe] or null;
 * before: paths of another swing, drawn hollow: it is A, and paths are B; soles: {lead, trail}, where
 * rocking has found the feet.
 */
export function feet(canvas, { plates, hand, paths, forces, net, stale, before = null, soles = null }) {
    const c = begin(canvas);
    if (!c || !plates) return;
    const { g, w, h } = c, s = hand === "left" ? 1 : -1, f = frameOf(plates, w, h, 26);
    g.globalAlpha = stale ? 0.35 : 1;
    for (const p of plates) {
        g.save();
        g.translate(f.x(p.x_mm), f.y(p.y_mm));
        g.rotate((-p.rotation_deg * Math.PI) / 180);
        const pw = p.size_x_mm * f.scale, ph = p.size_y_mm * f.scale;
        g.fillStyle = colour("plate");
        g.strokeStyle = colour("rule");
        g.lineWidth = 2;
        g.beginPath();
        g.roundRect(-pw / 2, -ph / 2, pw, ph, 10);
        g.fill();
        g.stroke();
        g.lineWidth = 1;
        g.beginPath();
        g.moveTo(-pw / 2, 0);
        g.lineTo(pw / 2, 0);
        g.moveTo(0, -ph / 2);
        g.lineTo(0, ph / 2);
        g.stroke();
        g.restore();
        const name = p.place === "single" ? "both feet" : (p.place === "left") === (s < 0) ? "lead" : "trail";
        text(g, name, f.x(p.x_mm), f.y(p.y_mm - p.size_y_mm / 2) - 10,
             { align: "center", fill: p.place === "single" ? colour("ink") : colour(name), size: 16, bold: true });
    }
    text(g, "toes", w / 2, 16, { align: "center" });
    text(g, "heels", w / 2, h - 8, { align: "center" });
    arrow(g, s < 0 ? 8 : w - 8, 16, s, "target");
    for (const foot of FEET) if (soles && soles[foot]) sole(g, foot, soles[foot], f, s);
    const dim = stale ? 0.35 : 1, size = (share) => (14 + 26 * Math.sqrt(Math.max(0, share || 0))) * Math.max(0.3, f.scale);
    for (const foot of FEET) {
        const at = (p) => [f.x(s * p[0]), f.y(p[1])];
        way(g, foot, paths[foot].map((p) => p && at(p)), DASH[foot], dim);
        const last = paths[foot][paths[foot].length - 1], other = before && before[foot][before[foot].length - 1];
        if (before) way(g, foot, before[foot].map((p) => p && at(p)), [2, 4], dim);
        if (last) marker(g, foot, ...at(last), size(forces[foot]));
        if (other) ring(g, foot, ...at(other), size(forces[foot]));
        if (before && last) letter(g, "B", ...at(last), colour("paper"));
        if (other && (!last || Math.hypot(last[0] - other[0], last[1] - other[1]) * f.scale > 14)) letter(g, "A", ...at(other), colour(foot));
    }
    if (net) {
        const x = f.x(s * net[0]), y = f.y(net[1]);
        g.strokeStyle = colour("ink");
        g.lineWidth = 3;
        g.beginPath();
        g.moveTo(x - 9, y);
        g.lineTo(x + 9, y);
        g.moveTo(x, y - 9);
        g.lineTo(x, y + 9);
        g.stroke();
    }
    g.globalAlpha = 1;
}

/** Half the width of a sole, in parts of its width, from heel to toes in parts of its length. */
const OUTER = [[0, 0.16], [0.05, 0.31], [0.15, 0.37], [0.4, 0.36], [0.66, 0.47], [0.82, 0.45], [0.94, 0.28], [1, 0.02]];
const INNER = [[0, 0.16], [0.05, 0.31], [0.15, 0.36], [0.42, 0.24], [0.6, 0.42], [0.72, 0.5], [0.88, 0.44], [0.97, 0.24], [1, 0.02]];
/** Where heel, arch, ball and toes meet. */
const REGIONS = [0.3, 0.58, 0.82];

/** A foot on the plate: in the golfer frame, mm; its outer edge is away from the other foot. */
function sole(g, foot, { heel_target_mm, heel_toe_mm, toes_target_mm, toes_toe_mm, width_mm }, f, s) {
    const along = [toes_target_mm - heel_target_mm, toes_toe_mm - heel_toe_mm], length = Math.hypot(...along);
    if (!(length > 0) || !(width_mm > 0)) return;
    const way = foot === "lead" ? 1 : -1; // the lead foot's outer edge lies target-ward
    const aside = [(way * along[1]) / length, (-way * along[0]) / length];
    const at = (part, half) => [f.x(s * (heel_target_mm + part * along[0] + half * width_mm * aside[0])), f.y(heel_toe_mm + part * along[1] + half * width_mm * aside[1])];
    const edge = [...OUTER.map(([part, half]) => at(part, half)), ...INNER.map(([part, half]) => at(part, -half)).reverse()];
    g.save();
    g.beginPath();
    const middle = (i) => [0, 1].map((k) => (edge[i % edge.length][k] + edge[(i + 1) % edge.length][k]) / 2);
    g.moveTo(...middle(0));
    for (let i = 1; i <= edge.length; i++) g.quadraticCurveTo(...edge[i % edge.length], ...middle(i));
    g.closePath();
    g.fillStyle = g.strokeStyle = colour(foot);
    g.lineWidth = 2;
    g.setLineDash(DASH[foot]);
    g.stroke();
    g.globalAlpha *= 0.12;
    g.fill();
    g.clip();
    g.globalAlpha *= 4;
    g.lineWidth = 1;
    g.setLineDash([]);
    for (const part of REGIONS) {
        g.beginPath();
        g.moveTo(...at(part, 0.6));
        g.lineTo(...at(part, -0.6));
        g.stroke();
    }
    g.restore();
}

/** A line that grows stronger towards its end. */
function way(g, foot, path, dash, dim) {
    g.strokeStyle = colour(foot);
    g.lineWidth = 3;
    g.setLineDash(dash);
    for (let i = 1; i < path.length; i++) {
        if (!path[i] || !path[i - 1]) continue;
        g.globalAlpha = dim * (0.15 + (0.75 * i) / path.length);
        g.beginPath();
        g.moveTo(...path[i - 1]);
        g.lineTo(...path[i]);
        g.stroke();
    }
    g.setLineDash([]);
    g.globalAlpha = dim;
}

/** A marker's outline. */
function ring(g, foot, x, y, size) {
    g.strokeStyle = colour(foot);
    g.lineWidth = 3;
    g.beginPath();
    if (foot === "lead") g.arc(x, y, size, 0, 2 * Math.PI);
    else g.rect(x - 0.9 * size, y - 0.9 * size, 1.8 * size, 1.8 * size);
    g.stroke();
}

function letter(g, word, x, y, fill) {
    text(g, word, x, y, { size: 15, bold: true, align: "center", base: "middle", fill });
}

export function hatch(g, x, y, w, h) {
    g.save();
    g.beginPath();
    g.rect(x, y, w, h);
    g.clip();
    g.fillStyle = colour("band");
    g.fillRect(x, y, w, h);
    g.strokeStyle = colour("soft");
    g.lineWidth = 1;
    for (let k = x - h; k < x + w; k += 8) {
        g.beginPath();
        g.moveTo(k, y + h);
        g.lineTo(k + h, y);
        g.stroke();
    }
    g.restore();
}

function arrow(g, x, y, s, word) {
    g.fillStyle = colour("soft");
    g.beginPath();
    g.moveTo(x, y - 5);
    g.lineTo(x - 12 * s, y - 11);
    g.lineTo(x - 12 * s, y + 1);
    g.fill();
    text(g, word, x - 18 * s, y, { align: s < 0 ? "left" : "right" });
}

/** A round step so that span / step is at most n. */
export function niceStep(span, n) {
    const raw = span / n, power = 10 ** Math.floor(Math.log10(raw));
    for (const k of [1, 2, 5, 10]) if (k * power >= raw) return k * power;
    return raw;
}

/**
 * One chart in a box of a canvas.
 * lines: [{kind: lead|trail|total, x(i), y: array, dash, width}]; marks: [{x, label}];
 * areas: [{kind, x(i), y, half}]: y +- half, shaded.
 */
export function chart(g, box, { lines, range, x0, x1, marks = [], bands = [], areas = [], title, unit, high, low, cursor = null, ticks = true }) {
    const { x, y, w, h } = box;
    const [lo, hi] = range;
    const px = (v) => x + ((v - x0) / (x1 - x0)) * w, py = (v) => y + h - ((v - lo) / (hi - lo)) * h;
    g.fillStyle = colour("plate");
    g.fillRect(x, y, w, h);
    for (const [from, to] of bands) hatch(g, px(from), y, px(to) - px(from), h);
    const step = niceStep(hi - lo, Math.max(2, Math.floor(h / 34)));
    g.lineWidth = 1;
    for (let v = Math.ceil(lo / step) * step; v <= hi + 1e-9; v += step) {
        g.strokeStyle = colour(Math.abs(v) < 1e-9 ? "soft" : "rule");
        g.beginPath();
        g.moveTo(x, py(v));
        g.lineTo(x + w, py(v));
        g.stroke();
        if (ticks) text(g, String(Math.round(v * 100) / 100), x - 6, py(v), { size: 12, align: "right", base: "middle" });
    }
    g.save();
    g.beginPath();
    g.rect(x, y, w, h);
    g.clip();
    for (const mark of marks) {
        g.strokeStyle = colour("ink");
        g.setLineDash(mark.soft ? [2, 4] : []);
        g.globalAlpha = mark.soft ? 0.5 : 0.8;
        g.beginPath();
        g.moveTo(px(mark.x), y);
        g.lineTo(px(mark.x), y + h);
        g.stroke();
        g.globalAlpha = 1;
        g.setLineDash([]);
    }
    for (const area of areas) shade(g, area, px, py);
    for (const line of lines) {
        g.strokeStyle = colour(line.kind);
        g.lineWidth = line.width || (line.kind === "total" ? 1.5 : 2.5);
        g.setLineDash(line.dash || DASH[line.kind]);
        g.beginPath();
        let down = false;
        for (let i = 0; i < line.y.length; i++) {
            const v = line.y[i];
            if (v === null || v === undefined) {
                down = false;
                continue;
            }
            if (down) g.lineTo(px(line.x(i)), py(v));
            else g.moveTo(px(line.x(i)), py(v));
            down = true;
        }
        g.stroke();
        g.setLineDash([]);
    }
    if (cursor !== null) {
        g.strokeStyle = colour("cursor");
        g.lineWidth = 2;
        g.beginPath();
        g.moveTo(px(cursor), y);
        g.lineTo(px(cursor), y + h);
        g.stroke();
    }
    g.restore();
    if (title) {
        text(g, title, x + 8, y + 18, { size: 14, fill: colour("ink"), bold: true });
        g.font = `700 14px ${colour("face")}`;
        text(g, unit, x + 14 + g.measureText(title).width, y + 18, { size: 12 });
    }
    if (high) text(g, high, x + w - 8, y + 16, { size: 12, align: "right" });
    if (low) text(g, low, x + w - 8, y + h - 6, { size: 12, align: "right" });
}

/** Stretches without a value are left out. */
function shade(g, { kind, x, y, half }, px, py) {
    g.fillStyle = colour(kind);
    g.globalAlpha = 0.16;
    const known = (i) => i < y.length && y[i] !== null && half[i] !== null;
    for (let from = 0; from < y.length; from++) {
        if (!known(from)) continue;
        let to = from;
        while (known(to)) to++;
        g.beginPath();
        for (let i = from; i < to; i++) g.lineTo(px(x(i)), py(y[i] + half[i]));
        for (let i = to - 1; i >= from; i--) g.lineTo(px(x(i)), py(y[i] - half[i]));
        g.fill();
        from = to;
    }
    g.globalAlpha = 1;
}
