// SPDX-License-Identifier: MIT
// The live page: which view is shown, what the daemon says, what is told to it. Text from outside
// goes into text nodes only.
import { Link } from "./link.js";
import { Standing } from "./standing.js";
import { SwingView, element, replace } from "./swing.js";
import { fillHealth, fillList, healthNotes } from "./lists.js";
import { CompareView } from "./compare.js";
import { SessionView } from "./session.js";
import { PlayerView } from "./player.js";
import { Remarks } from "./remarks.js";
import { LessonView } from "./lesson.js";

const $ = (id) => document.getElementById(id);
const VIEWS = ["standing", "swing", "list", "plates", "compare", "sessions", "players"];
const STALE_MS = 700; // live values older than that are not shown as if they were of now

const standing = new Standing();
const swing = new SwingView();
const ask = (question) => link.ask(question);
const compare = new CompareView(ask);
/** From one view into another. */
const open = {
    swing: openSwing,
    session(id) {
        session.choose(id);
        go("sessions");
    },
    player(id) {
        player.choose(id);
        go("players");
    },
    compare(what, a, b) {
        compare.open(what, a, b);
        go("compare");
    },
};
const session = new SessionView(ask, open);
const player = new PlayerView(ask, open);
const remarks = new Remarks(ask, open);
const lesson = new LessonView(ask, (view) => go(view));
VIEWS.push("lesson"); // behind those that have a number; its key is L
/** What is told when a view is shown, and when what it shows may have changed. */
const ENTER = { compare, sessions: session, players: player };
let state = null, list = null, mayWrite = false, online = false, silent = false, why = "";
let liveAt = 0, problem = "", problemTimer = 0;

/* ---- views ---- */

function go(view) {
    document.body.dataset.view = view;
    for (const name of VIEWS) $(name).hidden = name !== view;
    for (const button of document.querySelectorAll("nav button"))
        button.setAttribute("aria-current", button.dataset.goto === view ? "page" : "false");
    standing.dirty = true;
    lesson.look();
    if (online) ENTER[view]?.enter();
    requestAnimationFrame(drawAll);
}
function drawAll() {
    for (const one of [swing, compare, player]) one.draw();
}
for (const button of document.querySelectorAll("nav button")) button.addEventListener("click", () => go(button.dataset.goto));

document.addEventListener("keydown", (event) => {
    const typing = event.target.matches("input[type=number], input[type=text], input[type=search], textarea, select");
    if (typing || event.ctrlKey || event.altKey || event.metaKey) return;
    const view = VIEWS[Number(event.key) - 1];
    if (view) go(view);
    else if (event.key === "n") step(1);
    else if (event.key === "o") step(-1);
    else if (event.key === "s" && document.body.dataset.view === "swing") remarks.star();
    else return;
    event.preventDefault();
});

/* ---- swings ---- */

function step(way) {
    if (!list || !swing.swing) return;
    const i = list.rows.findIndex((r) => r.id === swing.swing.id), other = list.rows[i - way];
    if (i >= 0 && other) link.ask({ ask: "swing", id: other.id });
}
$("older").addEventListener("click", () => step(-1));
$("newer").addEventListener("click", () => step(1));
$("follow").checked = localStorage.getItem("follow") !== "no";
$("follow").addEventListener("change", () => localStorage.setItem("follow", $("follow").checked ? "yes" : "no"));

let wanted = null; // the swing that was asked for by hand
function openSwing(id) {
    wanted = id;
    link.ask({ ask: "swing", id });
}

function showSwing(message) {
    const asked = message.id === wanted, first = !swing.swing;
    const newest = !swing.swing || message.id > swing.swing.id;
    const come = newest && state && state.last_swing === message.id && message.id > knownSwing;
    if (!asked && !first && newest && !$("follow").checked) return;
    swing.show(message);
    remarks.show(message.id);
    if (asked || (come && $("follow").checked)) go("swing");
    wanted = null;
    showList();
}

function showList() {
    if (!list) return;
    const i = list.rows.findIndex((r) => swing.swing && r.id === swing.swing.id);
    $("older").disabled = i < 0 || i + 1 >= list.rows.length;
    $("newer").disabled = i <= 0;
    fillList(list, openSwing, swing.swing ? swing.swing.id : null);
}

/* ---- what is wrong, in words ---- */

function line() {
    if (!online) return ["gone", "no daemon"];
    if (silent) return ["gone", "no answer"];
    if (!state) return ["wait", "connecting"];
    if (state.stopping) return ["wait", "stopping"];
    return { receiving: ["good", "receiving"], stale: ["stale", "no samples"], waiting: ["wait", "no device"] }[state.state] || ["wait", state.state];
}

