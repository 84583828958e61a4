// SPDX-License-Identifier: MIT
// The standing view: where the weight is now, the wanted band, and the toe-heel push of each foot.
import { FEET, begin, chart, colour, feet, hatch, marker, text } from "./draw.js";

const G_M_S2 = 9.80665; // kilograms are shown at standard gravity
const TRAIL_S = 2; // of the centre of pressure
const TRACE_S = 6;
const ON_N = 60; // below it nobody stands there: no share
const PUSH_N = 25; // a push is at least so far from the mean of its surroundings
const PAIR_S = 0.3; // pushes of the two feet that belong together

const $ = (id) => document.getElementById(id);

export class Standing {
    constructor() {
        this.samples = [];
        this.plates = null;
        this.hand = "right";
        this.soles = null; // where rocking has found the feet
        this.fresh = false;
        this.dirty = true;
        this.band = read("band", { foot: "trail", from: 65, to: 70 });
        $("band-foot").value = this.band.foot;
        $("band-from").value = this.band.from;
        $("band-to").value = this.band.to;
        for (const id of ["band-foot", "band-from", "band-to"])
            $(id).addEventListener("change", () => this.setBand());
        $("band").addEventListener("submit", (event) => event.preventDefault());
        this.tone = new Tone($("tone"));
    }

    setBand() {
        const from = clamp($("band-from").valueAsNumber, 0, 100), to = clamp($("band-to").valueAsNumber, 0, 100);
        if (Number.isFinite(from) && Number.isFinite(to))
            this.band = { foot: $("band-foot").value, from: Math.min(from, to), to: Math.max(from, to) };
        localStorage.setItem("band", JSON.stringify(this.band));
        $("band-from").value = this.band.from;
        $("band-to").value = this.band.to;
        this.dirty = true;
    }

    add(live) {
        const last = this.samples[this.samples.length - 1], t = live.t_dev_us / 1e6;
        if (last && (t <= last.t || t - last.t > 2)) this.samples = []; // another board, another time
        this.samples.push({ t, live });
        while (this.samples[0].t < t - TRACE_S) this.samples.shift();
        this.fresh = true;
        this.dirty = true;
    }

    /** Nothing comes any more: what was known fades, figures go. */
    stale() {
        this.fresh = false;
        this.dirty = true;
    }

    draw() {
        if (!this.dirty) return;
        this.dirty = false;
        const last = this.samples[this.samples.length - 1];
        const live = this.fresh && last ? last.live : null;
        const share = live && live.lead && live.total_n > ON_N
            ? { lead: (100 * live.lead.vertical_n) / live.total_n, trail: (100 * live.trail.vertical_n) / live.total_n } : null;
        for (const foot of FEET) {
            const digits = share && share[foot] >= 99.5 ? "3" : "2"; // three are set smaller
            if ($(`${foot}-share`).dataset.digits !== digits) $(`${foot}-share`).dataset.digits = digits;
            $(`${foot}-share`).textContent = share ? String(Math.round(clamp(share[foot], 0, 100))) : "–";
            $(`${foot}-region`).textContent = (live && live[foot] && live[foot].region) || "";
            $(`${foot}-force`).textContent = live && live[foot] ? kg(live[foot].vertical_n) : "–";
        }
        $("weight").textContent = live && live.total_n !== null ? kg(live.total_n) : "–";
        this.drawFeet(share);
        this.drawBar(share);
        this.drawTraces();
    }

    drawFeet(share) {
        const since = this.samples.length ? this.samples[this.samples.length - 1].t - TRAIL_S : 0;
        const recent = this.samples.filter((s) => s.t >= since).map((s) => s.live);
        const path = (foot) => recent.map((l) => (l[foot] && l[foot].cop_target_mm !== null ? [l[foot].cop_target_mm, l[foot].cop_toe_mm] : null));
        const last = recent[recent.length - 1];
        feet($("feet"), {
            plates: this.plates, hand: this.hand, stale: !this.fresh, soles: this.soles,
            paths: { lead: path("lead"), trail: path("trail") },
            forces: { lead: share ? share.lead / 100 : 0.3, trail: share ? share.trail / 100 : 0.3 },
            net: last && last.net_target_mm !== null ? [last.net_target_mm, last.net_toe_mm] : null,
        });
    }

    /** All weight on the left foot is the left end, whoever's foot that is. */
    drawBar(share) {
        const c = begin($("bar"));
        if (!c) return;
        const { g, w, h } = c, x0 = 12, bw = w - 24, y = 22, bh = h - 44;
        const leftFoot = this.hand === "left" ? "trail" : "lead", rightFoot = leftFoot === "lead" ? "trail" : "lead";
        const at = (foot, pct) => x0 + (bw * (foot === rightFoot ? pct : 100 - pct)) / 100;
        g.fillStyle = colour("plate");
        g.beginPath();
        g.roundRect(x0, y, bw, bh, 6);
        g.fill();
        const a = at(this.band.foot, this.band.from), b = at(this.band.foot, this.band.to);
        hatch(g, Math.min(a, b), y, Math.abs(b - a), bh);
        for (let v = 0; v <= 100; v += 25) {
            g.fillStyle = colour("rule");
            g.fillRect(x0 + (bw * v) / 100 - 0.5, y, 1, bh);
        }
        text(g, `all on the ${leftFoot}`, x0, 14, { fill: colour(leftFoot) });
        text(g, "even", w / 2, 14, { align: "center" });
        text(g, `all on the ${rightFoot}`, x0 + bw, 14, { align: "right", fill: colour(rightFoot) });
        text(g, `${this.band.from}–${this.band.to} % ${this.band.foot}`, clamp((a + b) / 2, 70, w - 70), h - 5, { align: "center", fill: colour("ink"), bold: true });
        const inside = share !== null && share[this.band.foot] >= this.band.from && share[this.band.foot] <= this.band.to;
        if (share) {
            const x = at(rightFoot, clamp(share[rightFoot], 0, 100));
            g.fillStyle = colour("ink");
            g.fillRect(x - 4, y - 5, 8, bh + 10);
        }
        const word = !share ? "" : inside ? "inside" : share[this.band.foot] < this.band.from ? "below" : "above";
        $("inside").textContent = word;
        $("inside").dataset.word = word;
        document.querySelector("#standing").dataset.inside = inside ? this.band.foot : "";
        this.tone.set(inside);
    }

