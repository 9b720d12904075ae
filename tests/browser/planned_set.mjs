// A set of two irons, and the measured stock from which it can be planned.

import assert from "node:assert/strict";

export const SET = `order = "W-7102"

[[club]]
name = "5-iron"
kind = "iron"
length = "38 in"
swing_weight = "D2 ± 0.5"

[[club]]
name = "7-iron"
kind = "iron"
length = "37 in"
swing_weight = "D2 ± 0.5"
`;

const ROWS = [
  ["head", [[256.2, { for: "5-iron" }], [270.1, { for: "7-iron" }]]],
  ["shaft", [[112.3, {}], [113.1, {}]]],
  ["grip", [[50.2, {}], [49.5, {}]]],
];

/** Lays a row of parts of each kind down on the parts scale; each head is made for one of the clubs. */
export async function stockTheSet(bench) {
  for (const [kind, parts] of ROWS) {
    const facts = kind === "shaft" ? { length: "40 in", balance: "510 mm" } : {};
    assert.ok((await bench.command({ command: "begin_intake", kind, instrument: "parts-scale", ...facts })).ok);
    for (const [grams, more] of parts) {
      await bench.until("api/v1/state", (state) => state.instruments.find(({ id }) => id === "parts-scale").phase === "empty");
      const before = (await bench.get("api/v1/parts")).parts.length;
      bench.lay("parts-scale", grams);
      const { parts: all } = await bench.until("api/v1/parts", ({ parts: found }) => found.length > before);
      bench.lift("parts-scale");
      if (more.for) {
        const numbers = all.map(({ part }) => part).sort();
        const newest = numbers.filter((number) => number.startsWith("H-")).at(-1);
        assert.ok((await bench.command({ command: "describe_part", part: newest, ...more })).ok);
      }
    }
    assert.ok((await bench.command({ command: "end_intake" })).ok);
  }
}
