// SPDX-License-Identifier: MIT
// One value of the database, by the sqlite3 program (Node 18 and 20 have no SQLite of their own).
import { execFileSync } from "node:child_process";

export function one(file, sql) {
    return execFileSync("sqlite3", ["-readonly", file, sql], { encoding: "utf8" }).trim();
}
