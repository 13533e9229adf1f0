// What a hold says on the floor: why it stands, what may still be done, and who ends it.

/** One sentence more than the reason. A hold without a stage holds every stage. */
export function holdSentence(hold) {
  const signing = hold.from_stage === null ? "no stage can be signed" : `stages after ${hold.from_stage} cannot be signed`;
  return `${hold.reason} Inspecting may go on; ${signing} until it is decided.`;
}
