// Answers each case of tests/vectors/counted.json with static/js/counted.js; prints one JSON list.
// node run_counted.mjs <counted.js> <counted.json>

import { readFileSync } from "node:fs";

const [, , modulePath, casesPath] = process.argv;
const source = readFileSync(modulePath, "utf8");
const { counted } = await import("data:text/javascript;base64," + Buffer.from(source).toString("base64"));
const { cases } = JSON.parse(readFileSync(casesPath, "utf8"));
process.stdout.write(JSON.stringify(cases.map((row) => counted(row.values, row, row.temperature))));
