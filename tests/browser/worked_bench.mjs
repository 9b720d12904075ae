// A bench on which something of everything was done, so that every page has something to show.

import assert from "node:assert/strict";
import { ORDER, startOwnBench } from "./own_bench.mjs";

/** Starts it; gives the bench and the address of every kind of page, those that say why there is nothing included. */
export async function startWorkedBench() {
  const bench = await startOwnBench({ kits: true });
  const empty = (id) => bench.until("api/v1/state", (state) => state.instruments.find((one) => one.id === id).phase === "empty");
  const done = async (command) => {
    const answer = await bench.command(command);
    assert.equal(answer.status, 200, `${command.command}: ${await answer.text()}`);
  };
  await done({ command: "import_order", text: ORDER });
  await done({ command: "operator", operator: "K7" });
  await done({ command: "open_order", order: "W-7001" });
  const weigh = async (grams) => {
    await empty("parts-scale");
    const before = (await bench.get("api/v1/state")).captures.length;
    bench.lay("parts-scale", grams);
    await bench.until("api/v1/state", (state) => state.captures.length > before);
    bench.lift("parts-scale");
    await empty("parts-scale");
  };
  for (const grams of [203.2, 206.9, 64.1]) await weigh(grams);
  const [last] = (await bench.get("api/v1/records/W-7001/1")).entries.slice(-1);
  await done({ command: "void", event: last.event, why: "the part was touched" });
  await done({ command: "enter", characteristic: "shaft_mass", quantity: "64.2 g" });
  // A check and a calibration on the club scale, a study on the gauge, an intake on the parts scale.
  await empty("club-scale");
  await done({ command: "check_begin", instrument: "club-scale", mass: "1000 g", class: "M1" });
  bench.lay("club-scale", 1000);
  await bench.until("api/v1/instruments/club-scale", (one) => one.checks.weights.length > 0);
  bench.lift("club-scale");
  await empty("club-scale");
  await done({ command: "calibrate_begin", instrument: "club-scale", temperature_c: 21.5 });
  for (const [at, grams] of [500, 1000, 2000].entries()) {
    await done({ command: "calibrate_point", instrument: "club-scale", mass: `${grams} g`, class: "M1" });
    bench.lay("club-scale", grams);
    await bench.until("api/v1/instruments/club-scale", (one) => one.checks.calibrating?.as_found > at);
    bench.lift("club-scale");
    await empty("club-scale");
  }
  await done({ command: "calibrate_adjust", instrument: "club-scale" });
  await done({ command: "study_begin", instrument: "gauge", characteristic: "lie", people: ["K7", "M2"], parts: 2, trials: 2 });
  const { records } = await bench.get("api/v1/records");
  const { token } = records.find((record) => record.club === "W-7001/1") ?? records[0];
  const pages = [
    "",
    "instruments",
    "instruments/parts-scale/check",
    "instruments/club-scale/check",
    "instruments/club-scale/calibrate",
    "instruments/gauge/calibrate",
    "instruments/nobody/check",
    "records",
    "records?find=nobody",
    `records/${token}`,
    "records/nobody",
    `readings/${last.event}`,
    "readings/x",
    "orders",
    "orders/W-7001/set",
    "orders/W-1/set",
    "drawers",
    "stock",
    "stock/labels",
    "history",
    "history?since=soon",
    "studies",
    "studies/S-1",
    "studies/S-9",
    "setup",
  ];
  return { bench, pages };
}
