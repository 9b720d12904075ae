// Scenes for the mock bench: whole states of an invented shop, in the shape that the daemon's `GET api/v1/state` has.
// Every name and number here is made up for the display; none is a measurement or a result of the program.

/** A state with one driver in work and the given changes on top. */
export function scene(changes = {}) {
  return {
    version: "0.1.0",
    site: "dune-trailer",
    bench: "bench-1",
    now: new Date().toISOString(),
    seq: 123,
    beat: 4567,
    operator: null,
    banners: [],
    instruments: [scale(), beam(), gauge()],
    order: order(),
    queue: queue(),
    club: club(),
    captures: captures(),
    ...changes,
  };
}

export const headMass = (changes = {}) => ({
  characteristic: "head_mass",
  stage: "part",
  value: 203.1,
  text: "203.10 g",
  u: 0.05,
  unit: "g",
  target: 203.0,
  lower: 201.0,
  upper: 205.0,
  target_text: "203.0 g",
  deviation: 0.1,
  deviation_text: "+0.1 g",
  verdict: "within",
  marginal: false,
  ...changes,
});

export const scale = (changes = {}) => ({
  id: "parts-scale",
  name: "parts scale",
  kind: "scale",
  connected: true,
  error: null,
  format: "hdr2-sign8-unit3",
  refused: 3,
  age_ms: 40,
  phase: "empty",
  progress: null,
  message: null,
  readings: [],
  ...changes,
});

export const beam = (changes = {}) => ({
  id: "beam",
  name: "swing weight beam",
  kind: "beam",
  connected: true,
  error: null,
  format: "two-cells",
  refused: 0,
  age_ms: 60,
  phase: "empty",
  progress: null,
  message: null,
  readings: [],
  ...changes,
});

export const gauge = (changes = {}) => ({
  id: "angle-gauge",
  name: "loft and lie gauge",
  kind: "gauge",
  connected: true,
  error: null,
  format: "two-angles",
  refused: 0,
  age_ms: 90,
  phase: "empty",
  progress: null,
  message: null,
  readings: [],
  ...changes,
});

export const beamReadings = (deviation = -0.7) => [
  {
    characteristic: "swing_weight",
    stage: "dry_fit",
    value: 33 + deviation,
    text: `D${(3 + deviation).toFixed(1)}`,
    u: 0.06,
    unit: "{point}",
    target: 33,
    lower: 32.5,
    upper: 33.5,
    target_text: "D3.0 ± 0.5",
    deviation,
    deviation_text: `${deviation < 0 ? "-" : "+"}${Math.abs(deviation).toFixed(1)} pt`,
    verdict: deviation < -0.5 ? "under" : deviation > 0.5 ? "over" : "within",
    marginal: false,
  },
  {
    characteristic: "total_mass",
    stage: "dry_fit",
    value: 318.4,
    text: "318.4 g",
    u: 0.1,
    unit: "g",
    target: 320,
    lower: 317,
    upper: 323,
    target_text: "320.0 g ± 3.0 g",
    deviation: -1.6,
    deviation_text: "-1.6 g",
    verdict: "within",
    marginal: false,
  },
  {
    characteristic: "balance_point",
    stage: "dry_fit",
    value: 791.2,
    text: "791.2 mm",
    u: 0.4,
    unit: "mm",
    target: null,
    lower: null,
    upper: null,
    target_text: null,
    deviation: null,
    deviation_text: null,
    verdict: "no_target",
    marginal: false,
  },
];

export const gaugeReadings = () => [
  {
    characteristic: "loft",
    stage: "bonded",
    value: 10.9,
    text: "10.9°",
    u: 0.1,
    unit: "deg",
    target: 10.5,
    lower: 10.0,
    upper: 11.0,
    target_text: "10.5° ± 0.5°",
    deviation: 0.4,
    deviation_text: "+0.4°",
    verdict: "within",
    marginal: true,
  },
  {
    characteristic: "lie",
    stage: "bonded",
    value: 59.6,
    text: "59.6°",
    u: 0.1,
    unit: "deg",
    target: 58,
    lower: 57,
    upper: 59,
    target_text: "58.0° ± 1.0°",
    deviation: 1.6,
    deviation_text: "+1.6°",
    verdict: "over",
    marginal: false,
  },
];

