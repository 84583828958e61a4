// SPDX-License-Identifier: MIT
// The database, by the sqlite3 program (Node 18 and 20 have no SQLite of their own).
import { execFileSync } from "node:child_process";

export function one(file, sql) {
    return execFileSync("sqlite3", ["-readonly", file, sql], { encoding: "utf8" }).trim();
}

export function run(file, sql) {
    execFileSync("sqlite3", ["-cmd", ".timeout 10000", file, sql]);
}
