// Answers each case of a file of cases with static/js/verdict.js; prints one JSON list, in the order of the cases.
// node run_twin.mjs <verdict.js> <cases.json>

import { readFileSync } from "node:fs";

const [, , modulePath, casesPath] = process.argv;
const source = readFileSync(modulePath, "utf8");
const { parseValue, compare, judge, roundValue, Refusal } = await import(
  "data:text/javascript;base64," + Buffer.from(source).toString("base64")
);

const ACTIONS = {
  parse: (row) => ({ value: parseValue(row.text, options(row)) }),
  judge: (row) =>
    judge(parseValue(row.text), row.band, {
      rule: row.rule ?? "simple",
      expandedUncertainty: row.expanded_uncertainty ?? null,
    }),
  judge_text: (row) => judge(row.text, row.band),
  compare: (row) => ({ order: compare(row.first, row.second) }),
  round: (row) => ({ value: roundValue(row.value, row.step, { rule: row.rule }) }),
};

function options(row) {
  const named = { decimalMark: row.decimal_mark, units: row.units, maxDigits: row.max_digits };
  return Object.fromEntries(Object.entries(named).filter(([, value]) => value !== undefined));
}

function answer(row) {
  try {
    return ACTIONS[row.do](row);
  } catch (error) {
    if (error instanceof Refusal) return { code: error.code, message: error.message };
    throw error;
  }
}

const { cases } = JSON.parse(readFileSync(casesPath, "utf8"));
process.stdout.write(JSON.stringify(cases.map(answer)));
