// The last seconds of an instrument as a line. Pure: levels with their times in, path and axis out.

const SECONDS = 10;
const WIDTH = 1000;
const HEIGHT = 300;
// A quiet instrument is not shown as a storm: the axis spans at least this much, in the unit of the level.
const LEAST_SPAN = 0.2;

/** Levels of the last seconds, newest last; `null` where the instrument showed none. */
export function newTrace() {
  return [];
}

/** Takes a level in and forgets what is too old. */
export function pushLevel(trace, level, now_ms) {
  trace.push({ at: now_ms, level: typeof level === "number" ? level : null });
  while (trace.length > 0 && now_ms - trace[0].at > SECONDS * 1000) trace.shift();
}

/** The path of a trace with the values at the top and the bottom, as `write` writes a level; no path without one. */
export function drawTrace(trace, now_ms, write) {
  const levels = trace.filter((point) => point.level !== null).map((point) => point.level);
  if (levels.length === 0) return { path: "", top: "", bottom: "" };
  const low = Math.min(...levels);
  const high = Math.max(...levels);
  const half = Math.max((high - low) * 0.54, LEAST_SPAN / 2);
  const middle = (high + low) / 2;
  let path = "";
  let pen = "M";
  for (const { at, level } of trace) {
    if (level === null) {
      pen = "M";
      continue;
    }
    const x = WIDTH * (1 - (now_ms - at) / (SECONDS * 1000));
    const y = (HEIGHT * (middle + half - level)) / (2 * half);
    path += `${pen}${x.toFixed(1)} ${y.toFixed(1)}`;
    pen = "L";
  }
  return { path, top: write(middle + half), bottom: write(middle - half) };
}
