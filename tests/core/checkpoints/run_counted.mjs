// Answers each case of tests/vectors/counted.json and temperature_uncertainty.json with static/js/counted.js; prints one
// JSON list. node run_counted.mjs <counted.js> <vectors>

import { readFileSync } from "node:fs";

const [, , modulePath, casesPath] = process.argv;
const source = readFileSync(modulePath, "utf8");
const { counted, temperatureUncertainty, together } = await import("data:text/javascript;base64," + Buffer.from(source).toString("base64"));
const { cases } = JSON.parse(readFileSync(casesPath, "utf8"));
const uncertain = (row) => {
  const added = temperatureUncertainty(row.counts, row, row.temperature);
  return [added, together(row.gauge, added, row.decimals)];
};
const answer = (row) => (row.counts ? uncertain(row) : counted(row.values, row, row.temperature));
process.stdout.write(JSON.stringify(cases.map(answer)));