function showLine() {
    const [kind, word] = line(), notes = [];
    $("line").dataset.kind = kind;
    $("line").querySelector(".word").textContent = word;
    if (!online) notes.push(["bad", why || "The daemon does not answer; trying again."]);
    else if (silent) notes.push(["bad", "The daemon has said nothing for some seconds."]);
    if (online && !silent && state) {
        if (state.state !== "receiving") notes.push(["bad", `${state.state === "stale" ? "No samples" : "No device"}: ${state.state_text}`]);
        else if (!state.tared) notes.push(["look", "No zero yet: keep the plates empty and still for some seconds."]);
        if (state.calibration.nominal) notes.push(["look", "No calibration: forces come from the cells' data sheets."]);
        notes.push(...healthNotes(state));
        if (state.store_problem) notes.push(["bad", `Swings wait in memory: ${state.store_problem}`]);
        if (standing.plates && standing.plates.length === 1) notes.push(["look", "One plate under both feet: no share and no numbers of each foot."]);
    }
    if (problem) notes.push(["bad", problem]);
    const text = JSON.stringify(notes);
    if (text === $("notes").dataset.text) return;
    $("notes").dataset.text = text;
    replace($("notes"), notes.map(([grade, words]) => element("p", { className: grade, textContent: words })));
}

function showProblem(text) {
    problem = text;
    clearTimeout(problemTimer);
    problemTimer = setTimeout(() => {
        problem = "";
        showLine();
    }, 6000);
    showLine();
}

/* ---- the daemon ---- */

let led = null; // the open lesson and block, as the last state had them
let knownSwing = Infinity; // the newest when this page came: what is newer comes by itself
const take = {
    hello(message) {
        mayWrite = message.may_write;
        remarks.may(mayWrite);
        standing.plates = message.plates;
        $("tare").disabled = !mayWrite;
        lesson.hello(mayWrite);
        $("hand").disabled = !mayWrite;
        link.ask({ ask: "swings" });
        link.ask({ ask: "swing" });
        ENTER[document.body.dataset.view]?.enter();
    },
    live(message) {
        liveAt = performance.now();
        standing.add(message);
    },
    state(message) {
        state = message;
        if (knownSwing === Infinity) knownSwing = message.last_swing || 0;
        standing.hand = message.hand;
        standing.soles = message.feet ? message.feet.now : null;
        $("standing").dataset.hand = message.hand;
        standing.dirty = true;
        for (const radio of document.querySelectorAll("#hand input")) radio.checked = radio.value === message.hand;
        fillHealth(message);
        lesson.state(message);
        const now = message.lesson;
        const taught = JSON.stringify(now && [now.session, now.player_id, now.block && now.block.id]);
        if (led !== null && led !== taught) ENTER[document.body.dataset.view]?.enter(); // a lesson or a block began or ended
        led = taught;
        if (message.state !== "receiving") standing.stale();
        showLine();
    },
    swing: showSwing,
    swings(message) {
        list = message;
        showList();
        ENTER[document.body.dataset.view]?.enter(); // a swing came, or somebody changed one
    },
    lesson: (message) => lesson.list(message),
    compare: (message) => compare.show(message),
    sessions(message) {
        session.takeSessions(message);
        if (document.body.dataset.view === "compare") compare.takeSessions(message);
    },
    session(message) {
        session.takeSession(message);
        if (document.body.dataset.view === "compare") compare.takeSession(message);
    },
    remarks: (message) => remarks.take(message),
    players: (message) => player.takePlayers(message),
    player: (message) => player.takePlayer(message),
    answer(message) {
        lesson.answer(message);
        $("told").textContent = message.text || "done";
    },
    problem(message) {
        lesson.problem(message);
        if (message.ask === "remark") remarks.refused();
        if (message.text !== "no swing is stored yet") showProblem(message.text);
    },
};

const link = new Link({
    open() {
        online = true;
        knownSwing = Infinity;
        why = "";
        showLine();
    },
    closed(reason) {
        online = false;
        why = reason ? `Not let in: ${reason}.${/token/.test(reason) ? " Open the link that underfootd gave out." : ""}` : "";
        standing.stale();
        showLine();
    },
    silent(yes) {
        silent = yes;
        if (yes) standing.stale();
        showLine();
    },
    message(message) {
        if (Object.hasOwn(take, message.type)) take[message.type](message);
    },
});

$("tare").addEventListener("click", () => link.ask({ ask: "tare" }));
for (const radio of document.querySelectorAll("#hand input"))
    radio.addEventListener("change", () => link.ask({ ask: "hand", hand: radio.value }));

function frame() {
    if (standing.fresh && performance.now() - liveAt > STALE_MS) standing.stale();
    if (document.body.dataset.view === "standing") standing.draw();
    requestAnimationFrame(frame);
}
window.addEventListener("resize", () => {
    standing.dirty = true;
    drawAll();
});
go("standing");
frame();
