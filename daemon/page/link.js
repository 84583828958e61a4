// SPDX-License-Identifier: MIT
// The websocket: opens, opens again by itself, hands out messages, and says when nothing comes.
const RETRY_MS = [250, 500, 1000, 2000];
const SILENT_MS = 2500; // the daemon speaks once a second at least

/** handlers: message(object), open(), closed(reason), silent(yes) */
export class Link {
    constructor(handlers) {
        this.handlers = handlers;
        this.tries = 0;
        this.silent = false;
        this.token = takeToken();
        this.connect();
        setInterval(() => this.look(), 250);
    }

    connect() {
        const scheme = location.protocol === "https:" ? "wss:" : "ws:";
        this.heard = performance.now();
        this.socket = new WebSocket(`${scheme}//${location.host}/live`, "underfoot");
        this.socket.onopen = () => {
            if (this.token) this.ask({ ask: "enter", token: this.token });
        };
        this.socket.onmessage = (event) => {
            this.heard = performance.now();
            const message = JSON.parse(event.data);
            if (message.type === "hello") {
                this.tries = 0;
                this.handlers.open();
            }
            this.setSilent(false);
            this.handlers.message(message);
        };
        this.socket.onclose = (event) => {
            this.handlers.closed(event.reason);
            const wait = RETRY_MS[Math.min(this.tries++, RETRY_MS.length - 1)];
            setTimeout(() => this.connect(), wait);
        };
    }

    ask(question) {
        if (this.socket.readyState === WebSocket.OPEN) this.socket.send(JSON.stringify(question));
    }

    setSilent(silent) {
        if (this.silent === silent) return;
        this.silent = silent;
        this.handlers.silent(silent);
    }

    look() {
        const open = this.socket.readyState === WebSocket.OPEN;
        this.setSilent(open && performance.now() - this.heard > SILENT_MS);
    }
}

/** From the link's fragment, which no server sees; kept for this tab, and taken out of sight. */
function takeToken() {
    const found = /[#&]token=([0-9a-f]{64})/.exec(location.hash);
    if (found) {
        sessionStorage.setItem("token", found[1]);
        history.replaceState(null, "", location.pathname);
    }
    return sessionStorage.getItem("token");
}
