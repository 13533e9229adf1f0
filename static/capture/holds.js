// What a hold says on the floor: why it stands, what may still be done, and who ends it.

import { t } from "./words.js";

/** One sentence more than the reason. A hold without a stage holds every stage. */
export function holdSentence(hold) {
  const then = hold.from_stage === null ? t("Inspecting may go on; no stage can be signed until it is decided.")
    : t("Inspecting may go on; stages after {0} cannot be signed until it is decided.", hold.from_stage);
  return `${hold.reason.replace(/[^.?!]$/, "$&.")} ${then}`; // what a person wrote may end without a stop
}