    drawTraces() {
        const c = begin($("traces"));
        if (!c) return;
        const { g, w, h } = c, n = this.samples.length, now = n ? this.samples[n - 1].t : TRACE_S;
        const series = (foot) => this.samples.map((s) => (s.live[foot] ? s.live[foot].toe_n : null));
        let top = 60;
        for (const foot of FEET) for (const v of series(foot)) top = Math.max(top, Math.abs(v || 0) * 1.1);
        g.globalAlpha = this.fresh ? 1 : 0.35;
        chart(g, { x: 44, y: 6, w: w - 50, h: h - 12 }, {
            lines: FEET.map((foot) => ({ kind: foot, y: series(foot), x: (i) => this.samples[i].t })),
            range: [-top, top], x0: now - TRACE_S, x1: now, high: "toe-ward, N", low: "heel-ward, N",
        });
        for (const [i, foot] of FEET.entries()) {
            marker(g, foot, 62 + 90 * i, 20, 6);
            text(g, foot, 74 + 90 * i, 25, { fill: colour(foot), bold: true });
        }
        g.globalAlpha = 1;
        const lags = this.fresh ? lagsOf(this.samples) : [];
        const mean = lags.reduce((a, b) => a + b, 0) / lags.length;
        $("lag").textContent = !lags.length ? "Push heel against toe: here stands the time between the peaks."
            : `Last push: ${lagWords(lags[0])}${lags.length > 1 ? `; last ${lags.length}, mean: ${lagWords(mean)}` : ""}`;
    }
}

/** Times of tops and bottoms of a curve that stand out, with the way they go. */
function pushes(t, y) {
    const out = [], mean = y.reduce((a, b) => a + b, 0) / y.length;
    for (let i = 2; i + 2 < y.length; i++) {
        const d = y[i] - mean, way = Math.sign(d);
        if (Math.abs(d) < PUSH_N) continue;
        let best = true;
        for (let k = i - 1; best && k >= 0 && t[i] - t[k] < PAIR_S; k--) best = way * y[k] <= way * y[i];
        for (let k = i + 1; best && k < y.length && t[k] - t[i] < PAIR_S; k++) best = way * y[k] < way * y[i];
        if (!best || t[y.length - 1] - t[i] < PAIR_S) continue;
        const a = y[i - 1], b = y[i], c = y[i + 1], bend = a - 2 * b + c; // top of the parabola
        const shift = bend ? (0.5 * (a - c)) / bend : 0;
        out.push({ t: t[i] + shift * (shift > 0 ? t[i + 1] - t[i] : t[i] - t[i - 1]), way });
    }
    return out;
}

const lagWords = (ms) => (Math.abs(ms) < 5 ? "both peaks together" : `trail foot ${Math.abs(Math.round(ms))} ms ${ms > 0 ? "after" : "before"} the lead foot`);

/** ms by which the trail foot's push came after the lead foot's, of pairs that go opposite ways; the last first. */
export function lagsOf(samples) {
    const both = samples.filter((s) => s.live.lead && s.live.lead.toe_n !== null && s.live.trail.toe_n !== null);
    const lags = [];
    if (both.length < 20) return lags;
    const t = both.map((s) => s.t);
    const lead = pushes(t, both.map((s) => s.live.lead.toe_n)), trail = pushes(t, both.map((s) => s.live.trail.toe_n));
    for (const l of lead.reverse()) {
        const near = trail.filter((p) => p.way === -l.way && Math.abs(p.t - l.t) < PAIR_S);
        if (near.length) {
            near.sort((p, q) => Math.abs(p.t - l.t) - Math.abs(q.t - l.t));
            lags.push(1000 * (near[0].t - l.t));
        }
    }
    return lags;
}

/** A quiet tone while the share is inside the band. */
class Tone {
    constructor(box) {
        this.box = box;
        box.addEventListener("change", () => this.start());
    }

    start() {
        if (!this.box.checked || this.gain) return;
        const audio = new AudioContext(), tone = audio.createOscillator();
        this.audio = audio;
        this.gain = audio.createGain();
        this.gain.gain.value = 0;
        tone.frequency.value = 440;
        tone.connect(this.gain).connect(audio.destination);
        tone.start();
    }

    set(inside) {
        clearTimeout(this.timer); // no more values, or nobody looks at them: silence
        if (inside) this.timer = setTimeout(() => this.set(false), 500);
        if (this.gain)
            this.gain.gain.setTargetAtTime(inside && this.box.checked ? 0.12 : 0, this.audio.currentTime, 0.04);
    }
}

function read(key, otherwise) {
    try {
        const v = JSON.parse(localStorage.getItem(key));
        return v && FEET.includes(v.foot) && Number.isFinite(v.from) && Number.isFinite(v.to) ? v : otherwise;
    } catch {
        return otherwise;
    }
}
const clamp = (v, lo, hi) => Math.min(hi, Math.max(lo, v));
const kg = (n) => (Math.abs(n) < 0.05 * G_M_S2 ? "0.0" : (n / G_M_S2).toFixed(1));