const order = () => ({
  order: "W-1042",
  player: "P-17",
  clubs: [
    { club: "W-1042/1", name: "driver", state: "in_work", done: 3, of: 9 },
    { club: "W-1042/2", name: "3 wood", state: "waiting", done: 0, of: 9 },
    { club: "W-1042/3", name: "7 iron", state: "aside", done: 2, of: 10 },
  ],
});

const queue = () => [
  { order: "W-1043", player: "P-18", clubs: 3 },
  { order: "W-1044", player: "P-02", clubs: 14 },
  { order: "W-1045", player: "P-31", clubs: 1 },
];

const line = (characteristic, label, stage, unit, target_text, measured = {}) => ({
  characteristic,
  label,
  stage,
  unit,
  target: 1,
  lower: 0,
  upper: 2,
  target_text,
  value: null,
  text: null,
  u: null,
  deviation: null,
  deviation_text: null,
  verdict: target_text ? null : "no_target",
  marginal: false,
  instrument: null,
  method: null,
  captured_at: null,
  event: null,
  ...measured,
});

const measured = (text, deviation_text, verdict, instrument, event, more = {}) => ({
  value: 1,
  text,
  deviation_text,
  verdict,
  instrument,
  method: "measured",
  captured_at: "2026-11-25T09:58:00Z",
  event,
  ...more,
});

export const club = (changes = {}) => ({
  club: "W-1042/1",
  name: "driver",
  hand: "right",
  state: "in_work",
  stage: "part",
  next_step: "dry_fit",
  next: "lay the shaft on a scale",
  advice: ["add 1.6 g at the head"],
  cautions: [],
  cautions_short: [],
  characteristics: [
    line("head_mass", "head mass", "part", "g", "203.0 g ± 2.0 g", measured("203.1 g", "+0.1 g", "within", "parts-scale", "e1")),
    line("shaft_mass", "shaft mass", "part", "g", "64.0 g ± 1.0 g", measured("62.6 g", "-1.4 g", "under", "parts-scale", "e2")),
    line("shaft_balance", "shaft balance", "part", "mm", null, measured("585.0 mm", null, "no_target", "beam", "e3")),
    line(
      "grip_mass",
      "grip mass",
      "part",
      "g",
      "50.0 g ± 1.5 g",
      measured("51.4 g", "+1.4 g", "within", "parts-scale", "e4", { marginal: true }),
    ),
    line(
      "length",
      "length",
      "dry_fit",
      "mm",
      "45 1/4 in ± 1/16 in",
      measured("45 3/8 in", "+1/8 in", "over", null, "e5", { method: "typed" }),
    ),
    line("swing_weight", "swing weight", "dry_fit", "{point}", "D3.0 ± 0.5"),
    line("total_mass", "total mass", "dry_fit", "g", "320.0 g ± 3.0 g"),
    line("loft", "loft", "bonded", "deg", "10.5° ± 0.5°"),
    line("lie", "lie", "bonded", "deg", "58.0° ± 1.0°"),
    line("swing_weight", "swing weight", "final", "{point}", "D3.0 ± 0.5"),
  ],
  ...changes,
});

export const bendAdvice = () => ({
  characteristic: "lie",
  change_deg: 1.2,
  aim_deg: 1.5,
  spring_back_deg: 0.3,
  learnt_from: 2,
  warning: null,
  quantity: "1.5 deg upright",
  text: "bend 1.2° upright; aim for 1.5° at the lever: springs back 0.3° (2 bends of this head)",
});

export const ruleCheck = () => ({
  edition: "2019, first edition",
  source: "Equipment Rules published by the two governing bodies",
  standing: "over",
  text: "length 48 1/4 in: over, at most 48 in; within: grip diameter; not judged: head volume not measured (equipment rules 2019, first edition)",
  note: "A comparison with the printed limits of this edition, not a ruling: the governing bodies decide whether a club conforms.",
  rules: [
    { rule: "longest-club", standing: "over", text: "length 48 1/4 in: over, at most 48 in", source: "Part 2 1c", note: "A putter has no longest length." },
    { rule: "head-volume", standing: "not_judged", text: "head volume: not judged, not measured", source: "Part 2 4b(i)" },
  ],
});

export const capture = (event, at, text, place, changes = {}) => ({
  event,
  at: `2026-11-25T09:${at}Z`,
  instrument: "parts-scale",
  text,
  u_text: "± 0.05 g",
  values: [{ what: place ?? "mass", text, u_text: "± 0.05 g" }],
  filed: place ? [{ club: "W-1042/1", characteristic: place, label: place.replaceAll("_", " "), stage: "part" }] : [],
  reason: null,
  choices: [],
  voided: false,
  ...changes,
});

export const captures = () => [
  capture("e1", "58:12", "203.10 g", "head_mass"),
  capture("e4", "57:40", "51.42 g", "grip_mass"),
  capture("e6", "57:02", "51.98 g", "grip_mass", { voided: true }),
  capture("e3", "56:31", "585.0 mm", "shaft_balance", {
    instrument: "beam",
    text: "62.6 g · 585.0 mm",
    u_text: "± 0.1 g · ± 0.4 mm",
    values: [
      { what: "mass", text: "62.6 g", u_text: "± 0.1 g" },
      { what: "shaft_balance", text: "585.0 mm", u_text: "± 0.4 mm" },
    ],
  }),
  capture("e2", "55:20", "62.60 g", "shaft_mass"),
];

export const unfiled = (changes = {}) =>
  capture("e9", "59:03", "57.30 g", null, {
    reason: "57.3 g fits both the grip and the shaft of this order, and neither has been measured",
    choices: [
      { club: "W-1042/1", characteristic: "grip_mass", label: "grip mass" },
      { club: "W-1042/2", characteristic: "shaft_mass", label: "shaft mass" },
    ],
    ...changes,
  });

/** The same with a reason as long as they come. */
export const longDoubt = () =>
  unfiled({
    reason:
      "57.3 g fits the grip of W-1042/1 (50.0 g ± 1.5 g, 5.8 g over) and the shaft of W-1042/2 (64.0 g ± 2.0 g, 4.7 g under), neither has been measured, and nothing else on this bench expects a mass near it: say what it was, or lay the part down again after its club's card was scanned",
  });

/** The butt mark of a bonded club, waiting for its second measurement; the numbers are invented. */
export const cut = (changes = {}) => ({
  due: "butt",
  marks: [
    {
      mark: "butt",
      cut_off_mm: 67.1,
      u_mm: 0.9,
      text: "67.1 mm (2 5/8 in) ± 1.7 mm from the raw butt",
      again_mm: 961.2,
      again_u_mm: 0.9,
      again_text: "from the ground line to the butt mark, the head on, at 60 deg: 961.2 mm (37 13/16 in) ± 1.8 mm",
      standing: "waiting",
      standing_text: "wants a second measurement before it is cut",
      may_cut: false,
      is_past: false,
      history: [],
      ...changes,
    },
  ],
  measures: [],
});

export const cautions = () => [
  "Adhesive: gloves and fresh air; working life, cure and first aid are on the maker's data sheet.",
  "Heat guns and hot hosels burn: gloves, eye protection, never left alone.",
  "Grinding or cutting graphite or steel: eye protection, dust mask, gloves, extraction or wet work, no compressed air; fibres irritate skin, eyes and lungs and carry current.",
];
export const cautionsShort = () => ["Adhesive: gloves, fresh air", "Heat burns: gloves, eye protection", "Dust and fibres: eye protection, mask, gloves, extraction"];

export const bannerSet = () => [
  { level: "warning", text: "beam is not connected", remedy: "plug the beam in again; benchscribe looks for it every second" },
  { level: "error", text: "the disk is nearly full: 180 MB are left", remedy: "make room or move the archive; nothing is lost yet" },
  { level: "info", text: "the broker is away", remedy: "nothing to do: readings are kept and sent later" },
];
